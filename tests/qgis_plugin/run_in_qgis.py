"""Run algorithms of the plug-in in QGIS, with the Python that Debian's QGIS brings; say what came of each as JSON.

The first argument is a file of cases: a list of objects with ``algorithm``, ``layers`` (a parameter, and how its layer
is made), ``parameters``, and optionally ``stop_after_s`` and ``picture``.
"""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path
from typing import Any

from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeature,
    QgsFeatureRequest,
    QgsGeometry,
    QgsLayerTreeGroup,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

QgsApplication.setPrefixPath("/usr", True)
application = QgsApplication([], False)
application.initQgis()
sys.path.append("/usr/share/qgis/python/plugins")

import processing  # noqa: E402
from processing.core.Processing import Processing  # noqa: E402

Processing.initialize()
import parcelfence_qgis  # noqa: E402

plugin = parcelfence_qgis.classFactory(None)
plugin.initProcessing()


class Feedback(QgsProcessingFeedback):
    """Keep what is told."""

    def __init__(self) -> None:
        super().__init__(False)
        self.lines: list[str] = []
        self.steps: list[str] = []

    def pushInfo(self, info: str) -> None:
        self.lines.append(info)

    def pushWarning(self, warning: str) -> None:
        self.lines.append(f"warning: {warning}")

    def pushCommandInfo(self, info: str) -> None:
        self.lines.append(f"command: {info}")

    def reportError(self, error: str, fatalError: bool = False) -> None:
        self.lines.append(f"error: {error}")

    def setProgressText(self, text: str) -> None:
        self.steps.append(text)


def layer_of(about: dict[str, Any]) -> QgsVectorLayer:
    """Make a layer: from a file, or in memory in another CRS, with edits that are not saved, with a selection."""
    given = QgsVectorLayer(about["path"], about["name"], "ogr")
    assert given.isValid(), about
    layer = given
    if "crs" in about:
        layer = in_memory(given, crs=QgsCoordinateReferenceSystem(about["crs"]), name=about["name"])
    if about.get("only"):  # everything else is deleted, but not saved
        layer.startEditing()
        wanted = {one.id() for one in layer.getFeatures(QgsFeatureRequest().setFilterExpression(about["only"]))}
        layer.deleteFeatures([one.id() for one in layer.getFeatures() if one.id() not in wanted])
    if about.get("move"):
        layer.startEditing()
        for feature in list(layer.getFeatures(QgsFeatureRequest().setFilterExpression(about["move"]["where"]))):
            moved = feature.geometry()
            moved.translate(*about["move"]["by"])
            layer.changeGeometry(feature.id(), moved)
    if about.get("select"):
        layer.selectByExpression(about["select"])
    QgsProject.instance().addMapLayer(layer)
    return layer


def in_memory(given: QgsVectorLayer, *, crs: QgsCoordinateReferenceSystem, name: str) -> QgsVectorLayer:
    kind = {0: "Point", 1: "LineString", 2: "Polygon"}[int(given.geometryType())]
    words = f"{kind}?crs={crs.authid()}" if crs.isValid() else kind
    layer = QgsVectorLayer(words, name, "memory")
    layer.dataProvider().addAttributes(given.fields())
    layer.updateFields()
    layer.setCrs(crs)
    turn = QgsCoordinateTransform(given.crs(), crs, QgsProject.instance())
    layer.startEditing()
    for feature in given.getFeatures():
        made = QgsFeature(layer.fields())
        made.setAttributes(feature.attributes())
        geometry = QgsGeometry(feature.geometry())
        geometry.convertToSingleType()
        if crs.isValid():
            geometry.transform(turn)
        made.setGeometry(geometry)
        layer.addFeature(made)
    return layer


def tree(group: QgsLayerTreeGroup) -> list[Any]:
    """Give names, groups as lists that begin with their name."""
    return [
        [node.name(), *tree(node)] if isinstance(node, QgsLayerTreeGroup) else node.name() for node in group.children()
    ]


def draw(path: str) -> None:
    project = QgsProject.instance()
    root = project.layerTreeRoot()
    shown = [layer for layer in root.layerOrder() if root.findLayer(layer.id()).isVisible()]
    parcel = next(layer for layer in shown if layer.name() in {"Parcel", "rows"})
    settings = QgsMapSettings()
    settings.setLayers(shown)
    settings.setDestinationCrs(parcel.crs())
    settings.setOutputSize(QSize(1100, 1100))
    settings.setBackgroundColor(QColor("white"))
    extent = parcel.extent()
    extent.scale(1.1)
    settings.setExtent(extent)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(path)


def outcome(case: dict[str, Any]) -> dict[str, Any]:
    QgsProject.instance().clear()
    layers = {name: layer_of(about) for name, about in case.get("layers", {}).items()}
    parameters = {**layers, **case.get("parameters", {})}
    for name, others in case.get("lists", {}).items():
        parameters[name] = [layer_of(about) for about in others]
    feedback, context = Feedback(), QgsProcessingContext()
    context.setProject(QgsProject.instance())
    timer = threading.Timer(case.get("stop_after_s", 10_000), feedback.cancel)
    timer.daemon = True
    timer.start()
    found: dict[str, Any] = {"outputs": {}, "refusal": ""}
    try:
        found["outputs"] = processing.run(case["algorithm"], parameters, context=context, feedback=feedback)
    except QgsProcessingException as error:
        found["refusal"] = str(error)
    timer.cancel()
    found |= {"lines": feedback.lines, "steps": feedback.steps, "canceled": feedback.isCanceled()}
    found["tree"] = tree(QgsProject.instance().layerTreeRoot())
    if case.get("picture") and not found["refusal"]:
        draw(case["picture"])
    return found


cases = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
print(json.dumps([outcome(case) for case in cases], ensure_ascii=False, default=str))
