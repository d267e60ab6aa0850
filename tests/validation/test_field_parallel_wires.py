"""Two long parallel wires: a return run, and two runs that carry the current the same way.

Source: superposition of two infinite wires (Griffiths, Introduction to Electrodynamics, chapter 5): outside a return
run (s / 2)(sqrt(1 + 4 w / s) - 1), between its wires (s / 2)(1 - sqrt(1 - 4 w / s)) where s > 4 w and no gap
otherwise; same direction w - s / 2 + sqrt(w^2 + s^2 / 4).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from parcelfence.field.current import Chain, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.setting import reach_for_return_run

LONG_M = 1e6


def pair(spacing_m: float, *, other: float) -> Chain:
    line = [(0.0, -LONG_M), (0.0, LONG_M)]
    return Chain.of_lines([line, [(-spacing_m, y) for _, y in line]], currents=[1.0, other])


def reach(wires: Chain, w_m: float, *, low_m: float, high_m: float) -> float:
    of = Receiver(w_m, 0.0)
    return float(
        brentq(lambda x: 1.0 / normalised_field([[x, 0.0]], wires, receiver=of)[0] - 1.0, low_m, high_m, xtol=1e-13)
    )


@pytest.mark.parametrize(
    ("w_m", "spacing_m", "expected"),
    [
        pytest.param(3.66, 0.5, 1.1256816492197603, id="A2-return-out-s0p5-w3p66"),
        pytest.param(1.0, 1.0, 0.6180339887498949, id="A2-return-out-s1-w1"),
        pytest.param(2.0, 1.0, 1.0, id="A2-return-out-s1-w2"),
        pytest.param(1.0, 2.0, 0.7320508075688773, id="A2-return-out-s2-w1"),
        pytest.param(3.66, 2.0, 1.8844410203711914, id="A2-return-out-s2-w3p66"),
        pytest.param(1.0, 3.0, 0.79128784747792, id="A2-return-out-s3-w1"),
        pytest.param(3.66, 3.0, 2.1373066958946425, id="A2-return-out-s3-w3p66"),
        pytest.param(3.66, 5.0, 2.4547956567349978, id="A2-return-out-s5-w3p66"),
        pytest.param(1.0, 10.0, 0.916079783099616, id="A2-return-out-s10-w1"),
        pytest.param(2.0, 10.0, 1.7082039324993692, id="A2-return-out-s10-w2"),
        pytest.param(3.66, 10.0, 2.8485667481394334, id="A2-return-out-s10-w3p66"),
        pytest.param(1.0, 15.0, 0.9409715080670661, id="A2-return-out-s15-w1"),
        pytest.param(2.0, 15.0, 1.787087810503355, id="A2-return-out-s15-w2"),
        pytest.param(1.0, 20.0, 0.9544511501033223, id="A2-return-out-s20-w1"),
        pytest.param(3.66, 20.0, 3.160547101089681, id="A2-return-out-s20-w3p66"),
        pytest.param(1.0, 0.002, 0.043732538492690085, id="A6-untwisted-reach-d2p0-n10-w1"),
        pytest.param(3.66, 0.002, 0.08456284240252891, id="A6-untwisted-reach-d2p0-n10-w3p66"),
        pytest.param(1.0, 0.0032, 0.05499116538824766, id="A6-untwisted-reach-d3p2-n10-w1"),
        pytest.param(2.0, 0.0032, 0.07841599840031992, id="A6-untwisted-reach-d3p2-n10-w2"),
        pytest.param(3.66, 0.0032, 0.1066338209618417, id="A6-untwisted-reach-d3p2-n10-w3p66"),
        pytest.param(1.0, 0.0025, 0.04876562255935639, id="A6-untwisted-reach-d2p5-n12-w1"),
        pytest.param(3.66, 0.0025, 0.09441379931823742, id="A6-untwisted-reach-d2p5-n12-w3p66"),
    ],
)
def test_reach_outside_a_return_run(w_m: float, spacing_m: float, expected: float) -> None:
    found = reach(pair(spacing_m, other=-1.0), w_m, low_m=1e-6, high_m=20.0)
    assert found == pytest.approx(expected, rel=1e-8)
    assert reach_for_return_run(expected, spacing_m=spacing_m) == pytest.approx(w_m, rel=1e-12)


@pytest.mark.parametrize(
    ("w_m", "spacing_m", "expected"),
    [
        pytest.param(1.0, 5.0, 1.381966011250105, id="A2-return-between-s5-w1"),
        pytest.param(1.0, 10.0, 1.1270166537925832, id="A2-return-between-s10-w1"),
        pytest.param(2.0, 10.0, 2.76393202250021, id="A2-return-between-s10-w2"),
        pytest.param(3.66, 15.0, 6.338104996137775, id="A2-return-between-s15-w3p66"),
        pytest.param(1.0, 20.0, 1.0557280900008412, id="A2-return-between-s20-w1"),
        pytest.param(2.0, 20.0, 2.2540333075851664, id="A2-return-between-s20-w2"),
    ],
)
def test_reach_between_the_wires(w_m: float, spacing_m: float, expected: float) -> None:
    found = reach(pair(spacing_m, other=-1.0), w_m, low_m=-1e-6, high_m=-spacing_m / 2.0)
    assert -found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("w_m", "spacing_m", "expected"),
    [
        pytest.param(2.0, 0.5, True, id="A2-return-between-s0p5-w2"),
        pytest.param(3.66, 0.5, True, id="A2-return-between-s0p5-w3p66"),
        pytest.param(3.66, 1.0, True, id="A2-return-between-s1-w3p66"),
        pytest.param(1.0, 2.0, True, id="A2-return-between-s2-w1"),
        pytest.param(2.0, 2.0, True, id="A2-return-between-s2-w2"),
        pytest.param(3.66, 2.0, True, id="A2-return-between-s2-w3p66"),
        pytest.param(1.0, 3.0, True, id="A2-return-between-s3-w1"),
        pytest.param(2.0, 3.0, True, id="A2-return-between-s3-w2"),
        pytest.param(3.66, 3.0, True, id="A2-return-between-s3-w3p66"),
        pytest.param(3.66, 10.0, True, id="A2-return-between-s10-w3p66"),
    ],
)
def test_whole_strip_reacts(w_m: float, spacing_m: float, *, expected: bool) -> None:
    across = np.linspace(-spacing_m, 0.0, 1001)
    points = np.column_stack([across, np.zeros_like(across)])
    found = normalised_field(points, pair(spacing_m, other=-1.0), receiver=Receiver(w_m, 0.0))
    assert bool((found >= 1.0).all()) is expected


@pytest.mark.parametrize(
    ("w_m", "spacing_m", "expected"),
    [
        pytest.param(1.0, 0.1, 1.9512492197250393, id="A2-same-out-s0p1-w1"),
        pytest.param(3.66, 0.1, 7.270341514121326, id="A2-same-out-s0p1-w3p66"),
        pytest.param(1.0, 1.0, 1.618033988749895, id="A2-same-out-s1-w1"),
        pytest.param(2.0, 1.0, 3.5615528128088303, id="A2-same-out-s1-w2"),
        pytest.param(3.66, 1.0, 6.853995127230138, id="A2-same-out-s1-w3p66"),
        pytest.param(3.66, 3.0, 6.115451933723882, id="A2-same-out-s3-w3p66"),
    ],
)
def test_reach_outside_two_runs_of_one_direction(w_m: float, spacing_m: float, expected: float) -> None:
    found = reach(pair(spacing_m, other=1.0), w_m, low_m=1e-6, high_m=20.0)
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("height_m", [0.0, 0.3])
def test_setting_for_a_return_run_holds_at_height(height_m: float) -> None:
    w_m = reach_for_return_run(1.4, spacing_m=2.5, height_m=height_m)
    found = normalised_field([[1.4, 0.0]], pair(2.5, other=-1.0), receiver=Receiver(w_m, height_m))[0]
    assert found == pytest.approx(1.0, rel=1e-9)
