"""GeoPackage 1.3 with every layer, its description and a stored style.

The layers go through Fiona, whose schema is a contract: a column or geometry type that is not in the layer table
raises, and an empty layer keeps its columns.  Version 1.3, because older desktop GIS warn at 1.4.  The layers stand in
the order of the project file, the topmost first: QGIS adds them in this order when somebody opens the file alone.
"""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any, Final

import fiona
import shapely
from fiona.errors import FionaError

from parcelfence.layers import FIXED_TIME, layer_schema
from parcelfence.outputs.gpkg_style import layer_qml
from parcelfence.outputs.qgis_project import DRAWING_ORDER
from parcelfence.outputs.qgis_project import write as write_project

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from geopandas import GeoDataFrame

    from parcelfence.layers import LayerSchema
    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "forget_program", "write"]

NAME: Final = "plan.gpkg"
_WRITTEN_BY_AT: Final = 96
"""Offset of the version number in the header (SQLite, Database File Format, section 1.3)."""
_WRITTEN_BY: Final = 3_040_000
FIELD_TYPES: Final = {"text": "str", "real": "float", "integer": "int64", "boolean": "bool"}
_MULTI: Final = {"Polygon": "MultiPolygon", "LineString": "LineString", "Point": "Point", "Unknown": "Unknown"}
_STYLES_TABLE: Final = """
CREATE TABLE layer_styles (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
    styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30),
    ui TEXT(30), update_time DATETIME
)"""


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``plan.gpkg``, and ``plan.qgs`` that shows it.

    Raises
    ------
    OSError
        If GDAL could not write it, or did not write all of it.
    """
    path = folder / NAME
    crs_wkt = delivery.crs.to_wkt()
    try:
        with fiona.Env(OGR_CURRENT_DATE=FIXED_TIME, OGR_SQLITE_SYNCHRONOUS="OFF"):
            for name in (name for name in DRAWING_ORDER if name in delivery.layers):
                _write_layer(path, delivery.layers[name], schema=layer_schema(name), crs_wkt=crs_wkt)
    except (FionaError, RuntimeError) as error:  # a full disk comes as whatever SQLite could not do next
        raise OSError(f"GDAL could not finish {NAME}, as on a full disk ({str(error)[:80]})") from error
    with closing(sqlite3.connect(path)) as database, database:
        _demand_all_rows(database, delivery)
        _store_styles(database, names=delivery.layer_names)
    forget_program(path)
    write_project(delivery, folder)


def forget_program(path: Path) -> None:
    """Put a fixed number in place of the version of SQLite that wrote a GeoPackage last; no program reads by it."""
    with path.open("r+b") as file:
        file.seek(_WRITTEN_BY_AT)
        file.write(_WRITTEN_BY.to_bytes(4, "big"))


def _write_layer(path: Path, table: GeoDataFrame, *, schema: LayerSchema, crs_wkt: str) -> None:
    with fiona.open(
        path,
        "w",
        driver="GPKG",
        layer=schema.name,
        crs_wkt=crs_wkt,
        schema={
            "geometry": _geometry_type(table, schema=schema),
            "properties": {column.name: FIELD_TYPES[column.dtype] for column in schema.columns},
        },
        VERSION="1.3",
        IDENTIFIER=schema.title,
        DESCRIPTION="; ".join(f"{column.name}: {column.meaning}" for column in schema.columns),
        GEOMETRY_NAME="geom",
    ) as layer:
        layer.writerecords(_records(table, multi=layer.schema["geometry"].startswith("Multi")))


def _geometry_type(table: GeoDataFrame, *, schema: LayerSchema) -> str:
    """Give the declared type; lines and points are declared Multi only where such came in."""
    declared = _MULTI[schema.geometry]
    multi = f"Multi{schema.geometry}"
    return multi if declared != "Unknown" and (table.geom_type == multi).any() else declared


def _records(table: GeoDataFrame, *, multi: bool) -> Iterator[dict[str, Any]]:
    columns = [column for column in table.columns if column != table.geometry.name]
    values = [table[column].tolist() for column in columns]
    for row, geometry in zip(zip(*values, strict=True), table.geometry, strict=True):
        yield {
            "type": "Feature",
            "properties": {name: plain_value(value) for name, value in zip(columns, row, strict=True)},
            "geometry": shape(geometry, multi=multi),
        }


def plain_value(value: Any) -> Any:
    """Give a value as a field can hold it: no number beyond all bounds, no character that SQLite ends a text at."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, str):
        return value.replace("\x00", "").encode(errors="replace").decode()
    return value


def shape(geometry: Any, *, multi: bool) -> Any:
    """Give a geometry as Fiona takes it, as one of several parts where the layer is declared so."""
    if geometry is None or geometry.is_empty:
        return None
    mapping = shapely.geometry.mapping(geometry)
    if multi and not geometry.geom_type.startswith("Multi"):
        return {"type": f"Multi{geometry.geom_type}", "coordinates": [mapping["coordinates"]]}
    return mapping


def _demand_all_rows(database: sqlite3.Connection, delivery: Delivery) -> None:
    """Count what was written: GDAL only logs some failures.

    Raises
    ------
    OSError
        If features are missing.
    """
    for name, table in delivery.layers.items():
        (count,) = database.execute(f'SELECT count(*) FROM "{name}"').fetchone()  # noqa: S608  (names of our own layers)
        if count != len(table):
            raise OSError(f"{NAME}: layer {name} holds {count} of {len(table)} features")


def _store_styles(database: sqlite3.Connection, *, names: tuple[str, ...]) -> None:
    """Add the table from which desktop GIS read the style of a layer when it is opened."""
    rows = [
        ("", "", name, "geom", layer_schema(name).title, layer_qml(name), "", 1, "", "", "", FIXED_TIME)
        for name in names
    ]
    database.execute(_STYLES_TABLE)
    database.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,"
        " styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        rows,
    )
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id)"
        " VALUES ('layer_styles', 'attributes', 'layer_styles', 'Stored styles', ?, 0)",
        (FIXED_TIME,),
    )
