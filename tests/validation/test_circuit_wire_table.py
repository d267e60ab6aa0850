"""Size and resistance of copper wire by gauge.

Sources: the gauge law of ASTM B258, d = 0.127 mm 92^((36 - n) / 39) (from memory); the International Annealed Copper
Standard, 1/58 ohm mm2/m at 20 degrees Celsius and 0.00393 per kelvin, as in NBS Handbook 100, Copper Wire Tables,
1966; NEC (NFPA 70) chapter 9 table 8 for 75 degrees, whose areas are rounded, hence 0.4 %.
"""

from __future__ import annotations

import pytest

from parcelfence.circuit.conductor import Conductor, gauge_diameter_m


@pytest.mark.parametrize(
    ("gauge_awg", "expected"),
    [
        pytest.param(12, 2.0525253884939474, id="B1-awg12-diameter"),
        pytest.param(13, 1.8278266442375914, id="B1-awg13-diameter"),
        pytest.param(14, 1.6277266337915053, id="B1-awg14-diameter"),
        pytest.param(15, 1.4495324284209463, id="B1-awg15-diameter"),
        pytest.param(18, 1.023687342832652, id="B1-awg18-diameter"),
        pytest.param(20, 0.8118209703737738, id="B1-awg20-diameter"),
        pytest.param(21, 0.7229474521086421, id="B1-awg21-diameter"),
    ],
)
def test_diameter(gauge_awg: int, expected: float) -> None:
    assert 1e3 * gauge_diameter_m(gauge_awg) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("gauge_awg", "expected"),
    [
        pytest.param(12, 3.308772876111475, id="B1-awg12-area"),
        pytest.param(14, 2.0809077170983774, id="B1-awg14-area"),
        pytest.param(18, 0.8230468337313143, id="B1-awg18-area"),
        pytest.param(19, 0.6527058128646284, id="B1-awg19-area"),
        pytest.param(20, 0.5176192419280384, id="B1-awg20-area"),
        pytest.param(22, 0.3255339412454668, id="B1-awg22-area"),
    ],
)
def test_area(gauge_awg: int, expected: float) -> None:
    assert 1e6 * Conductor(gauge_awg).area_m2 == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("gauge_awg", "expected"),
    [
        pytest.param(12, 5.210807739274986, id="B1-awg12-r20"),
        pytest.param(13, 6.5707072412459, id="B1-awg13-r20"),
        pytest.param(14, 8.285508852063005, id="B1-awg14-r20"),
        pytest.param(15, 10.447833759307388, id="B1-awg15-r20"),
        pytest.param(18, 20.948235997920523, id="B1-awg18-r20"),
        pytest.param(19, 26.415237876731922, id="B1-awg19-r20"),
        pytest.param(20, 33.308999963223535, id="B1-awg20-r20"),
        pytest.param(22, 52.963384537970725, id="B1-awg22-r20"),
    ],
)
def test_resistance_at_20_degrees(gauge_awg: int, expected: float) -> None:
    assert 1e3 * Conductor(gauge_awg).resistance_ohm_per_m == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("gauge_awg", "temperature_c", "expected"),
    [
        pytest.param(14, 0.0, 7.634267856290854, id="B1-awg14-r-at-0C"),
        pytest.param(14, 40.0, 8.936749847835157, id="B1-awg14-r-at-40C"),
        pytest.param(18, 40.0, 22.594767347357077, id="B1-awg18-r-at-40C"),
        pytest.param(20, 60.0, 38.545174757442275, id="B1-awg20-r-at-60C"),
        pytest.param(20, 0.0, 30.690912566114168, id="B1-awg20-r-at-0C"),
    ],
)
def test_resistance_at_other_temperatures(gauge_awg: int, temperature_c: float, expected: float) -> None:
    found = Conductor(gauge_awg, temperature_c=temperature_c).resistance_ohm_per_m
    assert 1e3 * found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("gauge_awg", "temperature_c", "expected"),
    [
        pytest.param(14, 75.0, 3.07, id="B1-awg14-r75-nec"),
        pytest.param(16, 75.0, 4.89, id="B1-awg16-r75-nec"),
        pytest.param(18, 75.0, 7.77, id="B1-awg18-r75-nec"),
    ],
)
def test_resistance_of_the_electrical_code(gauge_awg: int, temperature_c: float, expected: float) -> None:
    found = Conductor(gauge_awg, temperature_c=temperature_c).resistance_ohm_per_m
    assert 304.8 * found == pytest.approx(expected, rel=0.004)
