"""Buildings: clearance, signal through walls, doors."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, box

from parcelfence.settings import Settings
from tests.rules import sites

SETTINGS = Settings(reach_m=2.0, building_clearance_m=2.3)
LOOP = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
"""South side at y = 3."""


def _with_house(south_wall_m: float, **changes: object) -> sites.Site:
    return sites.site(buildings=(sites.feature(box(25, south_wall_m, 35, 20), id="house"),), **changes)


def test_a_wall_at_the_clearance_holds() -> None:
    place = _with_house(3 + 2.3)
    assert LOOP.runs[0].line.distance(place.buildings[0].geometry) == pytest.approx(2.3)
    assert not sites.found("building-clearance", sites.draft(place, LOOP, settings=SETTINGS))


@pytest.mark.parametrize(("gap_m", "severity"), [(2.2, "caution"), (1.9, "must_fix")])
def test_a_nearer_wall_is_told(gap_m: float, severity: str) -> None:
    place = _with_house(3 + gap_m)
    (conflict,) = sites.found("building-clearance", sites.draft(place, LOOP, settings=SETTINGS))
    assert conflict.measured == pytest.approx(LOOP.runs[0].line.distance(place.buildings[0].geometry))
    assert (conflict.severity, conflict.limit, conflict.feature) == (severity, 2.3, "house")
    west, _, east, _ = conflict.geometry.bounds
    beside_m = np.sqrt(2.29**2 - gap_m**2)
    assert (west, east) == pytest.approx((25 - beside_m, 35 + beside_m), abs=0.51)


def test_wire_under_a_building_must_be_fixed() -> None:
    (conflict,) = sites.found("building-clearance", sites.draft(_with_house(1.0), LOOP, settings=SETTINGS))
    assert conflict.measured == 0
    assert conflict.severity == "must_fix"


def test_the_lead_in_may_touch_the_building() -> None:
    loop = sites.loop_of(*LOOP.runs, sites.lead_in((30, 10), (30, 3)))
    assert not sites.found("building-clearance", sites.draft(_with_house(10.0), loop, settings=SETTINGS))


def test_signal_outside_the_walls_holds_and_inside_is_measured_from_the_wall() -> None:
    free = sites.draft(_with_house(3 + 2.3), LOOP, settings=SETTINGS)
    inner_edge = _inner_edge(free, x=30.0)
    assert not sites.found("building-signal", sites.draft(_with_house(inner_edge + 0.05), LOOP, settings=SETTINGS))
    reached = sites.draft(_with_house(inner_edge - 0.4), LOOP, settings=SETTINGS)
    (conflict,) = sites.found("building-signal", reached)
    deepest = max(_inner_edge(reached, x=x) for x in np.linspace(25.5, 34.5, 37)) - (inner_edge - 0.4)
    assert conflict.measured == pytest.approx(deepest, abs=5e-3)
    assert conflict.severity == "must_fix"


def test_signal_in_a_corner_of_a_building_is_measured_to_its_farthest_point() -> None:
    """A corner that points at the wire: the edge of the signal runs straight across it, without a vertex inside."""
    house = shapely.Polygon([(30, 3 + 1.7), (42, 16), (30, 28), (18, 16)])
    place = sites.site(buildings=(sites.feature(house, id="house"),))
    draft = sites.draft(place, LOOP, settings=SETTINGS)
    (conflict,) = sites.found("building-signal", draft)
    within = _inner_edge(draft, x=30.0) - 4.7
    assert conflict.measured == pytest.approx(within * np.cos(np.arctan2(11.3, 12)), abs=0.03)


def _inner_edge(draft: sites.Draft, *, x: float) -> float:
    """Northing at which a walk due north from the south wire leaves the signal."""
    walk = shapely.LineString([(x, 3), (x, 20)])
    return float(shapely.bounds(walk.intersection(draft.zones.signal))[3])


def test_a_building_full_of_signal_is_said_to_be() -> None:
    place = sites.site(buildings=(sites.feature(box(30, 3.5, 31, 4.2), id="shed"),))
    (conflict,) = sites.found("building-signal", sites.draft(place, LOOP, settings=SETTINGS))
    assert "fills building shed" in conflict.message


def test_a_door_with_room_before_it_holds() -> None:
    door = sites.feature(Point(30, 10), id="back")
    assert not sites.found("door-blocked", sites.draft(_with_house(10.0, doors=(door,)), LOOP, settings=SETTINGS))


def test_a_door_too_near_to_the_signal_is_told_with_the_way_left() -> None:
    draft = sites.draft(_with_house(10.0), LOOP, settings=SETTINGS)
    edge = _inner_edge(draft, x=30.0)
    for gap_m, holds in ((1.25, True), (1.1, False)):
        door = sites.feature(Point(30, edge + gap_m), id="back")
        found = sites.found("door-blocked", sites.draft(_with_house(10.0, doors=(door,)), LOOP, settings=SETTINGS))
        assert bool(found) is not holds
        for conflict in found:
            assert conflict.measured == pytest.approx(gap_m, abs=2e-3)
            assert conflict.severity == "caution"


def test_a_door_in_the_signal_must_be_fixed_and_one_outside_the_loop_is_told() -> None:
    doors = (sites.feature(Point(30, 4), id="in"), sites.feature(Point(30, -5), id="out"))
    found = sites.found("door-blocked", sites.draft(_with_house(10.0, doors=doors), LOOP, settings=SETTINGS))
    assert {conflict.feature: conflict.severity for conflict in found} == {"in": "must_fix", "out": "caution"}
    assert "outside the loop" in next(conflict.message for conflict in found if conflict.feature == "out")


def test_the_word_of_a_feature_is_said_once() -> None:
    doors = (sites.feature(Point(30, 4), id="door 2"), sites.feature(Point(30, -5), id="kitchen"))
    found = sites.found("door-blocked", sites.draft(_with_house(10.0, doors=doors), LOOP, settings=SETTINGS))
    assert [row.message.split(" lies")[0].split(" opens")[0] for row in found] == ["Door 2", "Door kitchen"]
