"""Self-inductance of wires of finite radius against closed forms.

Sources: Rosa, "The self and mutual inductances of linear conductors", Bulletin of the Bureau of Standards 4, 1908;
Grover, Inductance Calculations, 1946; Terman, Radio Engineers' Handbook (formulas from memory).  The thin-wire forms
leave out an end term (mu0 / pi) 2 radius, under 1e-5 of the value for these sizes, hence 5e-5.  The last three shapes
have no closed form: Neumann's double integral, computed independently, good to 2e-4.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.circuit.conductor import MU_0, gauge_diameter_m
from parcelfence.circuit.inductance import external_inductance_h
from parcelfence.field.current import Chain, CurrentLoop

INSIDE_H_PER_M = MU_0 / (8.0 * math.pi)


def polygon(vertices: list[tuple[float, float]], gauge_awg: int, *, inside: bool = True) -> float:
    loop = CurrentLoop(np.array(vertices))
    external = external_inductance_h([loop], radius_m=gauge_diameter_m(gauge_awg) / 2.0)
    return 1e6 * (external + inside * INSIDE_H_PER_M * loop.length_m)


def circle(radius_m: float, gauge_awg: int, *, inside: bool) -> float:
    """Circle by two regular polygons and Richardson's rule: chords fall short by a term in 1 / n^2."""
    found = []
    for chords in (500, 1000):
        turn = np.arange(chords) * 2.0 * np.pi / chords
        vertices = radius_m * np.column_stack([np.cos(turn), np.sin(turn)])
        found.append(polygon([tuple(vertex) for vertex in vertices], gauge_awg, inside=inside))
    return found[1] + (found[1] - found[0]) / 3.0


def rectangle(width_m: float, length_m: float) -> list[tuple[float, float]]:
    return [(0.0, 0.0), (length_m, 0.0), (length_m, width_m), (0.0, width_m)]


@pytest.mark.parametrize(
    ("radius_m", "gauge_awg", "expected"),
    [
        pytest.param(50.0, 14, 713.4671690325151, id="B3-L-circle-R50-awg14"),
        pytest.param(10.0, 18, 128.29658627179649, id="B3-L-circle-R10-awg18"),
        pytest.param(50.0, 18, 742.6068978012197, id="B3-L-circle-R50-awg18"),
        pytest.param(50.0, 20, 757.1767621855721, id="B3-L-circle-R50-awg20"),
    ],
)
def test_circle(radius_m: float, gauge_awg: int, expected: float) -> None:
    assert circle(radius_m, gauge_awg, inside=True) == pytest.approx(expected, rel=5e-5)


@pytest.mark.parametrize(
    ("radius_m", "gauge_awg", "expected"),
    [
        pytest.param(50.0, 14, 697.7592057645661, id="B3-Lext-circle-R50-awg14"),
        pytest.param(10.0, 18, 125.1549936182067, id="B3-Lext-circle-R10-awg18"),
        pytest.param(50.0, 18, 726.8989345332708, id="B3-Lext-circle-R50-awg18"),
        pytest.param(50.0, 20, 741.4687989176231, id="B3-Lext-circle-R50-awg20"),
    ],
)
def test_circle_without_the_field_inside(radius_m: float, gauge_awg: int, expected: float) -> None:
    assert circle(radius_m, gauge_awg, inside=False) == pytest.approx(expected, rel=5e-5)


@pytest.mark.parametrize(
    ("width_m", "length_m", "gauge_awg", "expected"),
    [
        pytest.param(10.0, 10.0, 14, 71.13832296264098, id="B3-L-square-10-awg14"),
        pytest.param(100.0, 100.0, 14, 895.5900370659334, id="B3-L-square-100-awg14"),
        pytest.param(20.0, 40.0, 14, 237.18192213849434, id="B3-L-rect-20x40-awg14"),
        pytest.param(50.0, 150.0, 14, 874.2631177610062, id="B3-L-rect-50x150-awg14"),
        pytest.param(10.0, 10.0, 18, 74.84850846175814, id="B3-L-square-10-awg18"),
        pytest.param(50.0, 50.0, 18, 438.6200588061547, id="B3-L-square-50-awg18"),
        pytest.param(20.0, 40.0, 18, 248.31247863584582, id="B3-L-rect-20x40-awg18"),
        pytest.param(10.0, 10.0, 20, 76.70360121131672, id="B3-L-square-10-awg20"),
        pytest.param(20.0, 40.0, 20, 253.87775688452157, id="B3-L-rect-20x40-awg20"),
        pytest.param(50.0, 150.0, 20, 929.9159002477636, id="B3-L-rect-50x150-awg20"),
    ],
)
def test_rectangle(width_m: float, length_m: float, gauge_awg: int, expected: float) -> None:
    assert polygon(rectangle(width_m, length_m), gauge_awg) == pytest.approx(expected, rel=5e-5)


