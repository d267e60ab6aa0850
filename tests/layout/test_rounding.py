from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box

from parcelfence.layout.rounding import closed, grown, inset, opened, parts, ringed, turnable
from tests.layout.sites import sharpest_radius_m

CORNERS = st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=5, max_size=12, unique=True)


@st.composite
def star_shaped(draw: st.DrawFn) -> Polygon:
    """Polygons with corners in and out, but without crossings."""
    radii = draw(st.lists(st.floats(15, 60), min_size=5, max_size=14))
    turns = [2 * math.pi * n / len(radii) for n in range(len(radii))]
    return Polygon([(r * math.cos(t), r * math.sin(t)) for r, t in zip(radii, turns, strict=True)])


def test_a_square_is_rounded_in_closed_form() -> None:
    rounded = opened(box(0, 0, 20, 20), 1.0)
    assert rounded.area == pytest.approx(400 - (4 - math.pi), abs=0.01)
    assert rounded.length == pytest.approx(80 - 8 + 2 * math.pi, abs=0.02)


@given(shape=star_shaped(), distance=st.floats(0.5, 5))
def test_an_inset_area_keeps_its_distance(shape: Polygon, distance: float) -> None:
    for part in parts(inset(shape, distance)):
        assert part.exterior.distance(shape.exterior) >= distance


@given(shape=star_shaped(), distance=st.floats(0.5, 5))
def test_an_inset_area_is_nearly_the_largest(shape: Polygon, distance: float) -> None:
    missing = shape.buffer(-(distance + 0.03), quad_segs=64).difference(inset(shape, distance))
    assert missing.area < 1e-6


@given(shape=star_shaped(), distance=st.floats(0.2, 3))
def test_a_grown_area_keeps_its_distance(shape: Polygon, distance: float) -> None:
    assert grown(shape, distance).exterior.distance(shape) >= distance * 0.99


@given(shape=star_shaped(), radius=st.floats(0.5, 2.5))
def test_no_curve_is_tighter_than_the_radius_and_no_limit_is_crossed(shape: Polygon, radius: float) -> None:
    rounded = parts(opened(closed(turnable(shape, radius), radius), radius))
    assert rounded
    for part in rounded:
        assert part.difference(shape.buffer(0.011)).area < 1e-9
        ring = LineString(part.exterior)
        if ring.length > 2 * math.pi * radius:
            assert sharpest_radius_m(ring, step_m=radius) > 0.93 * radius


@given(angle=st.floats(0, 90))
def test_a_ring_round_a_rectangle_is_the_smallest_one(angle: float) -> None:
    garden = affinity.rotate(box(0, 0, 8, 5), angle)
    ring = ringed(garden, 0.3, radius_m=1.0)
    assert ring.exterior.distance(garden) >= 0.29
    assert ring.area < garden.buffer(0.6, join_style="mitre").area
    assert sharpest_radius_m(LineString(ring.exterior), step_m=0.5) > 0.93


def test_a_ring_with_clearance_above_the_radius_is_a_plain_offset() -> None:
    assert ringed(Point(0, 0).buffer(3), 2.0, radius_m=1.0).area == pytest.approx(math.pi * 25, rel=0.01)


def test_parts_come_largest_first() -> None:
    areas = [part.area for part in parts(box(0, 0, 1, 1).union(box(5, 5, 9, 9)).union(LineString([(20, 0), (30, 0)])))]
    assert areas == [16, 1]
