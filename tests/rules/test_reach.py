"""Reach along the wire against closed forms of straight legs, and what an installer has to read of it."""

from __future__ import annotations

import math

import pytest
from shapely import LineString, Point, Polygon, box

from parcelfence.settings import Settings
from tests.rules import sites
from tests.sample import sample_plan

FLAT = Settings(reach_m=1.0, receiver_height_m=0.0, burial_depth_m=0.0)
FAR = sites.site(parcel=box(-5, -5, 305, 205))
OUTSIDE_CORNER = math.sqrt(2) - 1
"""Reach on the bisector outside of two long legs at a right angle: each gives (1 - cos 45) / sqrt 2 of a long wire."""
INSIDE_CORNER = (2 + math.sqrt(2)) / 2
"""Distance from both legs at which the signal ends on the bisector inside: each leg gives (1 + cos 45) / 2."""


def _found(loop: sites.Loop, settings: Settings = FLAT, **changes: object) -> tuple[sites.Conflict, ...]:
    place = sites.site(**({"parcel": FAR.parcel} | changes))
    return sites.found("corner-signal", sites.draft(place, loop, settings=settings))


def test_the_corners_of_a_large_rectangle_are_two_notes() -> None:
    corners = box(0, 0, 300, 200)
    inside, outside = sorted(_found(sites.loop_of(sites.loop_run(corners))), key=lambda row: -(row.measured or 0))
    assert (inside.severity, outside.severity) == ("note", "note")
    assert inside.measured == pytest.approx(INSIDE_CORNER, rel=0.03)
    assert outside.measured == pytest.approx(OUTSIDE_CORNER, rel=0.03)
    for row in (inside, outside):
        assert "4 places" in row.message
        assert all(row.geometry.distance(Point(corner)) < 0.01 for corner in corners.exterior.coords)
    # the sides of so large a loop have the reach of a lone wire within 2 %
    assert (inside.limit, outside.limit) == pytest.approx((1.15, 0.85), rel=0.02)


def test_a_wire_without_corners_holds() -> None:
    """A circle reaches farther inwards than a lone wire all along, which is its straight run."""
    assert not _found(sites.loop_of(sites.loop_run(Point(150, 100).buffer(40, quad_segs=64))))


@pytest.mark.parametrize(("sides", "rows"), [(45, 0), (6, 2)])
def test_slight_bends_hold_and_sharp_ones_do_not(sides: int, rows: int) -> None:
    """Regular outlines that turn by 8 and by 60 degrees at every corner."""
    turns = [math.radians(360 * number / sides) for number in range(sides)]
    outline = Polygon([(150 + 100 * math.cos(turn), 100 + 100 * math.sin(turn)) for turn in turns])
    assert len(_found(sites.loop_of(sites.loop_run(outline)))) == rows


def test_a_corner_towards_the_animal_is_a_caution_at_its_place() -> None:
    notched = box(0, 0, 300, 200).difference(box(200, 100, 300, 200))
    (row,) = [row for row in _found(sites.loop_of(sites.loop_run(notched))) if row.severity == "caution"]
    assert row.measured == pytest.approx(OUTSIDE_CORNER, rel=0.03)
    assert row.limit == pytest.approx(0.85, rel=0.02)
    assert row.geometry.distance(Point(200, 100)) < 0.01
    assert row.geometry.length < 6
    assert "animal's side between stations" in row.message
    assert row.station_m == pytest.approx(sites.ring(notched).project(Point(200, 100)), abs=0.5)


def test_an_inner_loop_is_measured_from_outside_against_a_lone_wire() -> None:
    outer = sites.loop_run(Point(150, 100).buffer(90, quad_segs=64))
    inner = sites.loop_run(Point(150, 100).buffer(3, quad_segs=16), "K1", part="inner_loop", current=-1.0)
    (row,) = [row for row in _found(sites.loop_of(outer, inner)) if row.feature == "K1"]
    assert row.severity == "caution"
    assert row.limit == pytest.approx(0.85)
    assert "all along inner loop K1" in row.message


def test_what_faces_another_run_is_left_to_its_own_rule() -> None:
    notched = box(0, 0, 300, 200).difference(box(100, 198.5, 200, 200).union(box(149, 100, 150.5, 200)))
    draft = sites.draft(FAR, sites.loop_of(sites.loop_run(notched)), settings=FLAT)
    facing = sites.found("facing-runs", draft)
    assert facing
    slot = LineString([(149.75, 104), (149.75, 194)])
    assert any(row.geometry.distance(slot) < 1 for row in facing)
    assert all(row.geometry.distance(slot) > 1 for row in sites.found("corner-signal", draft))


@pytest.mark.parametrize("reach_m", [1.0, 2.0, 3.66])
def test_a_usual_yard_gives_two_notes(reach_m: float) -> None:
    rows = sites.found("corner-signal", sites.draft(settings=Settings(reach_m=reach_m)))
    assert [row.severity for row in rows] == ["note", "note"]
    assert all("at 4 places" in row.message for row in rows)


def test_the_sample_is_not_flooded() -> None:
    plan = sample_plan()
    rows = [row for row in plan.conflicts if row.rule == "corner-signal"]
    assert 0 < len(rows) <= 2 + 3 * len(plan.loop.signal_runs)
    assert {row.feature for row in rows} == {run.loop_id for run in plan.loop.signal_runs}
    assert not [row for row in rows if row.severity == "must_fix"]
