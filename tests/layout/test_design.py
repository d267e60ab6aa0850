"""The designer on lots made by hand: setbacks, rounding, buildings, and the same loop however the input is written."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from parcelfence.errors import NoLoopError
from parcelfence.layout.design import design
from parcelfence.settings import Settings
from tests.layout.sites import HOUSE, LOT, apart_m, make_site, moved, sharpest_radius_m, utility

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop
    from parcelfence.site.site import Site

SETTINGS = Settings()


def outer(loop: Loop) -> LineString:
    return loop.of_part("loop")[0].line


def busy() -> Site:
    """Give a site with everything that bends a loop."""
    return make_site(
        utilities=[
            LineString([(-5, 20), (40, 24), (85, 31)]),
            LineString([(25, -5), (34, 26)]),
            LineString([(55, -10), (48, 70)]),
        ],
        buildings=[HOUSE],
        keep_outs=[box(14, 40, 22, 46), box(50, 3, 56, 8)],
        water=[Point(70, 52).buffer(6)],
        easements=[Polygon([(0, 0), (10, 60), (14, 60), (4, 0)])],
    )


@given(width=st.floats(12, 200), height=st.floats(12, 200), angle=st.floats(0, 180), reach=st.floats(0.6, 3.0))
def test_a_rectangle_gives_a_rounded_rectangle(width: float, height: float, angle: float, reach: float) -> None:
    settings = Settings(reach_m=reach)
    loop = design(make_site(affinity.rotate(box(0, 0, width, height), angle)), settings)
    a, b = width - 2 * settings.lot_line_setback_m, height - 2 * settings.lot_line_setback_m
    assert loop.enclosed.area == pytest.approx(a * b - (4 - math.pi), rel=0.01)
    assert (
        outer(loop).distance(affinity.rotate(box(0, 0, width, height), angle).exterior) >= settings.lot_line_setback_m
    )
    assert sharpest_radius_m(outer(loop), step_m=0.5) > 0.95 * settings.bend_radius_m


def test_every_limit_holds_on_a_busy_site() -> None:
    site = busy()
    loop = design(site, SETTINGS)
    line = outer(loop)
    assert line.is_closed
    assert line.is_simple
    assert shapely.is_ccw(line)
    assert line.distance(site.parcel.exterior) >= SETTINGS.lot_line_setback_m
    assert line.distance(site.water[0].geometry) >= SETTINGS.water_clearance_m
    assert line.distance(site.buildings[0].geometry) >= SETTINGS.building_clearance_m
    assert not line.intersects(site.easements[0].geometry)
    for run in loop.signal_runs:
        assert min(run.line.distance(each.geometry) for each in site.keep_outs) >= SETTINGS.keep_out_clearance_m - 1e-6
        assert sharpest_radius_m(run.line, step_m=0.5) > 0.93 * SETTINGS.bend_radius_m


def test_the_same_site_gives_the_same_loop() -> None:
    one, other = design(busy(), SETTINGS), design(busy(), SETTINGS)
    assert [run.line.wkb for run in one.runs] == [run.line.wkb for run in other.runs]


@given(angle=st.floats(-180, 180), x=st.floats(-1e4, 1e4), y=st.floats(-1e4, 1e4), mirror=st.booleans())
def test_the_loop_moves_with_the_site(angle: float, x: float, y: float, mirror: bool) -> None:
    sign = -1.0 if mirror else 1.0
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))

    def there(shape: BaseGeometry) -> BaseGeometry:
        return affinity.affine_transform(shape, [sign * cos, -sin, sign * sin, cos, x, y])

    loop, changed = design(busy(), SETTINGS), design(moved(busy(), there), SETTINGS)
    for one, other in zip(loop.signal_runs, changed.signal_runs, strict=True):
        assert apart_m(there(one.line), other.line) < 0.01


@given(seed=st.integers(0, 1000), every_m=st.floats(0.7, 20))
def test_the_loop_does_not_depend_on_how_lines_are_written(seed: int, every_m: float) -> None:
    order = np.random.default_rng(seed)
    site = busy()

    def rewritten(shape: BaseGeometry) -> BaseGeometry:
        dense = shapely.segmentize(shape, every_m)
        if isinstance(dense, Polygon):
            ring = list(dense.exterior.coords)[:-1]
            start = int(order.integers(len(ring)))
            ring = ring[start:] + ring[:start]
            return Polygon(ring[::-1] if order.random() < 0.5 else ring)
        return shapely.reverse(dense) if order.random() < 0.5 else dense

    from dataclasses import replace

    changed = moved(site, rewritten)
    changed = replace(changed, utilities=tuple(changed.utilities[index] for index in order.permutation(3)))
    one, other = design(site, SETTINGS), design(changed, SETTINGS)
    for before, after in zip(one.signal_runs, other.signal_runs, strict=True):
        assert apart_m(before.line, after.line) < 0.01


def test_a_building_at_the_lot_line_is_passed_on_its_inner_side() -> None:
    loop = design(make_site(buildings=[box(20, 0.5, 26, 4), HOUSE]), SETTINGS)
    assert outer(loop).distance(box(20, 0.5, 26, 4)) >= SETTINGS.building_clearance_m
    assert any(remark.rule == "building-clearance" and remark.feature == "buildings-1" for remark in loop.remarks)
    assert loop.enclosed.contains(HOUSE)


def test_of_two_parts_that_with_the_house_is_taken_and_the_other_is_told() -> None:
    dumbbell = box(0, 0, 40, 40).union(box(40, 18, 60, 22)).union(box(60, 0, 105, 40))
    loop = design(make_site(dumbbell, buildings=[box(15, 15, 25, 25)]), SETTINGS)
    assert loop.enclosed.contains(Point(20, 20))
    assert loop.enclosed.bounds[2] < 50
    assert [remark.rule for remark in loop.remarks] == ["narrow-passage"]


def test_a_hole_in_the_parcel_gets_its_own_loop_with_the_setback() -> None:
    lot = LOT.difference(box(45, 30, 55, 40))
    loop = design(make_site(lot, buildings=[HOUSE]), SETTINGS)
    (inner,) = loop.of_part("inner_loop")
    assert not shapely.is_ccw(inner.line)
    assert inner.line.distance(box(45, 30, 55, 40)) >= SETTINGS.lot_line_setback_m


def test_several_parcels_are_one_property_and_what_is_left_out_is_told() -> None:
    loop = design(make_site(MultiPolygon([LOT, box(90, 0, 110, 30)]), buildings=[HOUSE]), SETTINGS)
    assert loop.enclosed.within(LOT)
    assert any("stay outside the loop" in remark.message for remark in loop.remarks)


def test_a_wanted_area_is_followed_within_the_setback() -> None:
    loop = design(make_site(wanted_area=box(-10, 30, 90, 80)), SETTINGS)
    assert loop.enclosed.bounds[1] == pytest.approx(30, abs=0.05)
    assert outer(loop).distance(LOT.exterior) >= SETTINGS.lot_line_setback_m


def test_withheld_ground_is_kept_free() -> None:
    spot = Point(58, 1).buffer(9)
    loop = design(make_site(), SETTINGS, withheld=spot)
    assert not loop.enclosed.buffer(-0.02).intersects(spot)


def test_too_narrow_a_parcel_says_how_wide_it_is_and_which_reach_fits() -> None:
    with pytest.raises(NoLoopError, match=r"circle 6\.0 m across.*reach of 1\.\d\d m") as caught:
        design(make_site(box(0, 0, 100, 6)), SETTINGS)
    fits = float(str(caught.value).split("reach of ")[1].split(" m")[0])
    assert design(make_site(box(0, 0, 100, 6)), Settings(reach_m=fits - 0.01)).enclosed.area > 10


def test_no_reach_fits_on_a_strip() -> None:
    with pytest.raises(NoLoopError, match="No usual reach"):
        design(make_site(box(0, 0, 100, 2)), SETTINGS)


def test_a_neighbours_building_over_the_line_is_kept_clear_of_without_a_word() -> None:
    shed = box(20, -4, 30, 1.5)
    loop = design(make_site(buildings=[HOUSE, shed]), SETTINGS)
    assert outer(loop).distance(shed) >= SETTINGS.building_clearance_m
    assert not loop.remarks


def test_utilities_of_a_kind_in_pieces_are_one_line() -> None:
    pieces = [LineString([(-5, 20), (3, 20.7)]), LineString([(3, 20.7), (40, 24)]), LineString([(40, 24), (85, 31)])]
    whole = shapely.line_merge(shapely.MultiLineString(pieces))
    one = design(make_site(utilities=[utility(piece, f"G{n}") for n, piece in enumerate(pieces)]), SETTINGS)
    other = design(make_site(utilities=[utility(whole, "G")]), SETTINGS)
    assert apart_m(outer(one), outer(other)) < 0.01
