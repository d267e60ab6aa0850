"""Open a project in QGIS, with the Python that Debian's QGIS brings; say what it understood, and draw it."""

from __future__ import annotations

import json
import sys

from qgis.core import QgsApplication, QgsMapRendererSequentialJob, QgsMapSettings, QgsProject
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

INK, PARCEL_FILL = "#1c2440", "#fffdf7"

application = QgsApplication([], False)  # noqa: FBT003  (Qt's signature)
application.initQgis()
project = QgsProject.instance()
assert project.read(sys.argv[1]), "QGIS cannot read the project"
root = project.layerTreeRoot()
shown = [layer for layer in root.layerOrder() if root.findLayer(layer.id()).isVisible()]
settings = QgsMapSettings()
settings.setLayers(shown)
settings.setDestinationCrs(project.crs())
settings.setOutputSize(QSize(600, 600))
settings.setBackgroundColor(QColor("white"))
settings.setExtent(project.mapLayer("parcelfence_parcel").extent())
job = QgsMapRendererSequentialJob(settings)
job.start()
job.waitForFinished()
picture = job.renderedImage()
picture.save(sys.argv[2])
colours = [picture.pixelColor(x, y).name() for x in range(600) for y in range(600)]
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
    "ink": colours.count(INK),
    "parcel_fill": colours.count(PARCEL_FILL),
}
print(json.dumps(found))
