"""Resistance and reactance of square loops at the signal frequency.

Sources: copper resistance with the Bessel-function skin effect (Terman, Radio Engineers' Handbook); 2 pi f times the
inductance of a square (Rosa 1908), internal inductance at that frequency; free space, no soil.
"""

from __future__ import annotations

import numpy as np
import pytest

from parcelfence.circuit.circuit import Circuit, circuit
from parcelfence.circuit.conductor import Conductor
from parcelfence.field.current import CurrentLoop


def square(side_m: float, gauge_awg: int, frequency_hz: float) -> Circuit:
    loop = CurrentLoop(np.array([(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)]))
    return circuit([loop], conductor=Conductor(gauge_awg), frequency_hz=frequency_hz)


@pytest.mark.parametrize(
    ("side_m", "gauge_awg", "frequency_hz", "expected"),
    [
        pytest.param(36.728083816066416, 14, 10000.0, 1.27343135898477, id="B6-loopR-third-acre-awg14-10000"),
        pytest.param(36.728083816066416, 14, 20000.0, 1.4199742672823013, id="B6-loopR-third-acre-awg14-20000"),
        pytest.param(36.728083816066416, 18, 10000.0, 3.1004890196252246, id="B6-loopR-third-acre-awg18-10000"),
        pytest.param(36.728083816066416, 18, 20000.0, 3.167686265981497, id="B6-loopR-third-acre-awg18-20000"),
        pytest.param(36.728083816066416, 20, 5000.0, 4.897128384728751, id="B6-loopR-third-acre-awg20-5000"),
        pytest.param(36.728083816066416, 20, 20000.0, 4.950998986637425, id="B6-loopR-third-acre-awg20-20000"),
        pytest.param(318.0745361703763, 14, 5000.0, 10.666735338287825, id="B6-loopR-25-acre-awg14-5000"),
        pytest.param(318.0745361703763, 14, 10000.0, 11.028239068565517, id="B6-loopR-25-acre-awg14-10000"),
        pytest.param(318.0745361703763, 14, 20000.0, 12.297337881866673, id="B6-loopR-25-acre-awg14-20000"),
        pytest.param(318.0745361703763, 20, 5000.0, 42.410375867689524, id="B6-loopR-25-acre-awg20-5000"),
        pytest.param(318.0745361703763, 20, 10000.0, 42.504344068604254, id="B6-loopR-25-acre-awg20-10000"),
        pytest.param(318.0745361703763, 20, 20000.0, 42.87690896539023, id="B6-loopR-25-acre-awg20-20000"),
        pytest.param(63.614907234075254, 14, 5000.0, 2.133347067657565, id="B6-loopR-1-acre-awg14-5000"),
        pytest.param(63.614907234075254, 14, 20000.0, 2.459467576373335, id="B6-loopR-1-acre-awg14-20000"),
        pytest.param(63.614907234075254, 18, 10000.0, 5.370204510300306, id="B6-loopR-1-acre-awg18-10000"),
        pytest.param(63.614907234075254, 20, 5000.0, 8.482075173537904, id="B6-loopR-1-acre-awg20-5000"),
        pytest.param(63.614907234075254, 20, 10000.0, 8.500868813720851, id="B6-loopR-1-acre-awg20-10000"),
        pytest.param(63.614907234075254, 20, 20000.0, 8.575381793078046, id="B6-loopR-1-acre-awg20-20000"),
    ],
)
def test_resistance(side_m: float, gauge_awg: int, frequency_hz: float, expected: float) -> None:
    assert square(side_m, gauge_awg, frequency_hz).ac_resistance_ohm == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("side_m", "gauge_awg", "frequency_hz", "expected"),
    [
        pytest.param(36.728083816066416, 14, 10000.0, 18.8076938441608, id="B6-loopX-third-acre-awg14-10000"),
        pytest.param(36.728083816066416, 14, 20000.0, 37.560711405006046, id="B6-loopX-third-acre-awg14-20000"),
        pytest.param(36.728083816066416, 18, 10000.0, 19.67279057692935, id="B6-loopX-third-acre-awg18-10000"),
        pytest.param(36.728083816066416, 18, 20000.0, 39.33552881642716, id="B6-loopX-third-acre-awg18-20000"),
        pytest.param(36.728083816066416, 20, 5000.0, 10.051218536470595, id="B6-loopX-third-acre-awg20-5000"),
        pytest.param(36.728083816066416, 20, 20000.0, 40.19979751583177, id="B6-loopX-third-acre-awg20-20000"),
        pytest.param(318.0745361703763, 14, 5000.0, 98.73101748072447, id="B6-loopX-25-acre-awg14-5000"),
        pytest.param(318.0745361703763, 14, 10000.0, 197.39377356145425, id="B6-loopX-25-acre-awg14-10000"),
        pytest.param(318.0745361703763, 14, 20000.0, 394.3140366195507, id="B6-loopX-25-acre-awg14-20000"),
        pytest.param(318.0745361703763, 20, 5000.0, 104.30328941823566, id="B6-loopX-25-acre-awg20-5000"),
        pytest.param(318.0745361703763, 20, 10000.0, 208.60214854943044, id="B6-loopX-25-acre-awg20-10000"),
        pytest.param(318.0745361703763, 20, 20000.0, 417.1691927670482, id="B6-loopX-25-acre-awg20-20000"),
        pytest.param(63.614907234075254, 14, 5000.0, 17.17300679839903, id="B6-loopX-1-acre-awg14-5000"),
        pytest.param(63.614907234075254, 14, 20000.0, 68.57002053292668, id="B6-loopX-1-acre-awg14-20000"),
        pytest.param(63.614907234075254, 18, 10000.0, 35.83075281141609, id="B6-loopX-1-acre-awg18-10000"),
        pytest.param(63.614907234075254, 20, 5000.0, 18.287461185901268, id="B6-loopX-1-acre-awg20-5000"),
        pytest.param(63.614907234075254, 20, 10000.0, 36.57403631439436, id="B6-loopX-1-acre-awg20-10000"),
        pytest.param(63.614907234075254, 20, 20000.0, 73.14105176242617, id="B6-loopX-1-acre-awg20-20000"),
    ],
)
def test_reactance(side_m: float, gauge_awg: int, frequency_hz: float, expected: float) -> None:
    assert square(side_m, gauge_awg, frequency_hz).reactance_ohm == pytest.approx(expected, rel=5e-5)
