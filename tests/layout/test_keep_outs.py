from __future__ import annotations

import shapely
from shapely import LineString, Point, Polygon, box

from parcelfence.layout.design import design
from parcelfence.settings import Settings
from tests.layout.measure import off_square_deg
from tests.layout.sites import HOUSE, make_site

SETTINGS = Settings()
APART_M = 2 * SETTINGS.reach_m + SETTINGS.passage_width_m
GARDEN = box(14, 30, 21, 36)


def test_a_keep_out_inside_gets_a_loop_that_turns_against_the_outer_one() -> None:
    loop = design(make_site(keep_outs=[GARDEN], buildings=[HOUSE]), SETTINGS)
    (inner,) = loop.of_part("inner_loop")
    assert inner.line.is_closed
    assert inner.line.is_simple
    assert not shapely.is_ccw(inner.line)
    assert inner.current == loop.runs[0].current == 1.0
    assert 0.3 - 1e-6 <= inner.line.distance(GARDEN) < 0.6
    assert not loop.enclosed.intersects(GARDEN)
    (said,) = [remark for remark in loop.remarks if remark.rule == "inner-loop"]
    assert "clockwise" in said.message
    assert "so small" in said.message


def test_of_a_large_keep_out_nobody_says_that_its_inside_reacts() -> None:
    lot = box(0, 0, 120, 120)
    loop = design(make_site(lot, keep_outs=[box(40, 40, 60, 60)]), SETTINGS)
    (said,) = [remark for remark in loop.remarks if remark.rule == "inner-loop"]
    assert "so small" not in said.message


def test_a_keep_out_near_the_edge_is_carved_from_it() -> None:
    loop = design(make_site(keep_outs=[box(30, 4, 36, 8)], buildings=[box(28, 28, 40, 36)]), SETTINGS)
    assert not loop.of_part("inner_loop")
    assert not loop.enclosed.intersects(box(30, 2, 36, 8))


def test_two_whose_zones_would_close_the_way_between_them_are_one() -> None:
    lot = box(0, 0, 80, 60)
    first = box(20, 20, 26, 26)
    near, far = (
        design(make_site(lot, keep_outs=[first, box(x, 20, x + 6, 26)]), SETTINGS) for x in (29.0, 26 + APART_M + 2)
    )
    (both,) = near.of_part("inner_loop")
    assert Polygon(both.line).contains(first)
    assert len(far.of_part("inner_loop")) == 2
    one, other = far.of_part("inner_loop")
    assert one.line.distance(other.line) >= APART_M - 0.05


def test_utilities_are_crossed_square_by_inner_loops_too() -> None:
    lot = box(0, 0, 90, 70)
    line = LineString([(-5, 10), (60, 60), (95, 64)])
    site = make_site(lot, keep_outs=[box(38, 38, 46, 44)], utilities=[line])
    loop = design(site, SETTINGS)
    assert loop.of_part("inner_loop")
    assert max(angle for _, angle in off_square_deg(loop.signal_runs, site.utilities)) <= 10.0


def test_a_pond_inside_is_no_keep_out_but_one_at_the_edge_is_gone_round() -> None:
    inside = design(make_site(water=[Point(20, 40).buffer(4)]), SETTINGS)
    assert not inside.of_part("inner_loop")
    assert inside.enclosed.contains(Point(20, 40))
    pond = Point(35, 58).buffer(8)
    edge = design(make_site(water=[pond]), SETTINGS)
    assert edge.runs[0].line.distance(pond) >= SETTINGS.water_clearance_m
