"""Repairs of single geometries: usable or left out with a reason, never worse than before."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, MultiPolygon, Point, Polygon, box

from parcelfence.inputs.repair import ROLE_DIMENSIONS, repaired
from parcelfence.layers import INPUT_ROLES

AREAS = (2,)
ordinates = st.floats(-100, 100, allow_nan=False).map(lambda value: round(value, 2))
rings = st.lists(st.tuples(ordinates, ordinates), min_size=3, max_size=12)


def test_every_role_says_what_it_can_use() -> None:
    assert set(ROLE_DIMENSIONS) == set(INPUT_ROLES)


@given(rings)
def test_whatever_the_ring_the_result_is_usable_or_has_a_reason(ring: list[tuple[float, float]]) -> None:
    result = repaired(Polygon(ring), dimensions=AREAS)
    if result.geometry is None:
        assert result.fault
        return
    assert result.geometry.is_valid
    assert result.geometry.geom_type in {"Polygon", "MultiPolygon"}
    assert result.geometry.area > 0
    assert MultiPoint(ring).envelope.buffer(1e-9).covers(result.geometry)


@given(rings)
def test_a_repair_is_final(ring: list[tuple[float, float]]) -> None:
    first = repaired(Polygon(ring), dimensions=AREAS).geometry
    if first is not None:
        again = repaired(first, dimensions=AREAS)
        assert not again.notes
        assert again.geometry is not None
        assert again.geometry.equals(first)


def test_a_sound_geometry_is_handed_back_as_it_is() -> None:
    square = box(0, 0, 1, 1)
    result = repaired(square, dimensions=AREAS)
    assert result.geometry is not None
    assert result.geometry.normalize() == square.normalize()
    assert not result.notes


def test_a_bow_tie_keeps_both_lobes() -> None:
    result = repaired(Polygon([(0, 0), (2, 2), (2, 0), (0, 2)]), dimensions=AREAS)
    assert result.geometry is not None
    assert result.geometry.area == pytest.approx(2.0)
    assert "2 parts" in result.notes[0]


def test_a_ring_that_laps_over_itself_loses_no_ground() -> None:
    twice = Polygon([(0, 0), (4, 0), (4, 4), (1, 4), (1, 2), (3, 2), (3, 5), (0, 5)])
    result = repaired(twice, dimensions=AREAS)
    assert result.geometry is not None
    assert result.geometry.covers(Point(2, 1))
    assert result.geometry.covers(Point(3.5, 3))


def test_a_part_written_as_a_hole_becomes_a_part_and_a_true_hole_stays() -> None:
    outline = [(0, 0), (10, 0), (10, 10), (0, 10)]
    hole, part = box(2, 2, 4, 4).exterior.coords, box(20, 0, 25, 5).exterior.coords
    result = repaired(Polygon(outline, [hole, part]), dimensions=AREAS)
    assert isinstance(result.geometry, MultiPolygon)
    assert result.geometry.area == pytest.approx(100 - 4 + 25)


def test_overlapping_parts_are_counted_once() -> None:
    result = repaired(MultiPolygon([box(0, 0, 2, 2), box(1, 0, 3, 2), box(0, 0, 2, 2)]), dimensions=AREAS)
    assert result.geometry is not None
    assert result.geometry.area == pytest.approx(6.0)


def test_heights_measures_and_repeated_vertices_go() -> None:
    result = repaired(LineString([(0, 0, 5), (0, 0, 5), (1, 0, 6)]), dimensions=(1,))
    assert result.geometry is not None
    assert list(result.geometry.coords) == [(0, 0), (1, 0)]
    assert result.notes == ("heights (Z) dropped", "repeated vertices dropped")


def test_a_line_of_no_length_is_a_point_mark_and_no_wire() -> None:
    nothing = LineString([(1, 2), (1, 2)])
    assert repaired(nothing, dimensions=(0, 1, 2)).geometry == Point(1, 2)
    assert "no length" in repaired(nothing, dimensions=(1,)).fault


def test_a_collection_is_cut_down_to_what_the_role_takes() -> None:
    mixed = shapely.GeometryCollection([
        Point(0, 0),
        shapely.GeometryCollection([MultiPolygon([box(0, 0, 1, 1)]), box(2, 0, 3, 1)]),
    ])
    result = repaired(mixed, dimensions=AREAS)
    assert isinstance(result.geometry, MultiPolygon)
    assert result.geometry.area == 2
    assert "only its areas kept" in result.notes[0]


def test_a_loop_drawn_as_an_area_is_its_outline() -> None:
    result = repaired(box(0, 0, 1, 1), dimensions=(1,))
    assert result.geometry is not None
    assert result.geometry.geom_type == "LineString"
    assert result.geometry.length == 4


def test_an_open_line_is_no_area() -> None:
    result = repaired(LineString([(0, 0), (1, 0), (1, 1)]), dimensions=AREAS)
    assert result.geometry is None
    assert result.fault == "it is a line; this role takes areas"


@pytest.mark.parametrize("shape", [None, Polygon(), Point(math.inf, 0)])
def test_what_cannot_be_mended_has_a_reason(shape: shapely.Geometry | None) -> None:
    result = repaired(shape, dimensions=(0, 1, 2))
    assert result.geometry is None
    assert result.fault
