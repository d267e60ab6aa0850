from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from parcelfence.errors import NoLoopError
from parcelfence.layout.design import design
from parcelfence.layout.routing import FreeGround, PricedZone
from parcelfence.settings import Settings
from tests.layout.measure import off_square_deg
from tests.layout.sites import HOUSE, LOT, feature, make_site

if TYPE_CHECKING:
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.site.site import Site

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


@st.composite
def lots(draw: st.DrawFn) -> Site:
    """Draw a lot with a turned house, a keep-out, services, a drive, and sometimes a given transmitter."""
    angle = draw(st.floats(0, 90))
    lot = affinity.rotate(box(0, 0, draw(st.floats(26, 70)), draw(st.floats(30, 90))), draw(st.floats(0, 90)))
    west, south, east, north = lot.bounds
    share = st.floats(0.25, 0.75)
    middle = Point(west + draw(share) * (east - west), south + draw(share) * (north - south))
    house = affinity.rotate(box(middle.x - 6, middle.y - 4, middle.x + 6, middle.y + 4), angle)
    heights = draw(st.lists(st.floats(south, north), max_size=3))
    lines = shapely.MultiLineString([[(west - 5, height), (middle.x, middle.y)] for height in heights])
    services = list(shapely.get_parts(lines.difference(house)))
    return make_site(
        lot,
        transmitter=middle if draw(st.booleans()) else None,
        hardscape=[LineString([middle, (east, south)]).buffer(1.5)],
        keep_outs=[Point(middle.x, middle.y + 12).buffer(2.5)],
        buildings=[house],
        utilities=services,
    )


@settings(max_examples=40, deadline=None)
@given(lots())
def test_every_pair_joins_what_it_feeds_and_none_leaves_the_property(site: Site) -> None:
    try:
        loop = design(site, Settings(reach_m=1.0))
    except NoLoopError:
        return
    said = [one for one in loop.remarks if one.rule == "transmitter-place"]
    if not leads(loop):
        assert said
        return
    ends = [loop.transmitter.point] if loop.transmitter else []
    for run in leads(loop):
        assert site.parcel.buffer(1e-6).covers(run.line), shapely.difference(run.line, site.parcel).wkt
        ends.append(shapely.get_point(run.line, -1))
    for run in loop.signal_runs:
        assert min(end.distance(begins(run)) for end in ends[1:]) < 1e-6
    for run in leads(loop):
        assert min(end.distance(begins(run)) for end in ends) < 1e-6


def test_the_transmitter_keeps_away_from_where_services_enter() -> None:
    house = box(20, 30, 32, 40)
    service = LineString([(-10, 35), (20, 35)])
    site = make_site(box(0, 0, 60, 70), buildings=[house], utilities=[service])
    without = design(make_site(box(0, 0, 60, 70), buildings=[house]), SETTINGS).transmitter
    found = design(site, SETTINGS).transmitter
    assert without is not None
    assert found is not None
    assert without.point.distance(LineString([(20, 30), (20, 40)])) < 1e-6  # the wall nearest to the loop
    assert found.point.distance(Point(20, 35)) >= SETTINGS.utility_separation_m


def test_where_a_buried_line_lies_between_it_is_crossed_square_and_never_followed() -> None:
    """The lead-in of a place whose straight way would run along a main."""
    main = LineString([(-20, 52), (140, 60)])
    site = make_site(LARGE, buildings=[box(50, 40, 62, 48)], transmitter=Point(62.1, 44), utilities=[main])
    (lead,) = leads(design(site, SETTINGS))
    for angle in [angle for _, angle in off_square_deg((lead,), site.utilities)]:
        assert angle <= SETTINGS.crossing_tolerance_deg
    beside = lead.line.intersection(main.buffer(SETTINGS.utility_separation_m))
    assert beside.length <= 2 * SETTINGS.utility_separation_m + 0.2


def test_ground_that_must_not_be_dug_and_ponds_are_gone_round() -> None:
    house, pond = box(50, 40, 62, 48), box(45, 55, 70, 65)
    field = box(66, 30, 80, 60)
    site = make_site(LARGE, buildings=[house], water=[pond], transmitter=Point(56, 48.1))
    site = replace(site, no_dig=(feature(field),))
    for lead in leads(design(site, SETTINGS)):
        assert not lead.line.intersects(pond.buffer(-0.1))
        assert not lead.line.intersects(field.buffer(-0.1))


def test_a_place_from_which_no_way_leads_is_said_and_no_wire_is_drawn_over_the_road() -> None:
    lot = MultiPolygon([box(0, 0, 40, 40), box(0, 52, 40, 120)])
    site = make_site(lot, buildings=[box(12, 12, 24, 22)], transmitter=Point(12, 15))
    loop = design(replace(site, wanted_area=box(0, 52, 40, 120)), SETTINGS)
    assert not leads(loop)
    (said,) = [one for one in loop.remarks if one.rule == "transmitter-place"]
    assert said.severity == "must_fix"


@given(seed=st.integers(0, 10_000))
def test_a_priced_way_is_no_dearer_than_any_of_many_tried_ways(seed: int) -> None:
    """Random broken lines are an independent upper bound: none of them may be cheaper than the way that is found."""
    rng = np.random.default_rng(seed)
    zone = affinity.rotate(box(40, 20, 60, 70), float(rng.uniform(0, 180)))
    ground = FreeGround(LARGE, [], zones=[PricedZone(area=zone, per_m=float(rng.uniform(0.5, 20)))])
    start, goal = np.array([[10.0, 45.0]]), np.array([[110.0, 50.0]])
    way = ground.way(start, goal)
    assert way is not None
    assert way.price_m == pytest.approx(float(ground.prices_m(way.points[:-1], way.points[1:]).sum()))
    for _ in range(30):
        middle = rng.uniform((0, 0), (120, 100), (int(rng.integers(0, 3)), 2))
        points = np.vstack([start, middle, goal])
        assert way.price_m <= 1.1 * float(ground.prices_m(points[:-1], points[1:]).sum()) + 1e-6
