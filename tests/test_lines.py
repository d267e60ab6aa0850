"""Plane lines, by closed forms and invariants."""

from __future__ import annotations

import doctest
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, MultiPoint, MultiPolygon, Point, Polygon, box

from parcelfence import lines
from parcelfence.lines import chainage, circle_through, distinct, gather, normal_at, started_at, stretch, turn_angles

_SQUARE = LineString([(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)])


def test_the_examples_hold() -> None:
    assert doctest.testmod(lines).failed == 0


def test_repeated_vertices_are_dropped() -> None:
    xy = np.array([[0.0, 0.0], [0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 0.0]])
    assert distinct(xy).tolist() == [[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]


def test_chainage_ends_with_the_length() -> None:
    assert chainage(np.array(_SQUARE.coords))[-1] == _SQUARE.length


def test_turns_of_a_closed_line_add_up_to_one_round() -> None:
    steps = np.diff(np.array(_SQUARE.coords), axis=0)
    assert turn_angles(np.roll(steps, 1, axis=0), steps).sum() == pytest.approx(2 * math.pi)


@given(
    st.floats(0.1, 1e3),
    st.floats(-1e3, 1e3),
    st.floats(-1e3, 1e3),
    st.floats(0, 6),
    st.floats(0.1, 2),
    st.floats(0.1, 2),
)
def test_the_circle_through_three_points_of_a_circle(
    radius_m: float, x: float, y: float, start: float, first: float, second: float
) -> None:
    angles = np.array([start, start + first, start + first + second])
    points = np.array([x, y]) + radius_m * np.column_stack([np.cos(angles), np.sin(angles)])
    centre, found_m = circle_through(points)
    assert found_m == pytest.approx(radius_m, rel=1e-6)
    assert np.allclose(centre, [x, y], atol=1e-6 * max(1.0, radius_m))


def test_three_points_in_line_lie_on_no_circle() -> None:
    assert math.isinf(circle_through(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]))[1])


def test_the_normal_points_to_the_left() -> None:
    place, left = normal_at(_SQUARE, 5.0, half_m=1.0)
    assert place.tolist() == [5.0, 0.0]
    assert left.tolist() == [0.0, 1.0]


def test_a_closed_line_begins_where_it_is_told_and_keeps_its_length() -> None:
    turned = started_at(_SQUARE, Point(10, 4))
    assert turned.coords[0] == turned.coords[-1] == (10.0, 4.0)
    assert turned.length == _SQUARE.length
    assert started_at(_SQUARE, Point(0, 0)) is _SQUARE


def test_a_stretch_may_pass_the_start() -> None:
    assert stretch(_SQUARE, start_m=35.0, end_m=5.0).length == 10.0
    assert stretch(_SQUARE, start_m=5.0, end_m=35.0).length == 30.0


def test_geometries_are_gathered_in_the_simplest_type() -> None:
    line, polygon = LineString([(0, 0), (1, 1)]), box(0, 0, 1, 1)
    assert isinstance(gather([Point(0, 0), Point(1, 1)]), MultiPoint)
    assert isinstance(gather([line, MultiLineString([line])]), MultiLineString)
    assert isinstance(gather([polygon, polygon]), MultiPolygon)
    assert isinstance(gather([polygon]), Polygon)
    assert gather([polygon, line]).geom_type == "GeometryCollection"
