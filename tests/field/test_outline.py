"""Outlines: closed, oriented, on the contour, and smooth."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from parcelfence.field import outline
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import inverse_field, normalised_field
from parcelfence.field.outline import outlines
from parcelfence.field.tiles import Tiles

RECEIVER = Receiver(2.0, 0.3)
SQUARE = Chain.of([CurrentLoop(np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0)]))])


def traced(level: float, *, tolerance_m: float = 1e-4, plain: bool = False) -> list[np.ndarray]:
    tiles = Tiles.of(SQUARE, receiver=RECEIVER, levels=[level])
    return outlines(tiles, level=level, tolerance_m=tolerance_m, plain=plain)


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("level", [1.0, RECEIVER.core_level])
def test_outline_runs_anticlockwise_and_hole_clockwise(level: float, plain: bool) -> None:
    rings = traced(level, plain=plain)
    assert sorted(shapely.LinearRing(ring).is_ccw for ring in rings) == [False, True]


@pytest.mark.parametrize("tolerance_m", [1e-3, 1e-5])
@pytest.mark.parametrize("level", [1.0, RECEIVER.core_level])
def test_no_point_of_a_ring_is_off_the_contour(level: float, tolerance_m: float) -> None:
    for ring in traced(level, tolerance_m=tolerance_m):
        line = shapely.LineString(np.vstack([ring, ring[:1]]))
        points = shapely.get_coordinates(shapely.segmentize(line, 0.03))
        inverse, gradient = inverse_field(points, SQUARE, receiver=RECEIVER)
        assert (np.abs(inverse - 1.0 / level) / np.hypot(*gradient.T)).max() < tolerance_m


def test_finer_needs_more_vertices_and_straight_runs_few() -> None:
    coarse, fine = (sum(map(len, traced(1.0, tolerance_m=tolerance_m))) for tolerance_m in (1e-3, 1e-5))
    assert 5.0 < fine / coarse < 12.0  # at most as the square root of the tolerance
    assert coarse < 800


def test_plain_rings_join_the_places_on_the_lattice() -> None:
    for ring in traced(1.0, plain=True):
        assert np.allclose(normalised_field(ring, SQUARE, receiver=RECEIVER), 1.0, atol=1e-4)
        steps = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
        assert steps.max() <= 0.5 * np.sqrt(2.0) + 1e-9


def test_a_level_that_is_never_reached_has_no_ring() -> None:
    assert traced(50.0) == []


@pytest.mark.parametrize(("corners", "loud"), [((2.0, 0.5, 2.0, 0.5), True), ((0.5, 2.0, 0.5, 2.0), False)])
def test_a_saddle_is_settled_by_the_field_at_its_centre(corners: tuple[float, ...], loud: bool) -> None:
    """Where two opposite corners of a cell are inside, they are joined only if the centre is inside too."""
    around = np.array([(-1.0, -1.0), (2.0, -1.0), (2.0, 2.0), (-1.0, 2.0)]) * (1.0 if loud else 40.0)
    tiles = Tiles.of(Chain.of([CurrentLoop(around)]), receiver=RECEIVER, levels=[1.0])
    chosen = int(np.abs(tiles.parts[1] + tiles.origin - (0.5 if loud else -40.0)).sum(axis=1).argmin())
    lattice = np.zeros((len(tiles.parts[1]), 17, 17))
    lattice[chosen, 4:6, 4:6] = np.array([[corners[0], corners[1]], [corners[3], corners[2]]])
    centre = tiles.parts[1][chosen] + tiles.origin + tiles.step_m * (4.5 - 8.0)
    inside = normalised_field([centre], Chain.of([CurrentLoop(around)]), receiver=RECEIVER)[0] >= 1.0
    following = outline._followed(tiles.parts, lattice, 1.0)  # noqa: SLF001
    cycles, seen = 0, set[int]()
    for start in np.flatnonzero(following >= 0).tolist():
        slot = start
        cycles += start not in seen
        while slot not in seen:
            seen.add(slot)
            slot = int(following[slot])
    assert cycles == (1 if inside else 2)
