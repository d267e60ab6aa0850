"""Coupling into buried lines: square crossings are quiet."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, MultiLineString

from parcelfence.circuit.coupling import coupling
from parcelfence.field.current import CurrentLoop

SQUARE = CurrentLoop(np.array([(0.0, 0.0), (60.0, 0.0), (60.0, 60.0), (0.0, 60.0)]))


def test_a_line_beside_the_wire_couples_far_more_than_one_across() -> None:
    beside = coupling([SQUARE], LineString([(0.0, 1.0), (60.0, 1.0)]))
    across = coupling([SQUARE], LineString([(30.0, -30.0), (30.0, 30.0)]))
    assert beside.mutual_inductance_h > 1e-5
    assert across.mutual_inductance_h < 1e-3 * beside.mutual_inductance_h


def test_a_slanted_crossing_couples() -> None:
    half = np.array([[-10.0, -10.0], [10.0, 10.0]])
    square_on = np.array([[0.0, -10.0], [0.0, 10.0]])
    place = np.array([20.0, 0.0])
    slanted, straight = (coupling([SQUARE], LineString(line + place)) for line in (half, square_on))
    assert slanted.mutual_inductance_h > 2.0 * straight.mutual_inductance_h


def test_deeper_lines_couple_less() -> None:
    line = LineString([(5.0, -1.0), (55.0, -1.0)])
    shallow, deep = (coupling([SQUARE], line, depth_m=depth_m).mutual_inductance_h for depth_m in (0.3, 3.0))
    assert deep < shallow


def test_voltage_and_parts() -> None:
    parts = [[(0.0, 1.0), (60.0, 1.0)], [(30.0, 10.0), (30.0, 30.0)]]
    found = coupling([SQUARE], MultiLineString(parts))
    assert found.mutual_inductance_h == coupling([SQUARE], LineString(parts[0])).mutual_inductance_h
    assert found.volts_per_ampere(10_000.0) == pytest.approx(62_831.853 * found.mutual_inductance_h)
