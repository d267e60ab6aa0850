"""Tiles of ground: what is dropped is proven to lie on one side, and on the rest the field is that of all wires."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.field import tiles as tiles_module
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import inverse_field, normalised_field
from parcelfence.field.tile_field import CELLS, inverse_at, size_at, tile_at
from parcelfence.field.tiles import Tiles


def wires(seed: int, *, size_m: float = 25.0) -> Chain:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, 9))
    outer = np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(0.2, 1.0, (9, 1)) * size_m
    return Chain.of([CurrentLoop(outer), CurrentLoop(rng.uniform(-4.0, 4.0, (4, 2)), current=-1.0)])


def rounded(side_m: float) -> Chain:
    """Draw a square of many short stretches: twelve along each rounded corner, two metres each along its sides."""
    turn = np.linspace(0.0, math.pi / 2.0, 13)
    arc = np.column_stack([np.cos(turn), np.sin(turn)]) * 3.0
    straight = np.column_stack([np.full(int(side_m // 2), side_m / 2.0), np.arange(0.0, side_m // 2 * 2, 2.0)])
    straight[:, 1] -= side_m / 2.0 - 3.0
    straight = straight[straight[:, 1] < side_m / 2.0 - 3.0]
    corner = np.vstack([straight, arc + side_m / 2.0 - 3.0])
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    return Chain.of([CurrentLoop(np.vstack([corner @ np.linalg.matrix_power(quarter, power) for power in range(4)]))])


def places_on(tiles: Tiles, *, seed: int, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Random places on random tiles, relative to the origin."""
    rng = np.random.default_rng(seed)
    centres, half_m = tiles.parts[1], tiles.parts[6]
    chosen = rng.integers(0, len(centres), count)
    return chosen, centres[chosen] + rng.uniform(-half_m, half_m, (count, 2))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("levels", [[1.0], [1.0, 1.6]])
def test_dropped_ground_lies_on_one_side_of_every_level(seed: int, levels: list[float]) -> None:
    chain, receiver = wires(seed), Receiver(2.0, 0.3 * (seed % 2))
    tiles = Tiles.of(chain, receiver=receiver, levels=levels)
    rng = np.random.default_rng(seed)
    grid, side_m = tiles.parts[0], 2.0 * tiles.parts[6]
    dropped = np.argwhere(grid < 0)
    assert len(dropped)
    for row, column in dropped[rng.permutation(len(dropped))[:60]]:
        inside = tiles.origin + (np.array([column, row]) + rng.uniform(0.0, 1.0, (200, 2))) * side_m
        field = normalised_field(inside, chain, receiver=receiver)
        for level in levels:
            assert (field >= level).all() or (field < level).all()


@pytest.mark.parametrize("seed", range(4))
def test_ground_around_all_tiles_cannot_react(seed: int) -> None:
    chain, receiver = wires(seed), Receiver(2.0, 0.3)
    tiles = Tiles.of(chain, receiver=receiver, levels=[1.0])
    high = tiles.origin + np.array(tiles.parts[0].shape[::-1]) * 2.0 * tiles.parts[6]
    around = np.random.default_rng(seed).uniform(tiles.origin - 20.0, high + 20.0, (20_000, 2))
    outside = around[((around < tiles.origin) | (around > high)).any(axis=1)]
    assert (normalised_field(outside, chain, receiver=receiver) < 1.0).all()


