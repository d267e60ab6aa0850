"""The circuit as a whole."""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.circuit.circuit import circuit
from parcelfence.circuit.conductor import MU_0, Conductor
from parcelfence.field.current import CurrentLoop
from tests.sample import sample_plan

SQUARE = CurrentLoop(np.array([(0.0, 0.0), (36.0, 0.0), (36.0, 36.0), (0.0, 36.0)]))


def test_lengths() -> None:
    found = circuit([SQUARE], lead_in_lengths_m=[10.0, 5.0], slack_percent=2.0)
    assert found.loop_length_m == pytest.approx(144.0 * 1.02)
    assert found.lead_in_length_m == 15.0
    twist = math.hypot(1.0, math.pi * Conductor().outer_diameter_m * 11.0 / 0.3048)
    assert found.conductor_length_m == pytest.approx((144.0 + 30.0 * twist) * 1.02)
    assert found.resistance_ohm == pytest.approx(found.conductor_length_m * Conductor().resistance_ohm_per_m)


def test_the_wire_of_the_circuit_is_the_wire_that_is_pulled() -> None:
    plan = sample_plan()
    assert plan.loop.of_part("lead_in")
    assert plan.settings.slack_percent > 0
    assert plan.circuit.conductor_length_m == pytest.approx(plan.take_off.sequence.conductor_length_m, rel=1e-6)


def test_impedance_is_resistance_and_reactance() -> None:
    found = circuit([SQUARE], frequency_hz=7000.0)
    assert found.reactance_ohm == pytest.approx(2.0 * math.pi * 7000.0 * found.inductance_h)
    assert found.impedance_ohm == pytest.approx(math.hypot(found.ac_resistance_ohm, found.reactance_ohm))
    assert found.ac_resistance_ohm > found.resistance_ohm


def test_lead_in_adds_little_inductance_but_its_resistance() -> None:
    bare, led = circuit([SQUARE]), circuit([SQUARE], lead_in_lengths_m=[20.0])
    assert led.resistance_ohm - bare.resistance_ohm == pytest.approx(40.0 * 1.053 * 0.02095, rel=0.01)
    per_metre = (led.inductance_h - bare.inductance_h) / 20.0
    assert 4e-7 < per_metre < 9e-7  # usual of twisted pairs


def test_current_and_field_per_volt() -> None:
    found = circuit([SQUARE])
    assert found.current_a(found.impedance_ohm) == pytest.approx(1.0)
    assert found.flux_density_t_per_volt(2.0) == pytest.approx(MU_0 / (4.0 * math.pi * found.impedance_ohm))


def test_wide_loops_say_that_the_ground_matters() -> None:
    assert not circuit([SQUARE]).ground_matters
    assert circuit([CurrentLoop(SQUARE.coordinates * 5.0)]).ground_matters


def test_inner_loop_in_series() -> None:
    inner = CurrentLoop(SQUARE.coordinates / 6.0 + 15.0)
    both, opposed = circuit([SQUARE, inner]), circuit([SQUARE, CurrentLoop(inner.coordinates, -1.0)])
    assert both.resistance_ohm == opposed.resistance_ohm
    assert both.inductance_h > opposed.inductance_h > circuit([SQUARE]).inductance_h
