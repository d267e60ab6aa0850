"""A transmitter's rating against the circuit."""

from __future__ import annotations

import numpy as np
import pytest

from parcelfence.circuit.circuit import circuit
from parcelfence.circuit.conductor import Conductor
from parcelfence.circuit.drive import Rating, drive_checks, with_gauge
from parcelfence.field.current import CurrentLoop

SQUARE = CurrentLoop(np.array([(0.0, 0.0), (120.0, 0.0), (120.0, 120.0), (0.0, 120.0)]))
CIRCUIT = circuit([SQUARE], conductor=Conductor(20))


def test_nothing_known_nothing_checked() -> None:
    assert drive_checks(CIRCUIT, Rating(volts=12.0), area_m2=14_400.0) == ()


def test_resistance_and_the_gauge_that_cures_it() -> None:
    (check,) = drive_checks(CIRCUIT, Rating(max_ohms=8.0), area_m2=14_400.0)
    assert not check.holds
    assert check.measured == pytest.approx(480.0 * 0.033309, rel=1e-4)
    assert check.cure_awg == 17
    assert with_gauge(CIRCUIT, 17).resistance_ohm <= 8.0 < with_gauge(CIRCUIT, 18).resistance_ohm


def test_what_holds_needs_no_other_gauge() -> None:
    (check,) = drive_checks(CIRCUIT, Rating(max_ohms=20.0), area_m2=14_400.0)
    assert check.holds
    assert check.cure_awg == 20


def test_no_gauge_cures_inductance() -> None:
    (check,) = drive_checks(CIRCUIT, Rating(volts=10.0, amperes=0.3), area_m2=14_400.0)
    assert check.quantity == "impedance"
    assert not check.holds
    assert check.cure_awg is None


def test_length_and_area() -> None:
    length, area = drive_checks(CIRCUIT, Rating(max_wire_m=500.0, max_area_m2=10_000.0), area_m2=14_400.0)
    assert (length.unit, length.holds) == ("m", True)
    assert (area.unit, area.holds) == ("m2", False)


@pytest.mark.parametrize("gauge_awg", [12, 14, 18])
def test_another_gauge_as_if_computed_afresh(gauge_awg: int) -> None:
    found, expected = with_gauge(CIRCUIT, gauge_awg), circuit([SQUARE], conductor=Conductor(gauge_awg))
    assert found.inductance_h == pytest.approx(expected.inductance_h, rel=1e-5)
    assert found.ac_resistance_ohm == pytest.approx(expected.ac_resistance_ohm, rel=1e-9)
