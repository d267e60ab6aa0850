"""Circular loops, in their plane and above it.

Source: Simpson, Lane, Immer and Youngquist, "Simple Analytic Expressions for the Magnetic Field of a Circular Current
Loop", NASA, 2001 (report 20010038494), complete elliptic integrals; f = pi w / R at the centre.  Circles are drawn
with 40,000 chords, which lie up to 0.2 micrometres inside a circle of 50 m.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field

CHORDS = 40_000


def circle(radius_m: float) -> Chain:
    turn = np.arange(CHORDS) * 2.0 * np.pi / CHORDS
    return Chain.of([CurrentLoop(radius_m * np.column_stack([np.cos(turn), np.sin(turn)]))])


def receiver(w_m: float, height_m: float) -> Receiver:
    return Receiver(math.sqrt(w_m**2 - height_m**2), height_m)


def reach(radius_m: float, *, w_m: float, side: int, most_m: float) -> float:
    loop, of = circle(radius_m), receiver(w_m, 0.0)

    def excess(distance_m: float) -> float:
        return float(1.0 / normalised_field([[radius_m + side * distance_m, 0.0]], loop, receiver=of)[0] - 1.0)

    return float(brentq(excess, 0.1, most_m, xtol=1e-12))


@pytest.mark.parametrize(
    ("w_m", "radius_m", "expected"),
    [
        pytest.param(1.0, 2.5, 1.2566370614359172, id="A4-circle5-centre-w1"),
        pytest.param(2.0, 2.5, 2.5132741228718345, id="A4-circle5-centre-w2"),
        pytest.param(3.66, 2.5, 4.599291644855457, id="A4-circle5-centre-w3p66"),
        pytest.param(1.0, 5.0, 0.6283185307179586, id="A4-circle10-centre-w1"),
        pytest.param(2.0, 5.0, 1.2566370614359172, id="A4-circle10-centre-w2"),
        pytest.param(3.66, 5.0, 2.2996458224277285, id="A4-circle10-centre-w3p66"),
        pytest.param(1.0, 10.0, 0.3141592653589793, id="A4-circle20-centre-w1"),
        pytest.param(2.0, 10.0, 0.6283185307179586, id="A4-circle20-centre-w2"),
        pytest.param(1.0, 50.0, 0.06283185307179587, id="A4-circle100-centre-w1"),
        pytest.param(3.66, 50.0, 0.22996458224277286, id="A4-circle100-centre-w3p66"),
    ],
)
def test_centre(w_m: float, radius_m: float, expected: float) -> None:
    found = normalised_field([[0.0, 0.0]], circle(radius_m), receiver=receiver(w_m, 0.0))[0]
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("w_m", "expected"),
    [
        pytest.param(1.0, math.pi, id="A4-circle-critical-radius-w1"),
        pytest.param(3.66, 11.498229112138644, id="A4-circle-critical-radius-w3p66"),
    ],
)
def test_largest_circle_that_reacts_throughout(w_m: float, expected: float) -> None:
    field = normalised_field([[0.0, 0.0]], circle(1.0), receiver=receiver(w_m, 0.0))[0]
    assert field == pytest.approx(expected, rel=3e-9)


@pytest.mark.parametrize(
    ("w_m", "radius_m", "expected"),
    [
        pytest.param(2.0, 2.5, True, id="A4-circle5-interior-w2"),
        pytest.param(2.0, 5.0, True, id="A4-circle10-interior-w2"),
        pytest.param(3.66, 5.0, True, id="A4-circle10-interior-w3p66"),
        pytest.param(3.66, 10.0, True, id="A4-circle20-interior-w3p66"),
    ],
)
def test_all_of_a_small_circle_reacts(w_m: float, radius_m: float, *, expected: bool) -> None:
    along = np.linspace(0.0, 0.999 * radius_m, 500)
    points = np.column_stack([along, np.zeros_like(along)])
    found = normalised_field(points, circle(radius_m), receiver=receiver(w_m, 0.0))
    assert bool((found >= 1.0).all()) is expected


@pytest.mark.parametrize(
    ("w_m", "radius_m", "expected"),
    [
        pytest.param(3.66, 2.5, 1.4769028879298085, id="A4-circle5-out-w3p66"),
        pytest.param(1.0, 5.0, 0.7306952960779288, id="A4-circle10-out-w1"),
        pytest.param(2.0, 5.0, 1.2427489529157936, id="A4-circle10-out-w2"),
        pytest.param(3.66, 5.0, 1.8981749472622562, id="A4-circle10-out-w3p66"),
        pytest.param(3.66, 10.0, 2.3282177667648862, id="A4-circle20-out-w3p66"),
        pytest.param(1.0, 25.0, 0.9045225872153202, id="A4-circle50-out-w1"),
        pytest.param(2.0, 25.0, 1.6901942789942908, id="A4-circle50-out-w2"),
        pytest.param(3.66, 25.0, 2.833278270520994, id="A4-circle50-out-w3p66"),
        pytest.param(2.0, 50.0, 1.8090451744306404, id="A4-circle100-out-w2"),
        pytest.param(3.66, 50.0, 3.1256384303766476, id="A4-circle100-out-w3p66"),
    ],
)
def test_outward(w_m: float, radius_m: float, expected: float) -> None:
    assert reach(radius_m, w_m=w_m, side=1, most_m=10.0) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("w_m", "radius_m", "expected"),
    [
        pytest.param(1.0, 5.0, 1.6466423728780077, id="A4-circle10-in-w1"),
        pytest.param(2.0, 10.0, 3.2932847457560155, id="A4-circle20-in-w2"),
        pytest.param(1.0, 25.0, 1.1194757946729388, id="A4-circle50-in-w1"),
        pytest.param(3.66, 25.0, 5.2577767146817145, id="A4-circle50-in-w3p66"),
        pytest.param(1.0, 50.0, 1.0639657336387867, id="A4-circle100-in-w1"),
        pytest.param(3.66, 50.0, 4.432529620274413, id="A4-circle100-in-w3p66"),
    ],
)
def test_inward(w_m: float, radius_m: float, expected: float) -> None:
    assert reach(radius_m, w_m=w_m, side=-1, most_m=radius_m) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("w_m", "radius_m", "radial_m", "height_m", "expected"),
    [
        pytest.param(2.0, 5.0, 0.0, 0.6, 1.2299742041443116, id="A4-circle-offaxis-total-R5-r0-z0p6"),
        pytest.param(2.0, 5.0, 3.0, 0.0, 1.7726042430609052, id="A4-circle-offaxis-total-R5-r3-z0"),
        pytest.param(2.0, 10.0, 9.5, 0.3, 3.866513013668009, id="A4-circle-offaxis-total-R10-r9p5-z0p3"),
        pytest.param(2.0, 10.0, 12.0, 0.6, 0.6444519093490625, id="A4-circle-offaxis-total-R10-r12-z0p6"),
        pytest.param(2.0, 50.0, 52.0, 0.3, 0.8869608044187568, id="A4-circle-offaxis-total-R50-r52-z0p3"),
        pytest.param(2.0, 2.0, 1.0, 1.0, 2.31844446585112, id="A4-circle-offaxis-total-R2-r1-z1"),
    ],
)
def test_total_field_above_the_plane(
    w_m: float, radius_m: float, radial_m: float, height_m: float, expected: float
) -> None:
    found = normalised_field([[radial_m, 0.0]], circle(radius_m), receiver=receiver(w_m, height_m))[0]
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("w_m", "radius_m", "radial_m", "height_m", "expected"),
    [
        pytest.param(2.0, 5.0, 0.0, 0.6, 1.2299742041443116, id="A4-circle-offaxis-vert-R5-r0-z0p6"),
        pytest.param(2.0, 5.0, 3.0, 0.6, 1.6519582096381094, id="A4-circle-offaxis-vert-R5-r3-z0p6"),
        pytest.param(2.0, 10.0, 9.5, 0.3, 3.421616900884627, id="A4-circle-offaxis-vert-R10-r9p5-z0p3"),
        pytest.param(2.0, 50.0, 48.0, 0.3, 1.0860322736566617, id="A4-circle-offaxis-vert-R50-r48-z0p3"),
        pytest.param(2.0, 50.0, 52.0, 0.3, 0.8752802738793662, id="A4-circle-offaxis-vert-R50-r52-z0p3"),
        pytest.param(2.0, 2.0, 1.0, 1.0, 2.17292446797082, id="A4-circle-offaxis-vert-R2-r1-z1"),
    ],
)
def test_vertical_field_above_the_plane(
    w_m: float, radius_m: float, radial_m: float, height_m: float, expected: float
) -> None:
    of = receiver(w_m, height_m)
    found = normalised_field([[radial_m, 0.0]], circle(radius_m), receiver=of, component="vertical")[0]
    assert found == pytest.approx(expected, rel=1e-6)
