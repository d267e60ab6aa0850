"""Courses: tangents and curves recovered from chords, bearings, closure and area of published traverses."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, affinity, box

from parcelfence.takeoff.courses import bearing_label, courses, offset_m, traverse_closure
from tests.rules import sites


def _arc(radius_m: float, *, turn_deg: float, chords: int) -> np.ndarray:
    """Arc that leaves the origin eastwards and turns left (or right, for a negative turn)."""
    swept = np.radians(np.linspace(0, turn_deg, chords + 1))
    side = np.sign(turn_deg)
    return np.column_stack([radius_m * np.sin(np.abs(swept)), side * radius_m * (1 - np.cos(swept))])


def test_a_tangent_a_curve_and_a_tangent() -> None:
    arc = _arc(5.0, turn_deg=90.0, chords=32)
    line = LineString([(-20, 0), *arc, (5, 30)])
    first, curve, last = courses(line)
    assert (first.is_curve, curve.is_curve, last.is_curve) == (False, True, False)
    assert (first.length_m, last.length_m) == pytest.approx((20.0, 25.0))
    assert curve.radius_m == pytest.approx(5.0)
    assert curve.centre == pytest.approx((0.0, 5.0))
    assert curve.turn_deg == pytest.approx(90.0)
    assert curve.length_m == pytest.approx(5 * math.pi / 2)
    assert curve.chord_m == pytest.approx(5 * math.sqrt(2))
    assert (first.azimuth_deg, curve.azimuth_deg, last.azimuth_deg) == pytest.approx((90.0, 45.0, 0.0))


@given(radius_m=st.floats(0.8, 8.0), turn_deg=st.floats(30.0, 170.0), left=st.booleans(), rotation=st.floats(0, 360))
def test_curves_are_found_whichever_way_they_lie(radius_m: float, turn_deg: float, left: bool, rotation: float) -> None:
    arc = _arc(radius_m, turn_deg=turn_deg if left else -turn_deg, chords=40)
    heading = math.radians(turn_deg if left else -turn_deg)
    beyond = arc[-1] + 15 * np.array([math.cos(heading), math.sin(heading)])
    line = affinity.rotate(LineString([(-15, 0), *arc, beyond]), rotation, origin=(3, 4))
    (curve,) = [course for course in courses(line) if course.is_curve]
    assert curve.radius_m == pytest.approx(radius_m, rel=0.02)
    assert abs(curve.turn_deg) == pytest.approx(turn_deg, rel=0.06)
    assert (curve.turn_deg > 0) == left


@given(radius_m=st.floats(0.8, 4.0), quad_segs=st.integers(16, 40))
def test_courses_follow_each_other_and_stay_on_the_line(radius_m: float, quad_segs: int) -> None:
    outline = box(0, 0, 30, 20).difference(box(10, 12, 18, 20)).buffer(-radius_m).buffer(radius_m, quad_segs=quad_segs)
    line = sites.ring(outline)
    found = courses(line)
    assert found[0].start_m == 0.0
    assert found[-1].end_m == pytest.approx(line.length)
    for before, after in pairwise(found):
        assert before.end == after.start
        assert before.end_m == after.start_m
    for course in found:
        assert line.distance(Point(course.start)) < 1e-9
        if not course.is_curve:
            assert course.length_m == pytest.approx(course.chord_m, abs=1e-3)
    # an arc is a little longer than the chords that it was drawn with
    assert 0 <= sum(course.length_m for course in found) - line.length < 0.01 * line.length


def test_curves_that_follow_each_other_are_told_apart() -> None:
    first = _arc(3.0, turn_deg=60.0, chords=20)
    second = affinity.rotate(LineString(_arc(3.0, turn_deg=-60.0, chords=20)), 60, origin=(0, 0))
    line = LineString([
        (-5, 0),
        *first,
        *(np.array(second.coords)[1:] + first[-1]),
        first[-1] + np.array(second.coords)[-1] + (5, 0),
    ])
    kinds = [(course.is_curve, round(course.turn_deg)) for course in courses(line)]
    assert kinds == [(False, 0), (True, 60), (True, -60), (False, 0)]


def test_a_line_that_goes_back_on_its_arc_is_two_curves() -> None:
    arc = _arc(3.0, turn_deg=60.0, chords=20)
    turns = [round(course.turn_deg) for course in courses(LineString([*arc, *arc[-2::-1]]))]
    assert turns == [60, -60]


def test_a_polygon_of_long_sides_has_no_curves() -> None:
    line = sites.ring(Point(0, 0).buffer(30, quad_segs=4))
    assert not any(course.is_curve for course in courses(line))


@pytest.mark.parametrize(
    ("azimuth_deg", "label"),
    [
        (0.0, "N 00-00-00 E"),
        (90.0, "N 90-00-00 E"),
        (180.0, "S 00-00-00 E"),
        (270.0, "N 90-00-00 W"),
        (45.9225, "N 45-55-21 E"),
        (359.99999, "N 00-00-00 E"),
        (125.017222222, "S 54-58-58 E"),
        (340.229166667, "N 19-46-15 W"),
    ],
)
def test_bearings_are_written_by_quadrant(azimuth_deg: float, label: str) -> None:
    assert bearing_label(azimuth_deg) == label


@given(azimuth_deg=st.floats(0, 360, exclude_max=True))
def test_a_bearing_leads_back_to_its_azimuth(azimuth_deg: float) -> None:
    start, angle, end = bearing_label(azimuth_deg).split()
    degrees, minutes, seconds = (int(part) for part in angle.split("-"))
    acute = degrees + minutes / 60 + seconds / 3600
    north, east = (
        math.cos(math.radians(acute)) * (1 if start == "N" else -1),
        math.sin(math.radians(acute)) * (1 if end == "E" else -1),
    )
    back = math.degrees(math.atan2(east, north)) % 360
    assert abs((back - azimuth_deg + 180) % 360 - 180) < 0.6 / 3600


def test_offsets_are_measured_square_to_the_lot_line() -> None:
    assert offset_m(Point(10, 4), box(0, 0, 60, 40).exterior) == 4.0


def test_a_closed_figure_closes() -> None:
    closure = traverse_closure([(0, 0), (30, 0), (30, 40), (0, 40), (0, 0)])
    assert (closure.perimeter, closure.misclosure, closure.area) == (140.0, 0.0, 1200.0)
    assert closure.precision == math.inf
    assert traverse_closure([(0, 0), (30, 0), (30, 40), (0.03, 0.04)]).precision == pytest.approx(2400, rel=1e-3)
