"""The names at the top level: each is there, says what it does, and does what its command does."""

from __future__ import annotations

import inspect
from typing import TYPE_CHECKING

import geopandas
import pytest

import parcelfence
from tests.sample import SAMPLE, sample_plan, sample_project, sample_site

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan") / "plan"
    sample_plan().write(folder, formats=["gpkg"])
    return folder


@pytest.mark.parametrize("name", [name for name in parcelfence.__all__ if name != "__version__"])
def test_every_name_is_documented(name: str) -> None:
    found = getattr(parcelfence, name)
    assert inspect.getdoc(found)
    if inspect.isfunction(found):
        assert len(inspect.signature(found).parameters) < 10
        said = inspect.getdoc(found) or ""
        assert "Parameters" in said or "arguments and errors as for" in said


def test_a_name_that_is_none_is_refused() -> None:
    with pytest.raises(AttributeError, match="plann"):
        parcelfence.plann  # noqa: B018


def test_the_wire_of_a_plan_checks_as_the_plan(folder: Path) -> None:
    settings = sample_project().settings
    wire = geopandas.read_file(folder / "plan.gpkg", layer="wire")
    by_file = parcelfence.check(f"{folder}/plan.gpkg:wire", sample_site(), settings=settings)
    by_table = parcelfence.check(wire.to_crs(2262), sample_site(), settings=settings)
    planned_m2 = sample_plan().zones.free_ground.area
    assert by_file.zones.free_ground.area == pytest.approx(planned_m2, rel=1e-4)
    assert by_table.zones.free_ground.area == pytest.approx(planned_m2, rel=1e-4)
    assert not [one for one in by_file.conflicts if one.severity == "must_fix"]
    with pytest.raises(parcelfence.ParcelFenceError, match="from the property"):
        parcelfence.check(wire.set_geometry(wire.translate(5_000)), sample_site(), settings=settings)


def test_a_walk_along_the_edge_of_the_signal_fits_the_reach(folder: Path) -> None:
    zones = geopandas.read_file(folder / "plan.gpkg", layer="zones").set_index("kind")
    edge = zones.loc[["signal"]].boundary.explode().iloc[0]
    points = geopandas.GeoSeries([edge.interpolate(share / 40, normalized=True) for share in range(40)], crs=zones.crs)
    test = parcelfence.calibrate(points.to_frame("geometry"), folder)
    assert test.found.reach_m == pytest.approx(8 * 0.3048, abs=0.02)
    assert test.verdict == "agrees"
    with pytest.raises(parcelfence.ParcelFenceError, match="accuracy"):
        parcelfence.calibrate(points.to_frame("geometry"), folder, accuracy_m=0)


def test_files_and_tables_are_inspected_alike() -> None:
    path = SAMPLE / "parcels.geojson"
    by_file, by_table = parcelfence.inspect(path, geopandas.read_file(path))
    assert by_file.role == by_table.role == "parcels"
    assert by_file.usable == by_table.usable == 6
    assert by_table.crs_origin == "table"


def test_a_screening_gives_a_row_for_each_parcel() -> None:
    rows = parcelfence.screen(SAMPLE / "parcels.geojson", select={"parcel_no": ["31-05", "31-07"]}, keep=["parcel_no"])
    assert list(rows["parcel_no"]) == ["31-05", "31-07"]
    assert set(rows["status"]) == {"planned"}
    with pytest.raises(parcelfence.ParcelFenceError, match="no role 'houses'"):
        parcelfence.screen(SAMPLE / "parcels.geojson", houses=SAMPLE / "buildings.geojson")
