"""Every kind of utility that the loop has to cross, measured by a checker that knows nothing of the designer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, Point, Polygon, affinity, box

from parcelfence.layout.design import design
from parcelfence.settings import Settings
from tests.layout.measure import beside_m, off_square_deg
from tests.layout.sites import HOUSE, LOT, make_site, utility

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop
    from parcelfence.site.site import Site

SETTINGS = Settings()
THROUGH = LineString([(-5, 20), (80, 30)])
CASES: dict[str, list[BaseGeometry]] = {
    "straight through": [THROUGH],
    "aslant through a corner of the lot": [LineString([(-10, -5), (60, 70)])],
    "service that ends at the house": [LineString([(20, -10), (33, 25)])],
    "bent near both crossings": [LineString([(20, -10), (20, 4), (45, 14), (45, 70)])],
    "main along the lot line with a service": [
        LineString([(-10, 3.5), (80, 3.5)]),
        LineString([(35, 3.5), (35, 25)]),
    ],
    "three in one trench": [THROUGH, affinity.translate(THROUGH, 0, 0.3), affinity.translate(THROUGH, 0, 1.0)],
    "two a few metres apart": [THROUGH, affinity.translate(THROUGH, 0, 3.5)],
    "two that cross each other near the loop": [
        LineString([(10, -5), (30, 30)]),
        LineString([(30, -5), (5, 35)]),
    ],
    "two that cross each other on the loop": [LineString([(10, -8), (30, 14)]), LineString([(30, -8), (10, 14)])],
    "into the corner of the lot": [LineString([(-8, -8), (40, 30)])],
    "winding": [LineString([(10, -5), (14, 1), (11, 6), (16, 11), (13, 18), (20, 25)])],
    "two that cross inside": [THROUGH, LineString([(20, -10), (33, 25)])],
    "drawn twice": [THROUGH, THROUGH],
}


def outer(loop: Loop) -> LineString:
    return loop.of_part("loop")[0].line


def square(loop: Loop, site: Site) -> None:
    assert max((angle for _, angle in off_square_deg(loop.signal_runs, site.utilities)), default=0.0) <= 10.0
    told = {remark.feature for remark in loop.remarks if remark.rule == "utility-parallel"}
    beside = dict(beside_m(loop.signal_runs, site.utilities, separation_m=SETTINGS.utility_separation_m))
    assert set(beside) <= told


@pytest.mark.parametrize("name", CASES)
def test_every_crossing_is_square_and_no_wire_runs_beside(name: str) -> None:
    site = make_site(utilities=CASES[name], buildings=[HOUSE])
    loop = design(site, SETTINGS)
    square(loop, site)
    assert loop.enclosed.contains(HOUSE)
    assert outer(loop).distance(LOT.exterior) >= SETTINGS.lot_line_setback_m


@pytest.mark.parametrize("name", sorted(set(CASES) - {"main along the lot line with a service", "winding"}))
def test_little_land_is_given_up(name: str) -> None:
    loop = design(make_site(utilities=CASES[name], buildings=[HOUSE]), SETTINGS)
    assert loop.enclosed.area / loop.allowed.area >= 0.97


def test_a_trench_is_crossed_in_one_go() -> None:
    site = make_site(utilities=CASES["three in one trench"], buildings=[HOUSE])
    line = outer(design(site, SETTINGS))
    west = [
        xy for each in site.utilities for xy in shapely.get_coordinates(line.intersection(each.geometry)) if xy[0] < 30
    ]
    assert len(west) == 3
    along = line.project(Point(west[0])), line.project(Point(west[-1]))
    assert abs(along[1] - along[0]) < 1.2


def test_a_main_along_the_lot_line_stays_outside_and_only_the_service_is_crossed() -> None:
    site = make_site(utilities=CASES["main along the lot line with a service"], buildings=[HOUSE])
    line = outer(design(site, SETTINGS))
    assert not line.intersects(site.utilities[0].geometry)
    assert len(shapely.get_coordinates(line.intersection(site.utilities[1].geometry))) == 1


def test_nobody_weaves_over_a_line_for_a_strip_of_grass() -> None:
    """A line that meanders about the edge of the allowed land is left outside, not crossed four times."""
    meander = LineString([(-5, 3.0), (10, 3.0), (14, 5.6), (20, 5.6), (24, 3.0), (90, 3.0)])
    line = outer(design(make_site(utilities=[meander], buildings=[HOUSE]), SETTINGS))
    assert not line.intersects(meander)


@given(
    west=st.floats(5, 55),
    east=st.floats(5, 55),
    south=st.floats(-10, 70),
    north=st.floats(-10, 70),
)
def test_any_two_straight_lines_are_crossed_square_or_told(
    west: float, east: float, south: float, north: float
) -> None:
    lines = [LineString([(-10, west), (90, east)]), LineString([(south, -10), (north, 70)])]
    site = make_site(utilities=lines, buildings=[HOUSE])
    square(design(site, SETTINGS), site)


@given(points=st.lists(st.tuples(st.floats(-10, 85), st.floats(-10, 70)), min_size=2, max_size=5, unique=True))
def test_any_bent_line_is_crossed_square_or_told(points: list[tuple[float, float]]) -> None:
    line = LineString(points)
    if line.length < 1 or not line.is_simple:
        return
    site = make_site(utilities=[line], buildings=[HOUSE])
    square(design(site, SETTINGS), site)


def test_a_long_tolerance_area_is_crossed_square_like_the_line_in_it() -> None:
    area = THROUGH.buffer(0.9, cap_style="flat")
    loop = design(make_site(utilities=[area], buildings=[HOUSE]), SETTINGS)
    inside = shapely.get_parts(outer(loop).intersection(area))
    assert [piece.length for piece in inside] == pytest.approx([1.8, 1.8], abs=0.03)
    assert loop.enclosed.area / loop.allowed.area > 0.97


def test_a_vault_at_the_edge_and_a_single_dot_are_passed_with_the_separation() -> None:
    vault, dot = box(-2, 30, 4, 36), Point(40, 3)
    line = outer(design(make_site(utilities=[vault, dot], buildings=[HOUSE]), SETTINGS))
    assert line.distance(vault) >= SETTINGS.utility_separation_m
    assert line.distance(dot) >= SETTINGS.utility_separation_m


def test_a_vault_inside_changes_nothing() -> None:
    plain, loop = (design(make_site(utilities=each), SETTINGS) for each in ([], [box(30, 20, 32, 22)]))
    assert outer(loop).equals(outer(plain))


def test_points_only_marks_keep_their_wider_tolerance() -> None:
    marks = utility(LineString([(20, -10), (33, 25)]), inferred=True, tolerance_m=2.0)
    line = outer(design(make_site(utilities=[marks], buildings=[HOUSE]), SETTINGS))
    within = line.intersection(marks.geometry.buffer(1.95))
    assert within.length == pytest.approx(3.9, abs=0.1)


def test_a_dot_cloud_needs_no_line() -> None:
    dots = MultiPoint([(5, 10), (5, 14)])
    line = outer(design(make_site(utilities=[dots], buildings=[HOUSE]), SETTINGS))
    assert line.distance(dots) >= SETTINGS.utility_separation_m


def test_where_nothing_square_fits_the_larger_part_is_kept_and_the_reason_told() -> None:
    """A line of hooks, nowhere straight for longer than the separation, parts a narrow lot."""
    lot = box(0, 0, 60, 20)
    zigzag = LineString([(20 + (n % 2) * 1.2, n * 1.0 - 5) for n in range(31)])
    loop = design(make_site(lot, utilities=[utility(zigzag, "E-9")], buildings=[box(40, 7, 48, 13)]), SETTINGS)
    assert loop.enclosed.contains(box(40, 7, 48, 13))
    assert not outer(loop).intersects(zigzag)
    assert any(remark.rule == "utility-angle" and "E-9" in remark.message for remark in loop.remarks)
    assert any("E-9 cannot be crossed" in remark.message for remark in loop.remarks)


def test_a_polygon_that_is_no_strip_is_no_line() -> None:
    tank = Polygon([(40, 1), (46, 1), (46, 4), (43, 6), (40, 4)])
    line = outer(design(make_site(utilities=[tank], buildings=[HOUSE]), SETTINGS))
    assert line.distance(tank) >= SETTINGS.utility_separation_m
