"""A corner of two long legs, sharp or rounded.

Source: superposition of two semi-infinite wires (Griffiths, Introduction to Electrodynamics, chapter 5): on the
bisector w cot(a / 4) inside and w tan(a / 4) outside, from the vertex; rounded corners by two legs and a circular
arc, integrated numerically.  Arcs are drawn with 4000 chords, which is good to 1e-6.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from parcelfence.field.current import Chain, Receiver
from parcelfence.field.flux import normalised_field

LONG_M = 1e6
CHORDS = 4000


def corner(angle_deg: float, radius_m: float) -> tuple[Chain, float]:
    """Legs with the inside of the corner along +x from the vertex at 0, and the abscissa of the wire's apex."""
    half = math.radians(angle_deg) / 2.0
    end = LONG_M * np.array([math.cos(half), math.sin(half)])
    if not radius_m:
        return Chain.of_lines([[end, (0.0, 0.0), end * [1.0, -1.0]]], currents=[1.0]), 0.0
    centre = radius_m / math.sin(half)
    turn = np.linspace(math.pi / 2.0 + half, 1.5 * math.pi - half, CHORDS + 1)
    arc = np.column_stack([centre + radius_m * np.cos(turn), radius_m * np.sin(turn)])
    return Chain.of_lines([np.vstack([end, arc, end * [1.0, -1.0]])], currents=[1.0]), centre - radius_m


def reach(angle_deg: float, radius_m: float, *, w_m: float, side: int) -> float:
    wire, apex_m = corner(angle_deg, radius_m)
    of = Receiver(w_m, 0.0)

    def excess(distance_m: float) -> float:
        return float(1.0 / normalised_field([[apex_m + side * distance_m, 0.0]], wire, receiver=of)[0] - 1.0)

    return float(brentq(excess, 1e-3, 60.0, xtol=1e-13))


