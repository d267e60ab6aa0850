"""The GeoPackage: version, schema, styles, the working CRS."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

import geopandas
import pytest
from lxml import etree

from parcelfence.layers import LAYERS, layer_schema
from parcelfence.outputs.geopackage import forget_program
from parcelfence.outputs.gpkg_style import layer_qml
from parcelfence.outputs.registry import write
from parcelfence.outputs.style import layer_styles
from parcelfence.outputs.tables import tables

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan

_SQL = {"text": "TEXT", "real": "REAL", "integer": "INTEGER", "boolean": "BOOLEAN"}


def _rows(folder: Path, question: str, *values: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(folder / "plan.gpkg")) as database:
        return database.execute(question, values).fetchall()


def test_it_is_version_1_3(written: Path) -> None:
    """OGC 12-128r17, requirement 2: application_id is GPKG in ASCII, user_version 10300."""
    assert _rows(written, "PRAGMA application_id") == [(int.from_bytes(b"GPKG", "big"),)]
    assert _rows(written, "PRAGMA user_version") == [(10300,)]
    assert _rows(written, "PRAGMA integrity_check") == [("ok",)]


@pytest.mark.parametrize("schema", LAYERS, ids=lambda schema: schema.name)
def test_every_layer_has_its_columns_types_and_geometry(written: Path, schema: Any) -> None:
    columns = [(row[1], row[2]) for row in _rows(written, f'PRAGMA table_info("{schema.name}")')]
    declared = [(column.name, _SQL[column.dtype]) for column in schema.columns]
    assert [pair for pair in columns if pair[0] not in {"fid", "geom"}] == declared
    kind = _rows(written, "SELECT geometry_type_name FROM gpkg_geometry_columns WHERE table_name = ?", schema.name)
    wanted = {"Polygon": "MULTIPOLYGON", "LineString": "LINESTRING", "Point": "POINT", "Unknown": "GEOMETRY"}
    assert kind == [(wanted[schema.geometry],)]


def test_the_topmost_layer_comes_first(written: Path) -> None:
    """QGIS 3.22 and later put the first layer of a file on top; seen in its window."""
    names = [name for (name,) in _rows(written, "SELECT table_name FROM gpkg_contents ORDER BY rowid")]
    wanted = ["conflicts", "flags", "wire", "utilities", "zones", "parcel", "buildings", "water", "neighbours"]
    assert [name for name in names if name in wanted] == wanted
    assert set(names) == {schema.name for schema in LAYERS} | {"layer_styles"}


def test_layers_read_back_as_they_were(written: Path, plan: Plan) -> None:
    for name, table in tables(plan).items():
        back = geopandas.read_file(written / "plan.gpkg", layer=name)
        assert len(back) == len(table), name
        assert back.area.sum() == pytest.approx(table.area.sum(), rel=1e-6), name
        assert back.length.sum() == pytest.approx(table.length.sum(), rel=1e-6), name
    back = geopandas.read_file(written / "plan.gpkg", layer="conflicts")
    assert back["station_m"].isna().tolist() == [False, True, True]


def test_the_working_crs_comes_back(written: Path, plan: Plan) -> None:
    back = geopandas.read_file(written / "plan.gpkg", layer="wire")
    parameters = {p.name: p.value for p in back.crs.coordinate_operation.params}
    made = {p.name: p.value for p in plan.site.frame.crs.coordinate_operation.params}
    assert parameters == made
    assert back.crs.geodetic_crs.name == "NAD83(2011)"


def test_a_named_crs_keeps_its_code(plan: Plan, tmp_path: Path) -> None:
    folder = write(plan, tmp_path / "out", formats=["gpkg"], layers=["wire", "zones"], dst_crs="EPSG:6535")
    assert geopandas.read_file(folder / "plan.gpkg", layer="wire").crs.to_epsg() == 6535
    names = _rows(folder, "SELECT table_name FROM gpkg_contents WHERE data_type = 'features'")
    assert sorted(names) == [("wire",), ("zones",)]


@pytest.mark.parametrize("name", [schema.name for schema in LAYERS])
def test_every_layer_has_a_stored_style_that_covers_every_kind(written: Path, name: str) -> None:
    ((stored, default),) = _rows(
        written, "SELECT styleQML, useAsDefault FROM layer_styles WHERE f_table_name = ?", name
    )
    assert default == 1
    assert stored == layer_qml(name)
    document = etree.fromstring(stored)
    rules = document.findall(".//rule")
    symbols = {symbol.get("name"): symbol.get("type") for symbol in document.findall(".//symbols/symbol")}
    types = {"Unknown": 3}.get(layer_schema(name).geometry, 1)
    assert len(rules) == len(layer_styles(name)) * types
    assert {rule.get("symbol") for rule in rules} == set(symbols)
    assert set(symbols.values()) <= {"fill", "line", "marker"}
    if types > 1:
        assert set(symbols.values()) == {"fill", "line", "marker"}


def test_styles_are_listed_as_attributes(written: Path) -> None:
    """OGC 12-128r17, clause 2.3: user tables without geometry are of the data type 'attributes'."""
    assert _rows(written, "SELECT data_type FROM gpkg_contents WHERE table_name = 'layer_styles'") == [("attributes",)]


def test_no_clock_is_in_it(written: Path) -> None:
    times = _rows(written, "SELECT DISTINCT last_change FROM gpkg_contents")
    assert times == [("2000-01-01T00:00:00.000Z",)]
    text = (written / "plan.gpkg").read_bytes()
    assert not re.search(rb"20[2-9]\d-\d\d-\d\dT", text)


def test_texts_of_strangers_come_through(nasty_written: Path, nasty_plan: Plan) -> None:
    back = geopandas.read_file(nasty_written / "plan.gpkg", layer="utilities")
    assert back["source_id"].iloc[0] == nasty_plan.site.utilities[0].source_id
    doors = geopandas.read_file(nasty_written / "plan.gpkg", layer="hardscape")
    assert doors["kind"].iloc[0] == "=1+1"


def test_the_header_does_not_tell_which_sqlite_wrote_it(tmp_path: Path) -> None:
    path = tmp_path / "one.gpkg"
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("CREATE TABLE t (a)")
    forget_program(path)
    assert int.from_bytes(path.read_bytes()[96:100], "big") == 3_040_000
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
