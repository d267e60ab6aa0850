"""Every vector file, opened by programs that are not ours: GDAL's tools, its GeoPackage validator, gpsbabel."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parcelfence.layers import LAYERS
from parcelfence.outputs.tables import tables

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

pytestmark = pytest.mark.peers

_SYSTEM_PYTHON = Path("/usr/bin/python3")
_VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")


def _peer(program: str, *arguments: str | Path) -> str:
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed")
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "ERROR" not in done.stderr, done.stderr
    assert "Warning" not in done.stderr, done.stderr
    return done.stdout


def _counts(listing: str) -> dict[str, int]:
    return {
        name: int(count) for name, count in re.findall(r"Layer name: (.+?)\n(?:.*\n)*?Feature Count: (\d+)", listing)
    }


def test_ogrinfo_counts_every_layer_of_the_geopackage(written: Path, plan: Plan) -> None:
    counts = _counts(_peer("ogrinfo", "-ro", "-so", "-al", written / "plan.gpkg"))
    assert {name: counts[name] for name in tables(plan)} == {name: len(table) for name, table in tables(plan).items()}


def test_ogrinfo_measures_the_same_lengths_and_areas(written: Path, plan: Plan) -> None:
    indoors_m2 = plan.zones.indoors.area
    for name, measure, wanted in (
        ("wire", "ST_Length(geom)", sum(leg.line.length for leg in plan.take_off.sequence.legs)),
        ("zones", "ST_Area(geom)", plan.zones.roam.area + plan.zones.signal.area + plan.zones.core.area + indoors_m2),
    ):
        question = f"SELECT SUM({measure}) AS total FROM {name}"  # noqa: S608  (names of our own layers)
        listing = _peer("ogrinfo", "-ro", "-q", "-dialect", "SQLITE", "-sql", question, written / "plan.gpkg")
        total = float(listing.rsplit("=", 1)[1])
        assert total == pytest.approx(wanted, rel=1e-7)


@pytest.mark.parametrize("name", [schema.name for schema in LAYERS])
def test_ogrinfo_reads_every_geojson(written: Path, plan: Plan, name: str) -> None:
    listing = _peer("ogrinfo", "-ro", "-so", "-al", written / "geojson" / f"{name}.geojson")
    assert _counts(listing) == {name: len(tables(plan)[name])}
    if len(tables(plan)[name]):
        assert 'GEOGCRS["WGS 84"' in listing


def test_ogr2ogr_carries_the_wire_from_geopackage_to_geojson_alike(written: Path, tmp_path: Path) -> None:
    """GDAL's own transformation from the working CRS agrees with the GeoJSON within its eight decimals."""
    import json

    arguments = ("-f", "GeoJSON", "-lco", "RFC7946=YES", "-lco", "COORDINATE_PRECISION=8")
    _peer("ogr2ogr", *arguments, tmp_path / "wire.geojson", written / "plan.gpkg", "wire")
    theirs, ours = (
        json.loads(path.read_text(encoding="utf-8"))["features"]
        for path in (tmp_path / "wire.geojson", written / "geojson" / "wire.geojson")
    )
    for one, other in zip(theirs, ours, strict=True):
        for theirs_xy, ours_xy in zip(one["geometry"]["coordinates"], other["geometry"]["coordinates"], strict=True):
            assert theirs_xy == pytest.approx(ours_xy, abs=1.5e-8)


def test_the_geopackage_validator_finds_nothing(written: Path, tmp_path: Path) -> None:
    if not _VALIDATOR.exists():
        pytest.skip("GDAL's validate_gpkg (Debian's python3-gdal) is not installed")
    shutil.copy(written / "plan.gpkg", tmp_path)
    arguments = [_SYSTEM_PYTHON, _VALIDATOR, "-k", "--extra", "--warning-as-error", tmp_path / "plan.gpkg"]
    done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_gpsbabel_reads_flags_routes_and_tracks(written: Path, plan: Plan, tmp_path: Path) -> None:
    _peer("gpsbabel", "-i", "gpx", "-f", written / "flags.gpx", "-o", "unicsv", "-F", tmp_path / "flags.csv")
    assert len((tmp_path / "flags.csv").read_text().splitlines()) == len(plan.take_off.flags) + 1
    _peer("gpsbabel", "-r", "-t", "-i", "gpx", "-f", written / "flags.gpx", "-o", "gpx", "-F", tmp_path / "back.gpx")
    back = (tmp_path / "back.gpx").read_text()
    assert back.count("<rte>") == back.count("<trk>") == len(plan.take_off.sequence.legs)


def test_gdal_reads_the_gpx(written: Path, plan: Plan) -> None:
    counts = _counts(_peer("ogrinfo", "-ro", "-so", "-al", written / "flags.gpx"))
    legs = len(plan.take_off.sequence.legs)
    assert counts["waypoints"] == len(plan.take_off.flags)
    assert counts["routes"] == counts["tracks"] == legs


def test_gdal_reads_the_drawing_with_its_layers(written: Path, plan: Plan) -> None:
    question = "SELECT Layer, COUNT(*) AS number FROM entities GROUP BY Layer"
    listing = _peer("ogrinfo", "-ro", "-q", "-dialect", "SQLITE", "-sql", question, written / "plan.dxf")
    found = dict(re.findall(r"Layer \(String\) = (\S+)\n\s+number \(Integer\) = (\d+)", listing))
    assert found["PF-FLAGS"] == str(len(plan.take_off.flags))
    assert found["PF-WIRE-LOOP"] == "1"


def test_gdal_reads_every_folder_of_the_kml(written: Path, plan: Plan) -> None:
    counts = _counts(_peer("ogrinfo", "-ro", "-so", "-al", written / "plan.kml"))
    wanted = {schema.title: len(tables(plan)[schema.name]) for schema in LAYERS}
    assert {title: counts[title] for title, count in wanted.items() if count} == {
        title: count for title, count in wanted.items() if count
    }


def test_gdal_reads_the_stakeout(written: Path) -> None:
    """Without a header GDAL names the fields field_1 to field_5."""
    listing = _peer("ogrinfo", "-ro", "-so", "-al", written / "stakeout.csv")
    rows = (written / "stakeout.csv").read_text(encoding="utf-8").splitlines()
    assert _counts(listing) == {"stakeout": len(rows)}
    assert "field_5: String" in listing


def test_the_worst_texts_survive_gdal(nasty_written: Path, nasty_plan: Plan) -> None:
    listing = _peer("ogrinfo", "-ro", "-q", nasty_written / "plan.gpkg", "hardscape")
    assert "kind (String) = =1+1" in listing
    listing = _peer("ogrinfo", "-ro", "-q", "-al", nasty_written / "geojson" / "buildings.geojson")
    assert nasty_plan.site.buildings[1].kind in listing
