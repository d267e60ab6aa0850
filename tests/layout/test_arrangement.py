"""Named layouts: which ground is contained, which side is the front, which part of a lot is planned."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from parcelfence import Settings, plan
from parcelfence.errors import SettingsError
from parcelfence.layout.arrangement import arrangements, ground_parts, net_cost_m
from parcelfence.layout.front import front_of
from parcelfence.layout.open_side import end_reach_m
from tests.layout.sites import feature, make_site

LOT = box(0, 0, 40, 60)
HOUSE = box(12, 14, 28, 24)
ROAD = LineString([(-20, -4), (60, -4)])


def _settings(**changes: object) -> Settings:
    return Settings.from_words({"reach": 1.5, "layout": "back-yard", **changes})


def _site(house: Polygon = HOUSE, **layers: object) -> object:
    return make_site(LOT, buildings=[house], **layers)


@pytest.mark.parametrize("turned_deg", [0.0, 30.0, -80.0])
def test_the_front_looks_to_the_road_square_to_a_wall(turned_deg: float) -> None:
    site = make_site(
        affinity.rotate(LOT, turned_deg, origin=(0, 0)),
        buildings=[affinity.rotate(HOUSE, turned_deg, origin=(0, 0))],
        roads=[affinity.rotate(ROAD, turned_deg, origin=(0, 0))],
    )
    front = front_of(site, house=site.buildings[0], settings=_settings())
    angle = np.radians(turned_deg - 90)
    assert front.outwards == pytest.approx([np.cos(angle), np.sin(angle)], abs=1e-6)
    assert "road" in front.why


def test_a_stated_front_wins_then_a_front_door_then_the_road_then_the_neighbours() -> None:
    door = feature(Point(28, 20), "D1")
    door = type(door)(id="D1", kind="front door", source_id="", geometry=door.geometry)
    lots = [box(-30, 0, 0, 60), box(40, 0, 70, 60), box(0, 0, 40, -30)]
    known = {"roads": [ROAD], "neighbours": lots}
    words = []
    for front, doors, left in (("west", (door,), known), ("", (door,), known), ("", (), known)):
        site = _site(doors=doors, **left)
        words.append(front_of(site, house=site.buildings[0], settings=_settings(front=front)).words)
    site = _site(neighbours=lots)
    words.append(front_of(site, house=site.buildings[0], settings=_settings()).words)
    assert words == ["west", "east", "south", "north"]


def test_without_any_hint_the_front_is_asked_for() -> None:
    with pytest.raises(SettingsError, match="front = 'south'"):
        arrangements(_site(), _settings())
    with pytest.raises(SettingsError, match="no building"):
        arrangements(make_site(LOT), _settings(front="south"))


def test_a_back_yard_has_two_ways_one_with_the_house_and_one_beside_it() -> None:
    closed, doubled = arrangements(_site(roads=[ROAD]), _settings())
    assert closed.house_inside
    assert closed.site.wanted_area.covers(HOUSE)
    assert not closed.site.wanted_area.intersects(box(0, 0, 40, 11.8))
    assert doubled.site.wanted_area.distance(HOUSE) == pytest.approx(end_reach_m(_settings()), abs=0.05)
    (wall,) = doubled.site.open_sides
    assert wall.kind == "house wall"
    assert wall.geometry.intersection(LineString([(12, 24), (28, 24)])).length == pytest.approx(16.0)


def test_a_nook_beside_a_wing_belongs_to_the_yard() -> None:
    wing = Polygon([(12, 10), (28, 10), (28, 30), (22, 30), (22, 20), (12, 20)])
    _, doubled = arrangements(_site(wing, roads=[ROAD]), _settings())
    assert doubled.site.wanted_area.contains(Point(15, 24))


def test_the_cheaper_way_is_taken_and_only_a_loop_that_holds_the_house_closes_round_it() -> None:
    wide = plan(_site(roads=[ROAD]), _settings())
    assert [run.part for run in wide.loop.signal_runs] == ["loop"]
    assert wide.loop.enclosed.covers(HOUSE)
    narrow = plan(_site(box(3, 14, 37, 24), roads=[ROAD]), _settings())
    assert {run.part for run in narrow.loop.signal_runs} == {"return_run"}
    assert not any(run.line.intersects(box(3, 14, 37, 24)) for run in narrow.loop.signal_runs)


def test_the_yard_of_a_doubled_wire_reaches_up_to_the_wall() -> None:
    narrow = plan(_site(box(3, 14, 37, 24), roads=[ROAD]), _settings())
    assert narrow.zones.roam.distance(Point(20, 24)) == pytest.approx(0.0, abs=0.01)
    assert not narrow.loop.enclosed.intersects(box(3.1, 14.1, 36.9, 23.9))


def test_the_house_that_is_a_side_of_the_yard_is_no_finding_and_a_shed_at_the_lot_line_is_one() -> None:
    shed = box(36, 50, 39.5, 53)
    done = plan(make_site(LOT, buildings=[box(3, 14, 37, 24), shed], roads=[ROAD]), _settings())
    outside = [row for row in done.conflicts if "leaves it outside" in row.message]
    assert [row.feature for row in outside] == ["buildings-2"]


def test_the_reach_with_which_a_building_would_stand_inside_was_tried() -> None:
    shed = box(2.2, 30, 6, 34)
    site = make_site(LOT, buildings=[box(15, 10, 27, 20), shed])
    (row,) = [row for row in plan(site, Settings()).conflicts if "leaves it outside" in row.message]
    (found,) = re.findall(r"a reach of ([0-9.]+) m lets", row.remedy)
    reach_m = float(found)
    assert 0.7 < reach_m <= 0.8
    smaller = plan(site, Settings(reach_m=reach_m))
    assert smaller.loop.enclosed.covers(shed)
    assert not [row for row in smaller.conflicts if row.severity == "must_fix"]
    with_setback = plan(site, Settings(lot_line_setback_m=2.1))
    (row,) = [row for row in with_setback.conflicts if "leaves it outside" in row.message]
    assert row.remedy.startswith("no usual reach"), "a setback that was stated stays, whatever the reach"


def test_a_layout_turns_with_its_property() -> None:
    costs = []
    for degrees in (0.0, 37.0):
        shapes = [affinity.rotate(shape, degrees, origin=(0, 0)) for shape in (LOT, box(3, 14, 37, 24), ROAD)]
        site = make_site(shapes[0], buildings=[shapes[1]], roads=[shapes[2]])
        _, doubled = arrangements(site, _settings())
        costs.append((doubled.site.wanted_area.area, doubled.site.open_sides[0].geometry.length))
    assert costs[0] == pytest.approx(costs[1], rel=1e-6)


def test_open_water_at_the_edge_is_an_open_side_and_a_pond_is_none() -> None:
    lake, pond = box(-10, 50, 50, 90), box(15, 35, 20, 40)
    settings = _settings(layout="open-side")
    (way,) = arrangements(_site(water=[lake, pond]), settings)
    (side,) = way.site.open_sides
    assert side.geometry.distance(LineString([(0, 50), (40, 50)])) == 0
    with pytest.raises(SettingsError, match="open_sides"):
        arrangements(_site(water=[pond]), settings)


def test_a_lakefront_ends_with_its_signal_in_the_water() -> None:
    lake = box(-10, 50, 50, 90)
    done = plan(_site(water=[lake]), _settings(layout="open-side", reach=2))
    for band in shapely.get_parts(done.zones.signal):
        assert band.intersects(lake)
    assert not any(run.line.intersects(lake) for run in done.loop.runs)


def test_a_lot_in_two_parts_says_which_is_planned_and_plans_the_other_on_request() -> None:
    lot = MultiPolygon([box(0, 0, 40, 30), box(0, 40, 40, 100)])
    site = make_site(lot, buildings=[box(10, 8, 22, 18)])
    settings = Settings(reach_m=1.5)
    areas = [part.area for part in ground_parts(site, settings)]
    assert areas == pytest.approx([36.4 * 56.4, 36.4 * 26.4])
    on = {}
    for part in (0, 1, 2):
        done = plan(site, settings.replaced(part=part))
        (said,) = [conflict for conflict in done.conflicts if conflict.rule == "lot-parts"]
        assert said.severity == "caution"
        on[part] = done.loop.enclosed.centroid.y > 35
        assert f"on part {1 if on[part] else 2}" in said.message
    assert on[1] is True
    assert on[2] is False
    with pytest.raises(SettingsError, match="has 2 parts"):
        plan(site, settings.replaced(part=3))


def test_a_road_parts_a_lot_that_is_drawn_as_one() -> None:
    site = make_site(LOT, roads=[LineString([(-10, 30), (50, 30)]).buffer(3)])
    one, other = ground_parts(site, Settings(reach_m=1.5))
    assert one.distance(other) > 6
    whole = make_site(LOT)
    assert len(ground_parts(whole, Settings(reach_m=1.5))) == 1


def test_free_ground_is_worth_more_than_the_wire_of_a_wide_strip_and_less_than_that_of_a_narrow_one() -> None:
    settings = Settings(reach_m=1.5)
    deeper = [plan(make_site(box(0, 0, 40, depth)), settings).loop for depth in (20, 40, 60)]
    costs = [net_cost_m(loop, settings) for loop in deeper]
    assert all(one > other for one, other in itertools.pairwise(costs))


@pytest.mark.parametrize(
    ("said", "kept", "bearing_deg"),
    [
        ("South-West", "southwest", 225.0),
        ("nw", "northwest", 315.0),
        ("-90.5", "269.5", 269.5),
        (30, "30", 30.0),
        ("", "", 0.0),
    ],
)
def test_a_side_is_a_point_of_the_compass_or_a_bearing(said: object, kept: str, bearing_deg: float) -> None:
    settings = Settings.from_words({"front": said})
    assert (settings.front, settings.front_bearing_deg) == (kept, bearing_deg)


def test_a_side_that_is_none_is_refused() -> None:
    with pytest.raises(SettingsError, match="point of the compass"):
        Settings.from_words({"front": "sideways"})
