"""What a run has written, in the project: one group, in the order, with the titles and styles of ``plan.qgs``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsLayerTreeGroup,
    QgsLayerTreeLayer,
    QgsProject,
    QgsRendererCategory,
    QgsSymbol,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QColor

__all__ = ["show_plan", "show_table"]

PROJECT = "plan.qgs"
_STATUSES = (
    ("planned", "planned", "#1c2440"),
    ("no_loop", "no room for a loop", "#8a8f98"),
    ("refused", "refused, with the reason", "#c2620e"),
    ("failed", "failed", "#a3260b"),
)
"""What became of a parcel, as it is written, as a person reads it, and its colour."""


def show_plan(folder: str, *, project: Any, title: str) -> str:
    """Put the layers of a plan on top of a project, in one group; gives the name of the group.

    Everything is read off the project file that parcelfence writes beside the GeoPackage, so that groups, order,
    titles, styles and what is switched off are the same however the plan is opened.
    """
    path = Path(folder) / PROJECT
    written = QgsProject()
    if not path.is_file() or not written.read(str(path)):
        return ""
    name = title or written.title() or path.parent.name
    group = project.layerTreeRoot().insertGroup(0, name)
    _copy(written.layerTreeRoot(), group, project=project)
    written.clear()
    return name


def _copy(source: Any, target: Any, *, project: Any) -> None:
    for node in source.children():
        if isinstance(node, QgsLayerTreeGroup):
            inner = target.addGroup(node.name())
            inner.setItemVisibilityChecked(node.itemVisibilityChecked())
            inner.setExpanded(node.isExpanded())
            _copy(node, inner, project=project)
        elif isinstance(node, QgsLayerTreeLayer) and node.layer() is not None:
            layer = node.layer().clone()
            project.addMapLayer(layer, False)
            shown = target.addLayer(layer)
            shown.setItemVisibilityChecked(node.itemVisibilityChecked())
            shown.setExpanded(node.isExpanded())


def show_table(path: str, *, project: Any, title: str) -> None:
    """Put the rows of a screening on top of a project, coloured by what became of each parcel."""
    layer = QgsVectorLayer(path, title, "ogr")
    if not layer.isValid():
        return
    categories = []
    for value, label, colour in _STATUSES:
        symbol = QgsSymbol.defaultSymbol(layer.geometryType())
        if symbol is None:  # a table without geometry has no colours
            break
        symbol.setColor(QColor(colour))
        categories.append(QgsRendererCategory(value, symbol, label))
    if categories:
        layer.setRenderer(QgsCategorizedSymbolRenderer("status", categories))
    project.addMapLayer(layer, False)
    project.layerTreeRoot().insertLayer(0, layer)
