"""Layers of QGIS as files that parcelfence reads: as they are on the screen, unsaved edits included.

Every layer becomes a FlatGeobuf in its own CRS, named as the user named it, so that a message of parcelfence names what
the user knows.  Nothing is mended here; that is said and done by parcelfence itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsFeatureRequest,
    QgsField,
    QgsFields,
    QgsGeometry,
    QgsProcessingException,
    QgsProcessingFeatureSource,
    QgsVectorFileWriter,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QVariant

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["LayerFile", "write_layer"]

_PLAIN_TYPES = (
    *(QVariant.Bool, QVariant.Int, QVariant.LongLong, QVariant.Double, QVariant.String),
    *(QVariant.Date, QVariant.DateTime),
)
_LONGEST_NAME = 60
_ID_WORDS = ("id", "no", "nr", "number", "pin", "apn", "key", "parcel", "lot")


@dataclass(frozen=True)
class LayerFile:
    """A layer that was written: its file, the name that the user knows, and which features were chosen in it.

    ``without_geometry`` counts the features that were left out, since a file of this format cannot hold them.
    """

    path: Path
    title: str
    chosen: tuple[str, ...] = ()
    without_geometry: int = 0


def write_layer(
    source: Any, folder: Path, *, transform_context: Any, title: str, chosen_ids: frozenset[int] = frozenset()
) -> LayerFile:
    """Write the features of a layer, in their order.

    Parameters
    ----------
    source : QgsProcessingFeatureSource or QgsVectorLayer
        The layer, or the selected part of it.
    folder : Path
        A folder of its own, which is made.
    transform_context : QgsCoordinateTransformContext
        That of the project.
    title : str
        Name of the layer.
    chosen_ids : frozenset of int
        Features that are chosen; how parcelfence can name them stands in the answer.

    Raises
    ------
    QgsProcessingException
        If the file cannot be written.
    """
    folder.mkdir(parents=True)
    path = folder / f"{_file_name(title)}.fgb"
    fields = _fields(source.fields())
    writer = _writer(source, path, fields=fields, transform_context=transform_context)
    positions: list[int] = []
    rows: list[list[Any]] = []
    without = 0
    for feature in _features(source):
        if feature.geometry().isNull():
            without += 1
            continue
        row = list(map(_value, feature.attributes(), fields))
        written = QgsFeature(fields)
        written.setAttributes(row)
        written.setGeometry(_straight(feature.geometry()))
        if not writer.addFeature(written):
            raise QgsProcessingException(f"The layer {title} could not be written: {writer.errorMessage()}")
        rows.append(row)
        if feature.id() in chosen_ids:
            positions.append(len(rows))
    del writer  # closes the file
    return LayerFile(
        path=path, title=title, chosen=_choices(positions, rows=rows, fields=fields), without_geometry=without
    )


def _writer(source: Any, path: Path, *, fields: Any, transform_context: Any) -> Any:
    crs = source.sourceCrs() if hasattr(source, "sourceCrs") else source.crs()
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "FlatGeobuf"
    options.layerOptions = ["SPATIAL_INDEX=NO"]  # keeps the order
    known = crs if crs.isValid() else QgsCoordinateReferenceSystem()
    anything = QgsWkbTypes.Unknown  # a layer of polygons may hold some in several parts
    writer = QgsVectorFileWriter.create(str(path), fields, anything, known, transform_context, options)
    if writer.hasError() != QgsVectorFileWriter.NoError:
        raise QgsProcessingException(f"{path.stem} could not be written: {writer.errorMessage()}")
    return writer


def _features(source: Any) -> Any:
    """Give all features, invalid ones too: what becomes of them is decided, and told, by parcelfence."""
    if isinstance(source, QgsProcessingFeatureSource):
        return source.getFeatures(QgsFeatureRequest(), QgsProcessingFeatureSource.FlagSkipGeometryValidityChecks)
    return source.getFeatures()


def _file_name(title: str) -> str:
    kept = "".join(letter if letter.isalnum() or letter in " -_()" else "_" for letter in title).strip()
    return kept[:_LONGEST_NAME] or "layer"


def _fields(given: Any) -> Any:
    """Give each field a name of its own and a type that a file can hold."""
    fields, taken = QgsFields(), set()
    for field in given:
        name, number = field.name(), 2
        while name.casefold() in taken:
            name, number = f"{field.name()}_{number}", number + 1
        taken.add(name.casefold())
        fields.append(QgsField(name, field.type() if field.type() in _PLAIN_TYPES else QVariant.String))
    return fields


def _value(value: Any, field: Any) -> Any:
    if value is None or value == QVariant():
        return None
    return value if field.type() != QVariant.String else str(value)


def _straight(geometry: Any) -> Any:
    """Give curves as chords; other geometry as it is."""
    if not QgsWkbTypes.isCurvedType(geometry.wkbType()):
        return geometry
    return QgsGeometry(geometry.constGet().segmentize())


def _choices(positions: list[int], *, rows: list[list[Any]], fields: Any) -> tuple[str, ...]:
    """Say which features are chosen by ``FIELD=VALUE``: by a field that tells all apart, or by their place."""
    if not positions:
        return ()
    for place in sorted(range(len(fields)), key=lambda one: not _names_features(fields[one].name())):
        values = [str(row[place]) for row in rows if row[place] is not None]
        chosen = [str(rows[position - 1][place]) for position in positions]
        telling = fields[place].type() in {QVariant.String, QVariant.Int, QVariant.LongLong}
        if telling and len(values) == len(rows) == len(set(values)) and all(chosen):
            return tuple(f"{fields[place].name()}={value}" for value in chosen)
    return tuple(f"feature={position}" for position in positions)


def _names_features(name: str) -> bool:
    words = name.casefold().replace("-", "_").split("_")
    return any(word in words for word in _ID_WORDS)
