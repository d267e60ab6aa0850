"""The search for contours: what is dropped is proven to lie on one side."""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.field import cells
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field


def wires(seed: int) -> Chain:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, 9))
    outer = np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(6.0, 25.0, (9, 1))
    return Chain.of([CurrentLoop(outer), CurrentLoop(rng.uniform(-4.0, 4.0, (4, 2)), current=-1.0)])


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("side_m", [0.5, 2.0, 8.0])
def test_a_dropped_block_lies_on_one_side_of_every_level(seed: int, side_m: float) -> None:
    chain, receiver = wires(seed), Receiver(2.0, 0.3 * (seed % 2))
    rng = np.random.default_rng(seed)
    centres = rng.uniform(-40.0, 40.0, (400, 2))
    levels = [1.0, receiver.core_level]
    crossed = cells._may_cross(centres, chain, receiver=receiver, levels=levels, side_m=side_m)  # noqa: SLF001
    assert not crossed.all()
    inside = rng.uniform(-0.5, 0.5, (200, 2)) * side_m
    for centre in centres[~crossed]:
        field = normalised_field(centre + inside, chain, receiver=receiver)
        for level in levels:
            assert (field >= level).all() or (field < level).all()


@pytest.mark.parametrize("seed", range(4))
def test_ground_outside_the_first_blocks_cannot_react(seed: int) -> None:
    chain, receiver = wires(seed), Receiver(2.0, 0.3)
    lattice = cells.sampled_lattice(chain, receiver=receiver, levels=[1.0], step_m=0.5)
    margin_m = math.sqrt(receiver.slant_m * chain.strength_m / 2.0)
    low, high = chain.vertices.min(axis=0) - margin_m, chain.vertices.max(axis=0) + margin_m
    around = np.random.default_rng(seed).uniform(low - 20.0, high + 20.0, (20_000, 2))
    outside = around[((around < low) | (around > high)).any(axis=1)]
    assert (normalised_field(outside, chain, receiver=receiver) < 1.0).all()
    assert (lattice.nodes >= low - 3.0).all()


def test_cells_are_squares_of_their_own_nodes() -> None:
    lattice = cells.sampled_lattice(wires(1), receiver=Receiver(2.0, 0.3), levels=[1.0], step_m=0.25)
    corners = lattice.nodes[lattice.cells]
    assert np.allclose(corners[:, 1] - corners[:, 0], [0.25, 0.0])
    assert np.allclose(corners[:, 2] - corners[:, 0], [0.25, 0.25])
    assert np.allclose(corners[:, 3] - corners[:, 0], [0.0, 0.25])
    assert len(np.unique(lattice.nodes, axis=0)) == len(lattice.nodes)


def test_effort_follows_the_wire_not_the_ground() -> None:
    """A property ten times as wide costs ten times as many nodes, not a hundred times."""
    counts = []
    for side_m in (100.0, 1000.0):
        square = CurrentLoop(np.array([(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)]))
        chain = Chain.of([square])
        counts.append(len(cells.sampled_lattice(chain, receiver=Receiver(2.0), levels=[1.0], step_m=0.5).nodes))
    assert 8.0 < counts[1] / counts[0] < 12.0
