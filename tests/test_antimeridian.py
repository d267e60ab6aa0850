"""Lots across longitude 180, in the three ways in which files write them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, MultiPoint, Point, box
from shapely.geometry import mapping

from parcelfence.antimeridian import cut_in_two, join_across
from tests.inputs.layers import feature, geojson
from tests.small_sites import run

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result
    from shapely.geometry.base import BaseGeometry

SOUTH = -16.8
LOT = box(-0.00028, SOUTH, 0.00028, SOUTH + 0.00072)
HOUSE = box(-0.0001, SOUTH + 0.0003, 0.00006, SOUTH + 0.0004)
GAS = LineString([(-0.0002, SOUTH - 0.0002), (0.0001, SOUTH + 0.001)])
EAST_NEIGHBOUR = box(0.00028, SOUTH, 0.0008, SOUTH + 0.00072)


def moved(geometry: BaseGeometry, longitude: float) -> BaseGeometry:
    return shapely.transform(geometry, lambda xy: xy + np.array([longitude, 0.0]))


def jumping(geometry: BaseGeometry) -> BaseGeometry:
    def turn(xy: Any) -> Any:
        return np.column_stack([np.where(xy[:, 0] > 180.0, xy[:, 0] - 360.0, xy[:, 0]), xy[:, 1]])

    return shapely.transform(moved(geometry, 180.0), turn)


FORMS = {
    "counts on": lambda geometry: moved(geometry, 180.0),
    "jumps": jumping,
    "is cut": lambda geometry: cut_in_two(moved(geometry, 180.0)),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("geometry", [LOT, GAS, MultiPoint([(-0.1, 1.0), (0.1, 1.0)]), LOT.difference(HOUSE)], ids=str)
def test_what_lies_across_is_read_as_one_piece(form: str, geometry: BaseGeometry) -> None:
    joined = join_across(FORMS[form](geometry))
    assert joined is not None
    assert joined.geom_type == geometry.geom_type
    assert moved(joined, -180.0).hausdorff_distance(geometry) < 1e-9


@pytest.mark.parametrize(
    "elsewhere",
    [
        moved(LOT, 179.5),
        moved(LOT, -179.5),
        moved(LOT, 10.0),
        Point(180.0, 1.0),
        shapely.Polygon(),
        box(-180.0, -10.0, 180.0, 10.0),
        MultiLineString([[(-180, 1), (-179, 1)], [(100, 1), (120, 1)]]),
    ],
    ids=str,
)
def test_nothing_else_is_joined(elsewhere: BaseGeometry) -> None:
    assert join_across(elsewhere) is None


@given(
    west=st.floats(-0.9, -1e-4),
    east=st.floats(1e-4, 0.9),
    height=st.floats(1e-4, 0.5),
    longitude=st.sampled_from((-180.0, 180.0)),
)
def test_cutting_and_joining_give_the_same_ground(west: float, east: float, height: float, longitude: float) -> None:
    ground = moved(box(west, 10.0, east, 10.0 + height), longitude)
    cut = cut_in_two(ground)
    assert (np.abs(shapely.get_coordinates(cut)[:, 0]) <= 180.0).all()
    joined = join_across(cut)
    assert joined is not None
    assert joined.symmetric_difference(moved(ground, 180.0 - longitude)).area == pytest.approx(0.0, abs=1e-9)


def plan_of(folder: Path, form: Any) -> tuple[Result, dict[str, Any], Path]:
    folder.mkdir()
    layers = {
        "parcels": [(LOT, {"id": "A"}), (EAST_NEIGHBOUR, {"id": "B"})],
        "buildings": [(HOUSE, {})],
        "marks": [(GAS, {"kind": "gas"})],
    }
    options: list[object] = []
    for role, drawn in layers.items():
        rows = [feature(mapping(form(geometry)), **attributes) for geometry, attributes in drawn]
        options += [f"--{role}", geojson(folder / f"{role}.geojson", rows)]
    done = run("plan", *options, "--select", "id=A", "--formats", "geojson,gpx,map", "--out", folder / "out")
    return done, json.loads((folder / "out" / "summary.json").read_text("utf-8")), folder / "out"


@pytest.mark.parametrize("form", FORMS)
def test_a_lot_across_the_antimeridian_is_planned_like_one_elsewhere(tmp_path: Path, form: str) -> None:
    _, usual, _ = plan_of(tmp_path / "usual", lambda geometry: moved(geometry, 30.0))
    done, across, out = plan_of(tmp_path / "across", FORMS[form])
    assert done.exit_code in {0, 3}, done.output
    for name in ("parcel_area_m2", "loop_length_m", "free_area_m2", "crossings", "flags"):
        assert across["figures"][name] == pytest.approx(usual["figures"][name], rel=2e-4), name
    assert "lies across the antimeridian" in (out / "geojson" / "conflicts.geojson").read_text("utf-8")
    parcel, neighbours = (
        json.loads((out / "geojson" / f"{name}.geojson").read_text("utf-8")) for name in ("parcel", "neighbours")
    )
    assert len(neighbours["features"]) == 1
    geometry = shapely.geometry.shape(parcel["features"][0]["geometry"])
    assert geometry.geom_type == "MultiPolygon"
    assert np.abs(shapely.get_coordinates(geometry)[:, 0]).max() <= 180.0
    gpx = (out / "flags.gpx").read_text("utf-8")
    assert 'lon="-179.99' in gpx
    assert 'lon="180.00' not in gpx


def test_inspect_says_where_it_lies(tmp_path: Path) -> None:
    done = run("inspect", geojson(tmp_path / "lots.geojson", [feature(mapping(FORMS["is cut"](LOT)))]))
    assert done.exit_code == 0
    assert "179.999720 to 180.000280" in done.output
    assert "lies across the antimeridian" in done.output
