"""Field of a long straight wire, total, vertical and horizontal, at the height of the receiver.

Source: the Biot-Savart law for an infinite wire (Griffiths, Introduction to Electrodynamics, chapter 5; Jackson,
Classical Electrodynamics, chapter 5): f = w / r, and from it sqrt(w^2 - h^2) for the total field,
(w +- sqrt(w^2 - 4 h^2)) / 2 for the vertical, sqrt(w h - h^2) for the horizontal.  Here w is the slant distance.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from parcelfence.field.current import Chain, Receiver
from parcelfence.field.flux import flux_density, normalised_field

LONG_M = 1e6
WIRE = Chain.of_lines([[(0.0, -LONG_M), (0.0, LONG_M)]], currents=[1.0])


def receiver(w_m: float, height_m: float) -> Receiver:
    return Receiver(reach_m=math.sqrt(w_m**2 - height_m**2), height_m=height_m)


def vertical(distance_m: float, of: Receiver) -> float:
    return float(normalised_field([[distance_m, 0.0]], WIRE, receiver=of, component="vertical")[0])


@pytest.mark.parametrize(
    ("w_m", "distance_m", "height_m", "expected"),
    [
        pytest.param(1.0, 0.5, 0.0, 2.0, id="A1-straight-f-w1-r0p5"),
        pytest.param(1.0, 2.5, 0.0, 0.4, id="A1-straight-f-w1-r2p5"),
        pytest.param(2.0, 0.5, 0.0, 4.0, id="A1-straight-f-w2-r0p5"),
        pytest.param(2.0, 2.5, 0.0, 0.8, id="A1-straight-f-w2-r2p5"),
        pytest.param(3.66, 0.25, 0.0, 14.64, id="A1-straight-f-w3p66-r0p25"),
        pytest.param(3.66, 0.5, 0.0, 7.32, id="A1-straight-f-w3p66-r0p5"),
        pytest.param(3.66, 2.5, 0.0, 1.464, id="A1-straight-f-w3p66-r2p5"),
        pytest.param(1.5, 0.5, 0.0, 3.0, id="A1-straight-f-w1p5-r0p5"),
    ],
)
def test_field(w_m: float, distance_m: float, height_m: float, expected: float) -> None:
    found = normalised_field([[distance_m, 0.0]], WIRE, receiver=receiver(w_m, height_m))[0]
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("w_m", "height_m", "expected"),
    [
        pytest.param(1.0, 0.3, 0.9539392014169457, id="A5-height-total-w1-h0p3"),
        pytest.param(1.0, 0.6, 0.8, id="A5-height-total-w1-h0p6"),
        pytest.param(2.0, 0.0, 2.0, id="A5-height-total-w2-h0"),
        pytest.param(2.0, 0.6, 1.9078784028338913, id="A5-height-total-w2-h0p6"),
        pytest.param(3.66, 0.0, 3.66, id="A5-height-total-w3p66-h0"),
        pytest.param(3.66, 0.6, 3.610484731999292, id="A5-height-total-w3p66-h0p6"),
    ],
)
def test_reach_of_the_total_field(w_m: float, height_m: float, expected: float) -> None:
    of = receiver(w_m, height_m)
    found = brentq(lambda x: normalised_field([[x, 0.0]], WIRE, receiver=of)[0] - 1.0, 1e-9, 10.0, xtol=1e-13)
    assert found == pytest.approx(expected, rel=1e-8)
    assert of.reach_m == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("w_m", "height_m", "expected"),
    [
        pytest.param(1.0, 0.0, 1.0, id="A5-height-vert-outer-w1-h0"),
        pytest.param(1.0, 0.3, 0.9, id="A5-height-vert-outer-w1-h0p3"),
        pytest.param(2.0, 0.3, 1.9539392014169457, id="A5-height-vert-outer-w2-h0p3"),
        pytest.param(2.0, 0.6, 1.8, id="A5-height-vert-outer-w2-h0p6"),
        pytest.param(3.66, 0.6, 3.5588435441068693, id="A5-height-vert-outer-w3p66-h0p6"),
    ],
)
def test_outer_reach_of_the_vertical_field(w_m: float, height_m: float, expected: float) -> None:
    of = receiver(w_m, height_m)
    found = brentq(lambda x: vertical(x, of) - 1.0, max(height_m, 1e-3), 10.0, xtol=1e-13)
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("w_m", "height_m", "expected"),
    [
        pytest.param(2.0, 0.3, 0.04606079858305435, id="A5-height-vert-null-w2-h0p3"),
        pytest.param(3.66, 0.3, 0.024757634000353957, id="A5-height-vert-null-w3p66-h0p3"),
        pytest.param(3.66, 0.6, 0.10115645589313085, id="A5-height-vert-null-w3p66-h0p6"),
    ],
)
def test_silent_strip_over_the_wire(w_m: float, height_m: float, expected: float) -> None:
    of = receiver(w_m, height_m)
    found = brentq(lambda x: vertical(x, of) - 1.0, 0.0, height_m, xtol=1e-14)
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("w_m", "height_m", "expected"),
    [
        pytest.param(1.0, 0.6, False, id="A5-height-vert-none-w1-h0p6"),
    ],
)
def test_vertical_field_may_never_reach_the_threshold(w_m: float, height_m: float, *, expected: bool) -> None:
    distances = np.linspace(0.0, 5.0, 5001)
    points = np.column_stack([distances, np.zeros_like(distances)])
    found = normalised_field(points, WIRE, receiver=receiver(w_m, height_m), component="vertical")
    assert bool((found >= 1.0).any()) is expected


@pytest.mark.parametrize(
    ("w_m", "height_m", "expected"),
    [
        pytest.param(1.0, 0.6, 0.4898979485566356, id="A5-height-horiz-w1-h0p6"),
        pytest.param(2.0, 0.3, 0.714142842854285, id="A5-height-horiz-w2-h0p3"),
        pytest.param(2.0, 0.6, 0.916515138991168, id="A5-height-horiz-w2-h0p6"),
        pytest.param(3.66, 0.6, 1.354990774876346, id="A5-height-horiz-w3p66-h0p6"),
    ],
)
def test_reach_of_the_horizontal_field(w_m: float, height_m: float, expected: float) -> None:
    def horizontal(x: float) -> float:
        density = flux_density([[x, 0.0, height_m]], WIRE)[0]
        return float(math.hypot(density[0], density[1]) * w_m)

    found = brentq(lambda x: horizontal(x) - 1.0, 0.0, 10.0, xtol=1e-13)
    assert found == pytest.approx(expected, rel=1e-8)
