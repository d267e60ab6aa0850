"""Skin effect of an isolated round copper wire.

Sources: skin depth sqrt(rho / (pi f mu0)) (Jackson, Classical Electrodynamics); the Bessel-function solution tabulated
in Terman, Radio Engineers' Handbook, and in NBS Circular 74, Radio Instruments and Measurements (1.0052, 1.0782,
1.3180, 1.6778, 2.0427 for sqrt(2) radius / depth of 1 to 5, from memory).  A second way: Kelvin functions of scipy.
"""

from __future__ import annotations

import math

import pytest
from scipy.special import bei, beip, ber, berp

from parcelfence.circuit.conductor import MU_0, Conductor


def frequency_for(x: float, conductor: Conductor) -> float:
    """Frequency at which sqrt(2) radius / skin depth is x."""
    depth_m = math.sqrt(2.0) * conductor.radius_m / x
    return conductor.resistivity_ohm_m / (math.pi * MU_0 * depth_m**2)


@pytest.mark.parametrize(
    ("frequency_hz", "temperature_c", "expected"),
    [
        pytest.param(7000.0, 20.0, 0.7898727201605358, id="B2-skin-depth-7000"),
        pytest.param(10000.0, 20.0, 0.6608549310080563, id="B2-skin-depth-10000"),
        pytest.param(15000.0, 20.0, 0.5395857916573062, id="B2-skin-depth-15000"),
    ],
)
def test_skin_depth(frequency_hz: float, temperature_c: float, expected: float) -> None:
    found = Conductor(18, temperature_c=temperature_c).skin_depth_m(frequency_hz)
    assert 1e3 * found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("gauge_awg", "frequency_hz", "temperature_c", "expected"),
    [
        pytest.param(12, 5000.0, 20.0, 1.0295757556234333, id="B2-skin-awg12-5000"),
        pytest.param(12, 10000.0, 20.0, 1.1105536177779176, id="B2-skin-awg12-10000"),
        pytest.param(14, 10000.0, 20.0, 1.0461599563148445, id="B2-skin-awg14-10000"),
        pytest.param(14, 20000.0, 20.0, 1.1665491091821165, id="B2-skin-awg14-20000"),
        pytest.param(16, 5000.0, 20.0, 1.0047207310149862, id="B2-skin-awg16-5000"),
        pytest.param(16, 10000.0, 20.0, 1.018671796611154, id="B2-skin-awg16-10000"),
        pytest.param(18, 5000.0, 20.0, 1.0018714274621054, id="B2-skin-awg18-5000"),
        pytest.param(18, 10000.0, 20.0, 1.0074522648475863, id="B2-skin-awg18-10000"),
        pytest.param(18, 20000.0, 20.0, 1.0292868908064716, id="B2-skin-awg18-20000"),
        pytest.param(20, 5000.0, 20.0, 1.000740862902614, id="B2-skin-awg20-5000"),
        pytest.param(20, 20000.0, 20.0, 1.0117494598606365, id="B2-skin-awg20-20000"),
        pytest.param(22, 10000.0, 20.0, 1.001171709054651, id="B2-skin-awg22-10000"),
    ],
)
def test_resistance_ratio(gauge_awg: int, frequency_hz: float, temperature_c: float, expected: float) -> None:
    found = Conductor(gauge_awg, temperature_c=temperature_c).resistance_ratio(frequency_hz)
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("gauge_awg", "frequency_hz", "temperature_c", "expected"),
    [
        pytest.param(12, 10000.0, 20.0, 47.258095754824225, id="B2-internalL-awg12-10000"),
        pytest.param(12, 20000.0, 20.0, 41.441711805945495, id="B2-internalL-awg12-20000"),
        pytest.param(14, 5000.0, 20.0, 49.70356110295355, id="B2-internalL-awg14-5000"),
        pytest.param(16, 5000.0, 20.0, 49.88201898168999, id="B2-internalL-awg16-5000"),
        pytest.param(16, 10000.0, 20.0, 49.53379330937131, id="B2-internalL-awg16-10000"),
        pytest.param(18, 5000.0, 20.0, 49.95322015766205, id="B2-internalL-awg18-5000"),
        pytest.param(18, 10000.0, 20.0, 49.813786391916565, id="B2-internalL-awg18-10000"),
        pytest.param(20, 5000.0, 20.0, 49.98147934267418, id="B2-internalL-awg20-5000"),
        pytest.param(20, 10000.0, 20.0, 49.92605977888581, id="B2-internalL-awg20-10000"),
        pytest.param(22, 5000.0, 20.0, 49.99267181027711, id="B2-internalL-awg22-5000"),
        pytest.param(22, 10000.0, 20.0, 49.970709563557314, id="B2-internalL-awg22-10000"),
        pytest.param(22, 20000.0, 20.0, 49.88319402319824, id="B2-internalL-awg22-20000"),
    ],
)
def test_internal_inductance(gauge_awg: int, frequency_hz: float, temperature_c: float, expected: float) -> None:
    found = Conductor(gauge_awg, temperature_c=temperature_c).internal_inductance_h_per_m(frequency_hz)
    assert 1e9 * found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("x", "expected"),
    [
        pytest.param(1.0, 1.005186731392138, id="B2-skin-x1"),
        pytest.param(2.0, 1.0781587461306228, id="B2-skin-x2"),
        pytest.param(3.0, 1.3180948182937142, id="B2-skin-x3"),
        pytest.param(4.0, 1.6778688630392358, id="B2-skin-x4"),
        pytest.param(5.0, 2.042725062456288, id="B2-skin-x5"),
    ],
)
def test_tabulated_ratio(x: float, expected: float) -> None:
    conductor = Conductor(14)
    assert conductor.resistance_ratio(frequency_for(x, conductor)) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("x", [0.1, 0.7, 2.3, 6.0, 20.0])
def test_ratio_by_kelvin_functions(x: float) -> None:
    conductor = Conductor(14)
    slope2 = berp(x) ** 2 + beip(x) ** 2
    expected = x / 2.0 * (ber(x) * beip(x) - bei(x) * berp(x)) / slope2
    assert conductor.resistance_ratio(frequency_for(x, conductor)) == pytest.approx(expected, rel=1e-9)