@given(seed=st.integers(0, 10_000), size_m=st.sampled_from([8.0, 40.0, 300.0]), height_m=st.sampled_from([0.0, 0.3]))
def test_field_on_tiles_is_that_of_all_wires(seed: int, size_m: float, height_m: float) -> None:
    chain, receiver = wires(seed, size_m=size_m), Receiver(2.0, height_m)
    tiles = Tiles.of(chain, receiver=receiver, levels=[1.0])
    chosen, places = places_on(tiles, seed=seed, count=50)
    expected = normalised_field(places + tiles.origin, chain, receiver=receiver)
    inverse, gradient = inverse_field(places + tiles.origin, chain, receiver=receiver)
    for number, (x, y) in enumerate(places):
        assert tile_at(tiles.parts, x, y) == chosen[number]
        assert size_at(tiles.parts, chosen[number], x, y) == pytest.approx(expected[number], rel=1e-6, abs=1e-6)
        assert size_at(tiles.parts, -1, x, y) == pytest.approx(expected[number], rel=1e-9)
        found = inverse_at(tiles.parts, chosen[number], x, y)
        assert found[0] == pytest.approx(inverse[number], rel=1e-5)
        assert found[1:] == pytest.approx(gradient[number], rel=1e-4, abs=1e-4 * np.hypot(*gradient[number]))


@pytest.mark.parametrize("side_m", [60.0, 400.0])
def test_far_stretches_err_less_than_is_stated(side_m: float) -> None:
    """59 (a / 2 r)^8 |I| dl / (2 r^2) a stretch with r >= 2.58 a; here the whole field shows a ten-thousandth of it."""
    chain, receiver = rounded(side_m), Receiver(2.0, 0.3)
    tiles = Tiles.of(chain, receiver=receiver, levels=[1.0, receiver.core_level])
    chosen, places = places_on(tiles, seed=1, count=2000)
    expected = normalised_field(places + tiles.origin, chain, receiver=receiver)
    found = np.array([size_at(tiles.parts, t, *place) for t, place in zip(chosen, places, strict=True)])
    assert np.diff(tiles.parts[3]).mean() < len(chain.currents) / 2  # most of the wire is far
    assert np.abs(found - expected).max() < 1e-6


def test_tiles_that_touch_agree_about_their_common_corners() -> None:
    chain, receiver = wires(3), Receiver(2.0, 0.3)
    tiles = Tiles.of(chain, receiver=receiver, levels=[1.0])
    field = tiles.lattice
    centres, half_m = tiles.parts[1], tiles.parts[6]
    steps = np.arange(CELLS + 1)
    columns = np.rint((centres[:, 0] / half_m - 1.0) / 2.0).astype(int)[:, None, None] * CELLS + steps
    rows = np.rint((centres[:, 1] / half_m - 1.0) / 2.0).astype(int)[:, None, None] * CELLS + steps[:, None]
    values: dict[tuple[int, int], float] = {}
    for column, row, value in zip(*(part.ravel() for part in np.broadcast_arrays(columns, rows, field)), strict=True):
        assert values.setdefault((column, row), value) == value
    nodes = tiles.origin + np.array(list(values)) * tiles.step_m
    expected = normalised_field(nodes, chain, receiver=receiver)
    assert np.allclose(list(values.values()), expected, rtol=1e-6)


def test_effort_follows_the_wire_not_the_ground() -> None:
    """A property ten times as wide costs ten times as many tiles, not a hundred times, and no more wire on each."""
    counts, near = [], []
    for side_m in (100.0, 1000.0):
        tiles = Tiles.of(rounded(side_m), receiver=Receiver(2.0), levels=[1.0])
        counts.append(len(tiles.parts[1]))
        near.append(np.diff(tiles.parts[3]).mean())
    assert 7.0 < counts[1] / counts[0] < 12.0
    assert near[1] < 1.2 * near[0]


def test_half_a_tile_has_the_polynomial_of_the_whole() -> None:
    """The halves of a tile give back its own polynomial."""
    x = np.linspace(-1.0, 1.0, 7)
    coefficients = np.random.default_rng(0).normal(size=8)
    for half, side in zip(tiles_module._HALVES, (-1.0, 1.0), strict=True):  # noqa: SLF001
        whole = np.polynomial.chebyshev.chebval((x + side) / 2.0, coefficients)
        assert np.allclose(np.polynomial.chebyshev.chebval(x, half @ coefficients), whole)
