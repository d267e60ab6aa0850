"""The field kernel against magpylib, a general-purpose library for magnetic fields (polyline currents)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.field.current import CurrentLoop
from parcelfence.field.flux import flux_density

magpylib = pytest.importorskip("magpylib", reason="magpylib is not installed: pip install 'parcelfence[test]'")

MU_0_OVER_2_PI = 2e-7
POLYGONS, POINTS = 50, 10_000


def polygon(seed: int) -> CurrentLoop:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, rng.integers(3, 16)))
    reach = rng.uniform(2.0, 60.0, (len(turn), 1))
    return CurrentLoop(np.column_stack([np.cos(turn), np.sin(turn)]) * reach, current=rng.choice([-1.0, 1.0]))


@pytest.mark.parametrize("seed", range(POLYGONS))
def test_random_points_of_a_random_polygon(seed: int) -> None:
    loop = polygon(seed)
    rng = np.random.default_rng(1000 + seed)
    points = np.column_stack([rng.uniform(-70.0, 70.0, (POINTS, 2)), rng.uniform(0.05, 2.0, POINTS)])
    line = magpylib.current.Polyline(
        current=loop.current, vertices=np.column_stack([loop.closed_coordinates, np.zeros(len(loop.coordinates) + 1)])
    )
    expected = line.getB(points) / MU_0_OVER_2_PI
    found = flux_density(points, [loop])
    size = np.linalg.norm(expected, axis=1)
    assert (np.linalg.norm(found - expected, axis=1) / size).max() < 1e-9


def test_several_loops_add_up() -> None:
    loops = [polygon(seed) for seed in (3, 4, 5)]
    points = np.random.default_rng(0).uniform(-40.0, 40.0, (500, 3))
    lines = [
        magpylib.current.Polyline(
            current=loop.current,
            vertices=np.column_stack([loop.closed_coordinates, np.zeros(len(loop.coordinates) + 1)]),
        )
        for loop in loops
    ]
    expected = magpylib.getB(lines, points, sumup=True) / MU_0_OVER_2_PI
    assert np.allclose(flux_density(points, loops), expected, rtol=1e-9, atol=1e-12)