@pytest.mark.parametrize(
    ("w_m", "angle_deg", "radius_m", "expected"),
    [
        pytest.param(1.0, 45.0, 0.0, 5.027339492125848, id="A3-corner45-sharp-inside-w1"),
        pytest.param(2.0, 45.0, 0.0, 10.054678984251696, id="A3-corner45-sharp-inside-w2"),
        pytest.param(3.66, 45.0, 0.0, 18.400062541180603, id="A3-corner45-sharp-inside-w3p66"),
        pytest.param(2.0, 60.0, 0.0, 7.464101615137754, id="A3-corner60-sharp-inside-w2"),
        pytest.param(3.66, 60.0, 0.0, 13.659305955702091, id="A3-corner60-sharp-inside-w3p66"),
        pytest.param(1.0, 90.0, 0.0, 2.414213562373095, id="A3-corner90-sharp-inside-w1"),
        pytest.param(3.66, 90.0, 0.0, 8.836021638285528, id="A3-corner90-sharp-inside-w3p66"),
        pytest.param(1.0, 120.0, 0.0, 1.7320508075688772, id="A3-corner120-sharp-inside-w1"),
        pytest.param(2.0, 120.0, 0.0, 3.4641016151377544, id="A3-corner120-sharp-inside-w2"),
        pytest.param(2.0, 135.0, 0.0, 2.993211525330978, id="A3-corner135-sharp-inside-w2"),
    ],
)
def test_inside_a_sharp_corner(w_m: float, angle_deg: float, radius_m: float, expected: float) -> None:
    assert reach(angle_deg, radius_m, w_m=w_m, side=1) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "angle_deg", "radius_m", "expected"),
    [
        pytest.param(1.0, 45.0, 0.0, 0.198912367379658, id="A3-corner45-sharp-outside-w1"),
        pytest.param(2.0, 45.0, 0.0, 0.397824734759316, id="A3-corner45-sharp-outside-w2"),
        pytest.param(1.0, 60.0, 0.0, 0.2679491924311227, id="A3-corner60-sharp-outside-w1"),
        pytest.param(3.66, 60.0, 0.0, 0.9806940442979091, id="A3-corner60-sharp-outside-w3p66"),
        pytest.param(2.0, 90.0, 0.0, 0.8284271247461901, id="A3-corner90-sharp-outside-w2"),
        pytest.param(3.66, 90.0, 0.0, 1.5160216382855278, id="A3-corner90-sharp-outside-w3p66"),
        pytest.param(1.0, 120.0, 0.0, 0.5773502691896257, id="A3-corner120-sharp-outside-w1"),
        pytest.param(3.66, 120.0, 0.0, 2.1131019852340303, id="A3-corner120-sharp-outside-w3p66"),
        pytest.param(1.0, 135.0, 0.0, 0.6681786379192989, id="A3-corner135-sharp-outside-w1"),
        pytest.param(3.66, 135.0, 0.0, 2.445533814784634, id="A3-corner135-sharp-outside-w3p66"),
    ],
)
def test_outside_a_sharp_corner(w_m: float, angle_deg: float, radius_m: float, expected: float) -> None:
    assert reach(angle_deg, radius_m, w_m=w_m, side=-1) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("w_m", "angle_deg", "radius_m", "expected"),
    [
        pytest.param(3.66, 60.0, 1.0, 12.667240028461851, id="A3-corner60-R1-inside-w3p66"),
        pytest.param(1.0, 60.0, 2.0, 2.0711512244314947, id="A3-corner60-R2-inside-w1"),
        pytest.param(2.0, 60.0, 2.0, 5.558153235554336, id="A3-corner60-R2-inside-w2"),
        pytest.param(1.0, 60.0, 3.0, 1.7092288870522165, id="A3-corner60-R3-inside-w1"),
        pytest.param(2.0, 60.0, 3.0, 4.757836713915272, id="A3-corner60-R3-inside-w2"),
        pytest.param(3.66, 60.0, 3.0, 10.761569281860181, id="A3-corner60-R3-inside-w3p66"),
        pytest.param(1.0, 90.0, 1.0, 2.027152691311796, id="A3-corner90-R1-inside-w1"),
        pytest.param(2.0, 90.0, 1.0, 4.425427862562175, id="A3-corner90-R1-inside-w2"),
        pytest.param(1.0, 90.0, 2.0, 1.7317781862561088, id="A3-corner90-R2-inside-w1"),
        pytest.param(2.0, 90.0, 2.0, 4.054305382623592, id="A3-corner90-R2-inside-w2"),
        pytest.param(3.66, 90.0, 2.0, 8.032558143502762, id="A3-corner90-R2-inside-w3p66"),
        pytest.param(1.0, 90.0, 3.0, 1.5452236489313058, id="A3-corner90-R3-inside-w1"),
        pytest.param(2.0, 90.0, 3.0, 3.730272609703451, id="A3-corner90-R3-inside-w2"),
        pytest.param(3.66, 90.0, 3.0, 7.65580995548425, id="A3-corner90-R3-inside-w3p66"),
        pytest.param(1.0, 120.0, 1.0, 1.5882029930727064, id="A3-corner120-R1-inside-w1"),
        pytest.param(1.0, 120.0, 2.0, 1.4722105028288999, id="A3-corner120-R2-inside-w1"),
        pytest.param(2.0, 120.0, 2.0, 3.176405986145413, id="A3-corner120-R2-inside-w2"),
        pytest.param(3.66, 120.0, 2.0, 6.040835892949384, id="A3-corner120-R2-inside-w3p66"),
    ],
)
def test_inside_a_rounded_corner(w_m: float, angle_deg: float, radius_m: float, expected: float) -> None:
    assert reach(angle_deg, radius_m, w_m=w_m, side=1) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("w_m", "angle_deg", "radius_m", "expected"),
    [
        pytest.param(1.0, 60.0, 1.0, 0.5612862136822966, id="A3-corner60-R1-outside-w1"),
        pytest.param(2.0, 60.0, 1.0, 0.9520079354222731, id="A3-corner60-R1-outside-w2"),
        pytest.param(1.0, 60.0, 2.0, 0.6547341345222129, id="A3-corner60-R2-outside-w1"),
        pytest.param(3.66, 60.0, 2.0, 1.7794578983075986, id="A3-corner60-R2-outside-w3p66"),
        pytest.param(1.0, 60.0, 3.0, 0.7091542968894188, id="A3-corner60-R3-outside-w1"),
        pytest.param(2.0, 60.0, 3.0, 1.2311424184551176, id="A3-corner60-R3-outside-w2"),
        pytest.param(3.66, 60.0, 3.0, 1.9602900670409988, id="A3-corner60-R3-outside-w3p66"),
        pytest.param(1.0, 90.0, 1.0, 0.6099619299648174, id="A3-corner90-R1-outside-w1"),
        pytest.param(2.0, 90.0, 1.0, 1.0853706592849637, id="A3-corner90-R1-outside-w2"),
        pytest.param(3.66, 90.0, 1.0, 1.8210687823268763, id="A3-corner90-R1-outside-w3p66"),
        pytest.param(1.0, 90.0, 2.0, 0.6883087454140094, id="A3-corner90-R2-outside-w1"),
        pytest.param(1.0, 90.0, 3.0, 0.7354499743822023, id="A3-corner90-R3-outside-w1"),
        pytest.param(2.0, 90.0, 3.0, 1.3100302125205234, id="A3-corner90-R3-outside-w2"),
        pytest.param(3.66, 120.0, 1.0, 2.248938744644875, id="A3-corner120-R1-outside-w3p66"),
        pytest.param(1.0, 120.0, 2.0, 0.7370492669250293, id="A3-corner120-R2-outside-w1"),
        pytest.param(2.0, 120.0, 2.0, 1.3628241285539828, id="A3-corner120-R2-outside-w2"),
        pytest.param(1.0, 120.0, 3.0, 0.7731657556244655, id="A3-corner120-R3-outside-w1"),
        pytest.param(3.66, 120.0, 3.0, 2.4440272586088017, id="A3-corner120-R3-outside-w3p66"),
    ],
)
def test_outside_a_rounded_corner(w_m: float, angle_deg: float, radius_m: float, expected: float) -> None:
    assert reach(angle_deg, radius_m, w_m=w_m, side=-1) == pytest.approx(expected, rel=1e-5)
