"""Mutual inductance of straight filaments.

Sources: Grover, Inductance Calculations, 1946, and Rosa, Bulletin of the Bureau of Standards 4, 1908, for equal
parallel filaments, (mu0 l / 2 pi)(arsinh(l / d) - sqrt(1 + d^2 / l^2) + d / l); Campbell's formula for skew ones, as
given by Grover (both from memory).  A second way: Neumann's integral by Gauss's rule.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.circuit.inductance import mutual_inductance_h
from parcelfence.field.current import Chain


@pytest.mark.parametrize(
    ("length_m", "separation_m", "angle_deg", "expected"),
    [
        pytest.param(10.0, 0.5, 0.0, 5.476509298527732, id="B4-M-parallel-10-d0p5"),
        pytest.param(10.0, 1.5, 0.0, 3.469315736683689, id="B4-M-parallel-10-d1p5"),
        pytest.param(10.0, 3.0, 0.0, 2.349731642414952, id="B4-M-parallel-10-d3"),
        pytest.param(20.0, 0.5, 0.0, 13.62748158751348, id="B4-M-parallel-20-d0p5"),
        pytest.param(20.0, 1.0, 0.0, 10.953018597055465, id="B4-M-parallel-20-d1"),
        pytest.param(10.0, 0.5, 90.0, 0.0, id="B4-M-crossing-90-h0p5"),
        pytest.param(10.0, 0.5, 75.0, 0.8449115425047891, id="B4-M-crossing-75-h0p5"),
        pytest.param(10.0, 0.5, 60.0, 1.6939664621172636, id="B4-M-crossing-60-h0p5"),
        pytest.param(10.0, 0.5, 30.0, 3.468581815387905, id="B4-M-crossing-30-h0p5"),
        pytest.param(10.0, 0.5, 15.0, 4.503265617599944, id="B4-M-crossing-15-h0p5"),
        pytest.param(10.0, 1.0, 90.0, 0.0, id="B4-M-crossing-90-h1"),
        pytest.param(10.0, 1.0, 75.0, 0.7722743414028802, id="B4-M-crossing-75-h1"),
        pytest.param(10.0, 1.0, 60.0, 1.5395463890770988, id="B4-M-crossing-60-h1"),
        pytest.param(10.0, 1.0, 45.0, 2.298481413850003, id="B4-M-crossing-45-h1"),
    ],
)
def test_filaments_that_cross_at_their_middles(
    length_m: float, separation_m: float, angle_deg: float, expected: float
) -> None:
    half = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))]) * length_m / 2.0
    wire = Chain.of_lines([[(-length_m / 2.0, 0.0), (length_m / 2.0, 0.0)]], currents=[1.0])
    found = 1e6 * mutual_inductance_h(wire, np.array([-half, half]), depth_m=separation_m)
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_any_two_filaments_by_quadrature(seed: int) -> None:
    rng = np.random.default_rng(seed)
    first, second = rng.uniform(-10.0, 10.0, (2, 2)), rng.uniform(-10.0, 10.0, (2, 2))
    depth_m = rng.uniform(1.0, 3.0)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    share = (nodes + 1.0) / 2.0
    one = first[0] + share[:, None] * (first[1] - first[0])
    other = second[0] + share[:, None] * (second[1] - second[0])
    distance = np.sqrt(((one[:, None] - other) ** 2).sum(axis=-1) + depth_m**2)
    integral = (weights[:, None] * weights / distance).sum() / 4.0
    expected = 1e-7 * float((first[1] - first[0]) @ (second[1] - second[0])) * integral
    found = mutual_inductance_h(Chain.of_lines([first], currents=[1.0]), second, depth_m=depth_m)
    assert found == pytest.approx(expected, rel=1e-7)