@pytest.mark.parametrize(
    ("width_m", "length_m", "gauge_awg", "expected"),
    [
        pytest.param(10.0, 10.0, 14, 69.13832296264098, id="B3-Lext-square-10-awg14"),
        pytest.param(100.0, 100.0, 14, 875.5900370659334, id="B3-Lext-square-100-awg14"),
        pytest.param(20.0, 40.0, 14, 231.18192213849434, id="B3-Lext-rect-20x40-awg14"),
        pytest.param(50.0, 150.0, 14, 854.2631177610062, id="B3-Lext-rect-50x150-awg14"),
        pytest.param(10.0, 10.0, 18, 72.84850846175814, id="B3-Lext-square-10-awg18"),
        pytest.param(50.0, 50.0, 18, 428.6200588061547, id="B3-Lext-square-50-awg18"),
        pytest.param(20.0, 40.0, 18, 242.31247863584582, id="B3-Lext-rect-20x40-awg18"),
        pytest.param(10.0, 10.0, 20, 74.70360121131672, id="B3-Lext-square-10-awg20"),
        pytest.param(20.0, 40.0, 20, 247.87775688452157, id="B3-Lext-rect-20x40-awg20"),
        pytest.param(50.0, 150.0, 20, 909.9159002477636, id="B3-Lext-rect-50x150-awg20"),
    ],
)
def test_rectangle_without_the_field_inside(width_m: float, length_m: float, gauge_awg: int, expected: float) -> None:
    assert polygon(rectangle(width_m, length_m), gauge_awg, inside=False) == pytest.approx(expected, rel=5e-5)


@pytest.mark.parametrize(
    ("length_m", "gauge_awg", "expected"),
    [
        pytest.param(10.0, 14, 18.71890078995314, id="B3-L-straight-10-awg14"),
        pytest.param(10.0, 18, 19.646447164732432, id="B3-L-straight-10-awg18"),
        pytest.param(100.0, 18, 242.51617350720522, id="B3-L-straight-100-awg18"),
        pytest.param(100.0, 20, 247.15390538110168, id="B3-L-straight-100-awg20"),
    ],
)
def test_straight_wire(length_m: float, gauge_awg: int, expected: float) -> None:
    wire = Chain.of_lines([[(0.0, 0.0), (length_m, 0.0)]], currents=[1.0])
    external = external_inductance_h(wire, radius_m=gauge_diameter_m(gauge_awg) / 2.0)
    assert 1e6 * (external + INSIDE_H_PER_M * length_m) == pytest.approx(expected, rel=5e-5)


@pytest.mark.parametrize(
    ("vertices", "gauge_awg", "expected"),
    [
        pytest.param(
            [(0.0, 0.0), (40.0, 0.0), (40.0, 25.0), (18.0, 25.0), (18.0, 45.0), (0.0, 45.0)],
            14,
            339.80992900352686,
            id="B3-L-Lshape-awg14",
        ),
        pytest.param(
            [(0.0, 0.0), (40.0, 0.0), (40.0, 25.0), (18.0, 25.0), (18.0, 45.0), (0.0, 45.0)],
            20,
            363.4618720177819,
            id="B3-L-Lshape-awg20",
        ),
        pytest.param(
            [(0.0, 0.0), (31.5, -2.25), (36.0, 24.75), (4.5, 29.0)], 14, 239.83649533004143, id="B3-L-quad-awg14"
        ),
        pytest.param([(0.0, 0.0), (30.0, 0.0), (12.0, 22.0)], 14, 154.7101400960441, id="B3-L-triangle-awg14"),
    ],
)
def test_polygon(vertices: list[tuple[float, float]], gauge_awg: int, expected: float) -> None:
    assert polygon(vertices, gauge_awg) == pytest.approx(expected, rel=2e-4)
