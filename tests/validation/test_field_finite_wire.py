"""Field of a finite straight wire.

Source: Griffiths, Introduction to Electrodynamics, chapter 5 (from memory): mu0 I / (4 pi d) (cos a1 - cos a2).
A finite wire alone is no circuit: it is the building block of every loop.
"""

from __future__ import annotations

import pytest

from parcelfence.field.current import Chain, Receiver
from parcelfence.field.flux import normalised_field


@pytest.mark.parametrize(
    ("w_m", "length_m", "offset_m", "distance_m", "expected"),
    [
        pytest.param(2.0, 5.0, 0.0, 0.5, 3.9223227027636804, id="A1b-finite-L5-d0p5-x0"),
        pytest.param(2.0, 5.0, 0.0, 2.0, 0.7808688094430303, id="A1b-finite-L5-d2-x0"),
        pytest.param(2.0, 5.0, 2.5, 2.0, 0.46423834544262965, id="A1b-finite-L5-d2-x2p5"),
        pytest.param(2.0, 5.0, 3.5, 2.0, 0.25073485127527795, id="A1b-finite-L5-d2-x3p5"),
        pytest.param(2.0, 10.0, 6.0, 0.5, 0.20908269842076738, id="A1b-finite-L10-d0p5-x6p0"),
        pytest.param(2.0, 10.0, 6.0, 2.0, 0.2683281572999748, id="A1b-finite-L10-d2-x6p0"),
        pytest.param(2.0, 20.0, 0.0, 0.5, 3.9950093555113786, id="A1b-finite-L20-d0p5-x0"),
        pytest.param(2.0, 20.0, 10.0, 0.5, 1.9993752928162456, id="A1b-finite-L20-d0p5-x10p0"),
        pytest.param(2.0, 20.0, 11.0, 0.5, 0.21057896548844063, id="A1b-finite-L20-d0p5-x11p0"),
        pytest.param(2.0, 20.0, 0.0, 2.0, 0.9805806756909201, id="A1b-finite-L20-d2-x0"),
        pytest.param(2.0, 20.0, 10.0, 2.0, 0.4975185951049946, id="A1b-finite-L20-d2-x10p0"),
        pytest.param(2.0, 20.0, 11.0, 2.0, 0.2741409385469971, id="A1b-finite-L20-d2-x11p0"),
    ],
)
def test_field(w_m: float, length_m: float, offset_m: float, distance_m: float, expected: float) -> None:
    wire = Chain.of_lines([[(-length_m / 2.0, 0.0), (length_m / 2.0, 0.0)]], currents=[1.0])
    found = normalised_field([[offset_m, distance_m]], wire, receiver=Receiver(w_m, 0.0))[0]
    assert found == pytest.approx(expected, rel=1e-9)
