"""Open a project or a GeoPackage in QGIS, with the Python of Debian's QGIS; say what it understood, and draw it."""

from __future__ import annotations

import json
import sqlite3
import sys

from qgis.core import QgsApplication, QgsMapRendererSequentialJob, QgsMapSettings, QgsProject, QgsVectorLayer
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

INK, PARCEL_FILL, GAS = "#1c2440", "#fffdf7", "#f2c500"
PX = 600


def colours(layers: list[QgsVectorLayer], picture: str) -> list[str]:
    """Draw layers, the topmost first, over the parcel; returns the colour of every pixel."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    parcel = next(layer for layer in layers if layer.source().endswith("layername=parcel"))
    settings.setDestinationCrs(parcel.crs())
    settings.setOutputSize(QSize(PX, PX))
    settings.setBackgroundColor(QColor("white"))
    settings.setExtent(parcel.extent())
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    image.save(picture)
    return [image.pixelColor(x, y).name() for x in range(PX) for y in range(PX)]


def project_layers(path: str) -> list[QgsVectorLayer]:
    """Open a project; returns what it shows."""
    project = QgsProject.instance()
    assert project.read(path), "QGIS cannot read the project"
    root = project.layerTreeRoot()
    return [layer for layer in root.layerOrder() if root.findLayer(layer.id()).isVisible()]


def file_layers(path: str) -> list[QgsVectorLayer]:
    """Open the layers of a GeoPackage with their stored styles, in the order in which the window of QGIS adds them."""
    rows = sqlite3.connect(path).execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")
    return [QgsVectorLayer(f"{path}|layername={name}", name, "ogr") for (name,) in rows]


application = QgsApplication([], False)  # noqa: FBT003  (Qt's signature)
application.initQgis()
source, picture = sys.argv[1:]
shown = project_layers(source) if source.endswith(".qgs") else file_layers(source)
drawn = colours(shown, picture)
without = colours([layer for layer in shown if "layername=conflicts" not in layer.source()], picture + ".without.png")
project = QgsProject.instance()
found = {
    "crs": project.crs().description(),
    "crs_is_valid": project.crs().isValid(),
    "layers": {
        layer.id().removeprefix("parcelfence_"): {
            "valid": layer.isValid(),
            "crs_is_valid": layer.crs().isValid(),
            "alias": layer.attributeAlias(layer.fields().lookupField("start_station_m")),
        }
        for layer in project.mapLayers().values()
    },
    "ink": drawn.count(INK),
    "parcel_fill": drawn.count(PARCEL_FILL),
    "gas": drawn.count(GAS),
    "gas_without_conflicts": without.count(GAS),
}
print(json.dumps(found))
