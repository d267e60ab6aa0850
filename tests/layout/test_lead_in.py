from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box

from parcelfence.layout.design import design
from parcelfence.layout.routing import FreeGround
from parcelfence.settings import Settings
from tests.layout.measure import off_square_deg
from tests.layout.sites import HOUSE, LOT, make_site

if TYPE_CHECKING:
    from parcelfence.layout.loop import Loop, Run

SETTINGS = Settings()
LARGE = box(0, 0, 120, 100)


def leads(loop: Loop) -> tuple[Run, ...]:
    return loop.of_part("lead_in")


def begins(run: Run) -> Point:
    return shapely.get_point(run.line, 0)


def test_every_loop_begins_where_a_pair_ends_and_every_pair_where_another_does() -> None:
    loop = design(
        make_site(LARGE, buildings=[box(50, 40, 62, 50)], keep_outs=[box(20, 20, 28, 28), box(85, 60, 95, 70)]),
        SETTINGS,
    )
    assert loop.transmitter is not None
    ends = [shapely.get_point(run.line, -1) for run in leads(loop)]
    for run in loop.signal_runs:
        assert min(end.distance(begins(run)) for end in ends) < 1e-6
    for run in leads(loop):
        assert min(node.distance(begins(run)) for node in (loop.transmitter.point, *ends)) < 1e-6


def test_a_tree_is_shorter_than_one_pair_for_each_loop() -> None:
    keep_outs = [box(80, 40, 88, 48), box(80, 55, 88, 63)]
    loop = design(make_site(LARGE, buildings=[box(20, 45, 32, 55)], keep_outs=keep_outs), SETTINGS)
    assert loop.transmitter is not None
    place = loop.transmitter.point
    one_by_one = sum(place.distance(run.line) for run in loop.signal_runs)
    assert sum(run.line.length for run in leads(loop)) < 0.95 * one_by_one


def test_the_transmitter_is_proposed_at_the_house_dry_and_away_from_metal() -> None:
    house, pond = box(30, 25, 42, 35), Point(36, 42).buffer(5)
    metal = box(42.2, 24, 44, 36)
    loop = design(make_site(LARGE, buildings=[house, box(60, 60, 64, 63)], water=[pond], metal=[metal]), SETTINGS)
    found = loop.transmitter
    assert found is not None
    assert not found.given
    assert found.point.distance(house.exterior) < 1e-6
    assert found.point.distance(metal) >= SETTINGS.transmitter_metal_clearance_m
    assert found.point.distance(pond) >= 3
    assert "dry and away from metal" in found.note


def test_a_given_transmitter_stays_and_leaves_through_the_nearest_wall() -> None:
    place = Point(31, 30)
    loop = design(make_site(buildings=[HOUSE], transmitter=place), SETTINGS)
    assert loop.transmitter is not None
    assert loop.transmitter.given
    (lead,) = leads(loop)
    assert begins(lead).equals(place)
    assert lead.line.intersection(HOUSE).length == pytest.approx(1.0, abs=0.01)
    assert lead.line.intersects(Point(30, 30).buffer(0.01))


def test_without_a_building_or_a_place_there_is_no_lead_in_but_a_remark() -> None:
    loop = design(make_site(), SETTINGS)
    assert loop.transmitter is None
    assert not leads(loop)
    assert [remark.rule for remark in loop.remarks] == ["transmitter-place"]


def test_lead_ins_cross_utilities_square_where_there_is_room() -> None:
    line = LineString([(-5, -10), (110, 105)])
    site = make_site(
        LARGE,
        buildings=[box(15, 40, 25, 48)],
        utilities=[line],
        transmitter=Point(26, 44),
        keep_outs=[box(70, 30, 78, 38)],
    )
    loop = design(site, SETTINGS)
    crossed = [angle for _, angle in off_square_deg(leads(loop), site.utilities)]
    assert crossed
    assert max(crossed) <= 10.0


