"""Contours: closed, oriented, on the contour, and smooth."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from parcelfence.field import contour
from parcelfence.field.cells import Lattice, sampled_lattice
from parcelfence.field.contour import Rings, contour_rings
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.curve import curved_rings
from parcelfence.field.flux import normalised_field

RECEIVER = Receiver(2.0, 0.3)
SQUARE = Chain.of([CurrentLoop(np.array([(0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0)]))])


@pytest.fixture(scope="module")
def rings() -> Rings:
    levels = [1.0, RECEIVER.core_level]
    lattice = sampled_lattice(SQUARE, receiver=RECEIVER, levels=levels, step_m=0.5)
    return contour_rings(lattice, SQUARE, receiver=RECEIVER, levels=levels, tolerance_m=1e-5)


def test_outline_runs_anticlockwise_and_hole_clockwise(rings: Rings) -> None:
    for level in (1.0, RECEIVER.core_level):
        signs = sorted(shapely.LinearRing(ring).is_ccw for ring in rings.of_level(level))
        assert signs == [False, True]
    assert rings.sizes.sum() == len(rings.points) == len(rings.levels)


def test_vertices_lie_on_the_contour(rings: Rings) -> None:
    field = normalised_field(rings.points, SQUARE, receiver=RECEIVER)
    assert np.allclose(field, rings.levels, rtol=2e-5)


def test_curves_are_followed(rings: Rings) -> None:
    smooth = curved_rings(rings, SQUARE, receiver=RECEIVER, tolerance_m=1e-4)
    assert smooth.sizes.sum() == len(smooth.points) > len(rings.points)
    outline = smooth.of_level(1.0)[0]
    middles = (outline + np.roll(outline, -1, axis=0)) / 2.0
    field = normalised_field(middles, SQUARE, receiver=RECEIVER)
    assert np.abs(field - 1.0).max() < 5e-4
    assert set(map(tuple, rings.points)) <= set(map(tuple, smooth.points))


def test_a_level_that_is_never_reached_has_no_ring(rings: Rings) -> None:
    lattice = sampled_lattice(SQUARE, receiver=RECEIVER, levels=[50.0], step_m=0.5)
    found = contour_rings(lattice, SQUARE, receiver=RECEIVER, levels=[50.0], tolerance_m=1e-5)
    assert found.of_level(50.0) == []
    assert rings.of_level(50.0) == []


@pytest.mark.parametrize(("corners", "loud"), [((2.0, 0.5, 2.0, 0.5), True), ((0.5, 2.0, 0.5, 2.0), False)])
def test_a_saddle_is_settled_by_the_field_at_its_centre(corners: tuple[float, ...], loud: bool) -> None:
    """Where two opposite corners of a cell are inside, they are joined only if the centre is inside too."""
    nodes = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
    lattice = Lattice(nodes=nodes, field=np.array(corners), cells=np.array([[0, 1, 2, 3]]), step_m=1.0)
    around = np.array([(-1.0, -1.0), (2.0, -1.0), (2.0, 2.0), (-1.0, 2.0)]) + (0.0 if loud else 500.0)
    chain = Chain.of([CurrentLoop(around)])
    starts, ends = contour._crossings(lattice, chain, receiver=RECEIVER, level=1.0)  # noqa: SLF001
    # A line that cuts off one corner joins the two edges that meet there.
    corner_of = {frozenset({0, 1}): 0, frozenset({0, 3}): 1, frozenset({3, 6}): 2, frozenset({1, 6}): 3}
    cut_off = {corner_of[frozenset(pair)] for pair in zip(starts.tolist(), ends.tolist(), strict=True)}
    inside = {number for number, value in enumerate(corners) if value >= 1.0}
    assert cut_off == ({0, 1, 2, 3} - inside if loud else inside)
