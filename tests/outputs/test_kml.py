"""KML, GeoParquet and PDF: the outputs beside the default set."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import pyogrio
import pytest
from lxml import etree

from parcelfence.layers import LAYERS
from parcelfence.outputs.registry import write
from parcelfence.outputs.tables import tables

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan

_NAMESPACE = "{http://www.opengis.net/kml/2.2}"


def test_every_layer_is_a_folder_with_its_features(written: Path, plan: Plan) -> None:
    folders = etree.parse(written / "plan.kml").findall(f".//{_NAMESPACE}Folder")
    names = [folder.findtext(f"{_NAMESPACE}name") for folder in folders]
    assert names == [schema.title for schema in LAYERS]
    counts = [len(folder.findall(f"{_NAMESPACE}Placemark")) for folder in folders]
    assert counts == [len(table) for table in tables(plan).values()]


def test_the_reach_is_off_and_named_by_its_loop(written: Path, plan: Plan) -> None:
    folders = etree.parse(written / "plan.kml").findall(f".//{_NAMESPACE}Folder")
    (folder,) = [own for own in folders if own.findtext(f"{_NAMESPACE}name") == "Reach along the wire"]
    assert folder.findtext(f"{_NAMESPACE}visibility") == "0"
    placemarks = folder.findall(f"{_NAMESPACE}Placemark")
    assert {own.findtext(f"{_NAMESPACE}visibility") for own in placemarks} == {"0"}
    assert {own.findtext(f"{_NAMESPACE}name") for own in placemarks} == {run.loop_id for run in plan.loop.signal_runs}


def test_every_style_and_schema_that_is_used_is_there(written: Path) -> None:
    root = etree.parse(written / "plan.kml")
    known = {f"#{element.get('id')}" for element in root.iter() if element.get("id")}
    used = {element.text for element in root.iter(f"{_NAMESPACE}styleUrl")}
    used |= {element.get("schemaUrl") for element in root.iter(f"{_NAMESPACE}SchemaData")}
    assert used
    assert used <= known


def test_gdal_reads_the_same_wire(written: Path, plan: Plan) -> None:
    if "LIBKML" not in pyogrio.list_drivers():
        pytest.skip("this GDAL has no KML driver")
    wire = geopandas.read_file(written / "plan.kml", layer="Wire", columns=["leg", "ground_length_m"])
    assert wire["leg"].tolist() == [leg.leg for leg in plan.take_off.sequence.legs]
    assert wire.crs.to_epsg() == 4326


def test_no_value_opens_a_tag_in_a_balloon(nasty_written: Path) -> None:
    for element in etree.parse(nasty_written / "plan.kml").iter():
        assert "<" not in (element.text or "")


def test_geoparquet_keeps_types_crs_and_empty_layers(plan: Plan, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    folder = write(plan, tmp_path / "out", formats=["parquet"])
    for name, table in tables(plan).items():
        back = geopandas.read_parquet(folder / "parquet" / f"{name}.parquet")
        assert list(back.columns) == list(table.columns)
        assert back.crs == table.crs
        assert back.geometry.geom_equals_exact(table.geometry, tolerance=1e-5).all()


def test_the_sheet_as_pdf(nasty_plan: Plan, tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    first = write(nasty_plan, tmp_path / "first", formats=["pdf"])
    second = write(nasty_plan, tmp_path / "second", formats=["pdf"])
    content = (first / "worksheet.pdf").read_bytes()
    assert content.startswith(b"%PDF-")
    assert content == (second / "worksheet.pdf").read_bytes()
