"""A new property: layers to draw in, or the surroundings of a lot cut out; and the project file that a plan leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import fiona
import geopandas
import pytest
from shapely import box

from parcelfence.errors import InputError, OutputError, SelectionError
from parcelfence.inputs.project_file import read_project
from parcelfence.layers import INPUT_ROLES
from parcelfence.outputs.new_project import INPUT_LAYERS
from tests.sample import SAMPLE
from tests.small_sites import run

if TYPE_CHECKING:
    from pathlib import Path

LOTS, BUILDINGS = SAMPLE / "parcels.geojson", SAMPLE / "buildings.geojson"


def test_empty_layers_have_their_columns_and_a_plan_needs_only_a_parcel(tmp_path: Path) -> None:
    folder = tmp_path / "yard"
    assert run("new", folder, "--reach", "6 ft", "--crs", "EPSG:32145").exit_code == 0
    assert list(fiona.listlayers(folder / "property.gpkg")) == list(INPUT_ROLES) == list(INPUT_LAYERS)
    with fiona.open(folder / "property.gpkg", layer="marks") as marks:
        assert list(marks.schema["properties"]) == [column.name for column in INPUT_LAYERS["marks"].columns]
        assert marks.crs.to_epsg() == 32145
    lot = geopandas.GeoDataFrame({"parcel_id": ["7"]}, geometry=[box(0, 0, 60, 40)], crs=32145)
    lot.to_file(folder / "property.gpkg", layer="parcels", mode="a")
    assert 'units = "us"' in (folder / "SITE.toml").read_text(encoding="utf-8")
    assert run("plan", folder / "SITE.toml", "--dry-run").exit_code in {0, 3}


def test_a_lot_is_cut_out_with_its_neighbours_and_is_planned_alike(tmp_path: Path) -> None:
    chosen = ("--parcels", LOTS, "--buildings", BUILDINGS, "--select", "parcel_no=31-07", "--reach", "8 ft")
    assert run("new", tmp_path / "cut", *chosen, "--name", "Heron Bend").exit_code == 0
    project = read_project(tmp_path / "cut" / "SITE.toml")
    assert (project.name, project.select) == ("Heron Bend", ("parcel_no=31-07",))
    assert run("plan", *chosen, "--name", "Heron Bend", "--out", tmp_path / "one").exit_code in {0, 3}
    assert run("plan", tmp_path / "cut" / "SITE.toml", "--out", tmp_path / "two").exit_code in {0, 3}
    wires = [(tmp_path / name / "geojson" / "wire.geojson").read_bytes() for name in ("one", "two")]
    assert wires[0] == wires[1]


def test_a_point_finds_the_lot_on_which_it_lies(tmp_path: Path) -> None:
    lots = geopandas.read_file(LOTS)
    point = lots.geometry[2].representative_point()
    assert run("new", tmp_path / "yard", "--parcels", LOTS, f"--at={point.x},{point.y}").exit_code == 0
    first = geopandas.read_file(tmp_path / "yard" / "property.gpkg", layer="parcels").iloc[0]
    assert first["parcel_no"] == lots["parcel_no"][2]
    assert read_project(tmp_path / "yard" / "SITE.toml").select == (f"parcel_no={first['parcel_no']}",)


def test_what_cannot_begin_is_said_and_nothing_stands_there(tmp_path: Path) -> None:
    with pytest.raises(SelectionError, match="no parcel lies at longitude 10"):
        run("new", tmp_path / "yard", "--parcels", LOTS, "--at=10,10")
    with pytest.raises(InputError, match="0 files of parcels"):
        run("new", tmp_path / "yard", "--buildings", BUILDINGS)
    assert run("new", tmp_path / "yard", "--at", "north").exit_code == 2
    assert not list(tmp_path.iterdir())
    (tmp_path / "yard").mkdir()
    with pytest.raises(OutputError, match="exists"):
        run("new", tmp_path / "yard")


@pytest.mark.parametrize("extra", [(), ("--bend-radius", "5 ft", "--units", "metric", "--working-crs", "EPSG:32618")])
def test_the_project_file_of_a_plan_repeats_it(extra: tuple[str, ...], tmp_path: Path) -> None:
    given = ("--parcels", LOTS, "--buildings", BUILDINGS, "--select", "parcel_no=31-05", "--reach", "1.5 m", *extra)
    assert run("plan", *given, "--out", tmp_path / "first").exit_code in {0, 3}
    assert run("plan", tmp_path / "first" / "SITE.toml", "--out", tmp_path / "second").exit_code in {0, 3}
    first, second = (
        {
            path.relative_to(tmp_path / name): path.read_bytes()
            for path in (tmp_path / name).rglob("*")
            if path.is_file()
        }
        for name in ("first", "second")
    )
    assert first == second
