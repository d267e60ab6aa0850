"""The conductor."""

from __future__ import annotations

import math

import pytest

from parcelfence.circuit.conductor import MU_0, Conductor, gauge_diameter_m
from parcelfence.errors import SettingsError


def test_six_gauges_halve_the_diameter_nearly() -> None:
    assert gauge_diameter_m(20) / gauge_diameter_m(14) == pytest.approx(0.5, rel=0.005)


def test_low_frequency_limits() -> None:
    conductor = Conductor(18)
    assert conductor.resistance_ratio(0.0) == 1.0
    assert conductor.resistance_ratio(1.0) == pytest.approx(1.0, abs=1e-9)
    assert conductor.internal_inductance_h_per_m(0.0) == pytest.approx(MU_0 / (8.0 * math.pi))
    assert conductor.internal_inductance_h_per_m(1.0) == pytest.approx(MU_0 / (8.0 * math.pi), rel=1e-9)


def test_high_frequency_limit_is_a_thin_skin() -> None:
    conductor, frequency_hz = Conductor(12), 1e9
    skin = conductor.radius_m / (2.0 * conductor.skin_depth_m(frequency_hz))
    assert conductor.resistance_ratio(frequency_hz) == pytest.approx(skin + 0.25, rel=1e-3)


def test_aluminium_resists_more_than_copper() -> None:
    copper, aluminium = Conductor(14), Conductor(14, material="aluminium")
    assert aluminium.resistance_ohm_per_m / copper.resistance_ohm_per_m == pytest.approx(1.639, abs=0.001)


def test_jacket_sets_the_outer_diameter() -> None:
    assert Conductor(14, insulation_thickness_m=0.001).outer_diameter_m == pytest.approx(3.6277e-3, rel=1e-4)


def test_unknown_material_is_refused_with_near_matches() -> None:
    with pytest.raises(SettingsError, match="did you mean 'copper'"):
        Conductor(14, material="coper")


def test_impossible_temperature_is_refused() -> None:
    with pytest.raises(SettingsError, match="Temperature"):
        Conductor(14, temperature_c=-273.0)
