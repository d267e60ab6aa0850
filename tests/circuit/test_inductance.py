"""Inductance of polygons: the same wire cut differently, moved, enlarged, doubled back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.circuit.conductor import MU_0
from parcelfence.circuit.inductance import external_inductance_h, mutual_inductance_h, pair_inductance_h_per_m
from parcelfence.field.current import Chain, CurrentLoop

RADIUS_M = 5e-4


def random_loop(seed: int) -> CurrentLoop:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, rng.integers(3, 12)))
    return CurrentLoop(np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(5.0, 30.0, (len(turn), 1)))


@given(seed=st.integers(0, 10_000), step_m=st.floats(0.3, 5.0))
def test_cutting_stretches_changes_nothing(seed: int, step_m: float) -> None:
    loop = random_loop(seed)
    cut = CurrentLoop.from_line(loop.ring.segmentize(step_m))
    expected = external_inductance_h([loop], radius_m=RADIUS_M)
    assert external_inductance_h([cut], radius_m=RADIUS_M) == pytest.approx(expected, rel=1e-5)


@given(seed=st.integers(0, 10_000), factor=st.floats(0.1, 50.0))
def test_all_lengths_scale_together(seed: int, factor: float) -> None:
    loop = random_loop(seed)
    larger = external_inductance_h([CurrentLoop(loop.coordinates * factor)], radius_m=RADIUS_M * factor)
    assert larger == pytest.approx(factor * external_inductance_h([loop], radius_m=RADIUS_M), rel=1e-9)


@given(seed=st.integers(0, 10_000), turn=st.floats(0.0, 6.3))
def test_turning_and_reversing_change_nothing(seed: int, turn: float) -> None:
    loop = random_loop(seed)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    moved = CurrentLoop(loop.coordinates[::-1] @ rotation.T + 1000.0)
    expected = external_inductance_h([loop], radius_m=RADIUS_M)
    assert external_inductance_h([moved], radius_m=RADIUS_M) == pytest.approx(expected, rel=1e-7)


def test_loops_in_series_add_their_mutual_term_twice() -> None:
    outer, inner = random_loop(1), CurrentLoop(random_loop(2).coordinates / 10.0)
    apart = sum(external_inductance_h([loop], radius_m=RADIUS_M) for loop in (outer, inner))
    aiding = external_inductance_h([outer, inner], radius_m=RADIUS_M)
    opposing = external_inductance_h([outer, CurrentLoop(inner.coordinates, -1.0)], radius_m=RADIUS_M)
    mutual = mutual_inductance_h([outer], inner.closed_coordinates, depth_m=RADIUS_M)
    assert aiding - apart == pytest.approx(2.0 * mutual, rel=1e-9)
    assert opposing - apart == pytest.approx(-2.0 * mutual, rel=1e-9)
    assert mutual > 0.0


def test_mutual_inductance_of_concentric_loops_is_flux_over_current() -> None:
    """A small loop in the middle of a large square links mu0 I 2 sqrt(2) / (pi a) times its area."""
    square = CurrentLoop(np.array([(-50.0, -50.0), (50.0, -50.0), (50.0, 50.0), (-50.0, 50.0)]))
    small = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5), (-0.5, -0.5)]
    found = mutual_inductance_h([square], small, depth_m=1e-3)
    assert found == pytest.approx(MU_0 * 2.0 * math.sqrt(2.0) / (math.pi * 100.0), rel=1e-3)


def test_a_narrow_loop_is_a_pair() -> None:
    length_m, spacing_m = 500.0, 0.05
    thin = CurrentLoop(np.array([(0.0, 0.0), (length_m, 0.0), (length_m, spacing_m), (0.0, spacing_m)]))
    expected = length_m * pair_inductance_h_per_m(spacing_m, radius_m=RADIUS_M)
    assert external_inductance_h([thin], radius_m=RADIUS_M) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("bend_deg", [0.0, 1e-9, 1e-6, 1e-4, 1e-2])
def test_nearly_parallel_stretches_are_stable(bend_deg: float) -> None:
    bend = math.radians(bend_deg)
    wire = Chain.of_lines([[(0.0, 0.0), (10.0, 0.0)]], currents=[1.0])
    line = [(0.0, 2.0), (10.0 * math.cos(bend), 2.0 + 10.0 * math.sin(bend))]
    straight = mutual_inductance_h(wire, [(0.0, 2.0), (10.0, 2.0)], depth_m=0.5)
    assert mutual_inductance_h(wire, line, depth_m=0.5) == pytest.approx(straight, rel=1e-7 + 2.0 * bend)