def test_a_loop_is_not_fed_on_a_crossing_or_under_a_drive() -> None:
    drive = box(24, -5, 48, 60)
    service = LineString([(22, -10), (22, 20)])
    site = make_site(LARGE, buildings=[box(30, 10, 42, 18)], utilities=[service], hardscape=[drive])
    (lead,) = leads(design(site, SETTINGS))
    foot = shapely.get_point(lead.line, -1)
    assert not foot.intersects(drive)
    assert foot.distance(service) >= SETTINGS.utility_separation_m


def _exact(domain: Polygon, obstacles: list[Polygon], *, start: Point, goals: np.ndarray) -> float:
    """Length of the shortest way by extremitypathfinder, an outside library of exact polygon paths."""
    from extremitypathfinder import PolygonEnvironment

    around = shapely.orient_polygons(domain).exterior.coords[:-1]
    holes = [shapely.orient_polygons(each, exterior_cw=True).exterior.coords[:-1] for each in obstacles]
    environment = PolygonEnvironment()
    environment.store(list(around), [list(hole) for hole in holes], validate=False)
    return min(environment.find_shortest_path((start.x, start.y), tuple(goal))[1] for goal in goals)


@given(
    angles=st.tuples(*[st.floats(0, 90)] * 3),
    x=st.floats(3, 25),
    y=st.floats(5, 75),
    goal=st.floats(5, 75),
)
def test_ways_are_as_short_as_those_of_an_exact_library(
    angles: tuple[float, float, float], x: float, y: float, goal: float
) -> None:
    obstacles = [
        affinity.rotate(box(30 + 20 * n, 8 + 18 * n, 42 + 20 * n, 40 + 18 * n), angle) for n, angle in enumerate(angles)
    ]
    domain, start = box(0, 0, 120, 100), Point(x, y)
    goals = np.array([[112.0, goal], [112.0, goal + 15]])
    if any(obstacle.buffer(0.5).intersects(shapely.union(start, shapely.MultiPoint(goals))) for obstacle in obstacles):
        return
    if shapely.union_all(obstacles).area < sum(each.area for each in obstacles) - 1e-6:
        return  # the library wants them apart
    way = FreeGround(domain, obstacles).way(np.array([[x, y]]), goals)
    assert way is not None
    exact = _exact(domain, obstacles, start=start, goals=goals)
    assert exact - 0.2 <= way.length_m <= 1.01 * exact
    assert way.length_m == pytest.approx(way.line.length)


def test_a_lead_in_round_a_barn_is_within_one_percent_of_the_exact_way() -> None:
    barn = box(20, 20, 100, 30)
    site = make_site(
        LARGE, buildings=[barn, box(50, 40, 62, 48)], transmitter=Point(56, 48.2), keep_outs=[box(55, 12, 60, 15)]
    )
    loop = design(site, SETTINGS)
    inner = Polygon(loop.of_part("inner_loop")[0].line)
    place = Point(56, 48.2)
    total = sum(run.line.length for run in leads(loop))
    walls = [barn, box(50, 40, 62, 48)]
    goals = shapely.get_coordinates(shapely.segmentize(inner.exterior, 0.5))
    exact = _exact(LARGE, walls, start=place, goals=goals)
    to_loop = 100 - SETTINGS.lot_line_setback_m - place.y  # upwards: the barn bars the way down
    assert total <= 1.01 * (exact + to_loop)


def test_where_the_ground_is_cut_in_two_there_is_no_way() -> None:
    wall = box(40, -10, 44, 110)
    assert FreeGround(LARGE, [wall]).way(np.array([[10.0, 10.0]]), np.array([[100.0, 90.0]])) is None


def test_a_free_way_is_straight() -> None:
    way = FreeGround(LOT, []).way(np.array([[10.0, 10.0]]), np.array([[50.0, 40.0]]))
    assert way is not None
    assert way.length_m == pytest.approx(50.0)
    assert math.dist(*way.points) == pytest.approx(50.0)
