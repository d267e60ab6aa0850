"""The twisted pair of the lead-in: wire taken up by the twist, residual field, residual reach.

Sources: length of a helix (geometry); exterior series of a bifilar helix in modified Bessel functions, with the decay
and the 50 dB at 1.5 pitches of Moser and Spencer, "Predicting the magnetic fields from a twisted-pair cable", IEEE
Transactions on Electromagnetic Compatibility, 1968.  A second way: a direct sum over both helices.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.circuit.twisted_pair import lay_m, residual_flux_density, residual_reach_m, take_up_factor


@pytest.mark.parametrize(
    ("outer_diameter_mm", "twists_per_foot", "expected"),
    [
        pytest.param(2.0, 10.0, 1.0210260599263252, id="B5-takeup-od2p0-n10"),
        pytest.param(2.0, 12.0, 1.030141577488305, id="B5-takeup-od2p0-n12"),
        pytest.param(2.0, 6.0, 1.0076199270645274, id="B5-takeup-od2p0-n6"),
        pytest.param(2.0, 8.0, 1.0135069302334112, id="B5-takeup-od2p0-n8"),
        pytest.param(2.5, 10.0, 1.0326651010920995, id="B5-takeup-od2p5-n10"),
        pytest.param(2.5, 6.0, 1.0118809198541499, id="B5-takeup-od2p5-n6"),
        pytest.param(2.5, 8.0, 1.0210260599263252, id="B5-takeup-od2p5-n8"),
        pytest.param(3.2, 10.0, 1.0529886943954385, id="B5-takeup-od3p2-n10"),
        pytest.param(3.2, 6.0, 1.0193932845515805, id="B5-takeup-od3p2-n6"),
        pytest.param(4.0, 10.0, 1.0816546862075271, id="B5-takeup-od4p0-n10"),
        pytest.param(4.0, 12.0, 1.1156911215387408, id="B5-takeup-od4p0-n12"),
        pytest.param(4.0, 6.0, 1.030141577488305, id="B5-takeup-od4p0-n6"),
        pytest.param(4.0, 8.0, 1.0529886943954385, id="B5-takeup-od4p0-n8"),
    ],
)
def test_take_up(outer_diameter_mm: float, twists_per_foot: float, expected: float) -> None:
    found = take_up_factor(1e-3 * outer_diameter_mm, twists_per_foot=twists_per_foot)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("pitches", "spacing_over_pitch", "expected"),
    [
        pytest.param(1.0, 0.002, -27.455271728956966, id="A6-twist-db-1p0p"),
        pytest.param(1.5, 0.002, -49.863851328140534, id="A6-twist-db-1p5p"),
        pytest.param(2.0, 0.002, -73.60565968475045, id="A6-twist-db-2p0p"),
    ],
)
def test_field_below_that_of_an_untwisted_pair(pitches: float, spacing_over_pitch: float, expected: float) -> None:
    pitch_m = lay_m(10.0)
    distance_m, spacing_m = pitches * pitch_m, spacing_over_pitch * pitch_m
    untwisted = spacing_m / (distance_m**2 - spacing_m**2 / 4.0)
    twisted = residual_flux_density(distance_m, spacing_m=spacing_m, twists_per_foot=10.0)
    assert 20.0 * math.log10(twisted / untwisted) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("twists_per_foot", "spacing_mm", "distance_m", "expected"),
    [
        pytest.param(10.0, 2.0, 0.06096, 0.00011416604717112015, id="A6-twist-B-n10-d2p0-r2p0p"),
        pytest.param(10.0, 3.2, 0.03048, 0.15200015737695116, id="A6-twist-B-n10-d3p2-r1p0p"),
        pytest.param(10.0, 3.2, 0.06096, 0.00018718226942019095, id="A6-twist-B-n10-d3p2-r2p0p"),
        pytest.param(12.0, 2.5, 0.0254, 0.17017724564191108, id="A6-twist-B-n12-d2p5-r1p0p"),
        pytest.param(12.0, 2.5, 0.0508, 0.00020956662143573033, id="A6-twist-B-n12-d2p5-r2p0p"),
        pytest.param(11.0, 2.5, 0.05541818181818182, 0.0001751089172946228, id="A6-twist-B-n11-d2p5-r2p0p"),
        pytest.param(6.0, 3.2, 0.1016, 6.567832070432226e-05, id="A6-twist-B-n6-d3p2-r2p0p"),
    ],
)
def test_residual_field(twists_per_foot: float, spacing_mm: float, distance_m: float, expected: float) -> None:
    found = residual_flux_density(distance_m, spacing_m=1e-3 * spacing_mm, twists_per_foot=twists_per_foot)
    assert found == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("twists_per_foot", "spacing_mm", "w_m", "expected"),
    [
        pytest.param(10.0, 2.0, 1.0, 0.02026991187811404, id="A6-twist-reach-n10-d2p0-w1"),
        pytest.param(10.0, 2.0, 2.0, 0.02318088369746623, id="A6-twist-reach-n10-d2p0-w2"),
        pytest.param(10.0, 2.0, 3.66, 0.02576735189237899, id="A6-twist-reach-n10-d2p0-w3p66"),
        pytest.param(10.0, 3.2, 1.0, 0.022339600443386412, id="A6-twist-reach-n10-d3p2-w1"),
        pytest.param(10.0, 3.2, 3.66, 0.027910910335101624, id="A6-twist-reach-n10-d3p2-w3p66"),
        pytest.param(12.0, 2.5, 2.0, 0.021483820650931025, id="A6-twist-reach-n12-d2p5-w2"),
        pytest.param(12.0, 2.5, 3.66, 0.023669727236722192, id="A6-twist-reach-n12-d2p5-w3p66"),
        pytest.param(11.0, 2.5, 1.0, 0.020053198703363737, id="A6-twist-reach-n11-d2p5-w1"),
        pytest.param(11.0, 2.5, 3.66, 0.025109603950918095, id="A6-twist-reach-n11-d2p5-w3p66"),
        pytest.param(6.0, 3.2, 3.66, 0.038999001290773105, id="A6-twist-reach-n6-d3p2-w3p66"),
    ],
)
def test_residual_reach(twists_per_foot: float, spacing_mm: float, w_m: float, expected: float) -> None:
    found = residual_reach_m(w_m, spacing_m=1e-3 * spacing_mm, twists_per_foot=twists_per_foot)
    assert found == pytest.approx(expected, rel=1e-3)


def test_series_against_a_direct_sum_over_both_helices() -> None:
    spacing_m, twists_per_foot = 0.0025, 11.0
    pitch_m = lay_m(twists_per_foot)
    distance_m = 0.8 * pitch_m
    along = np.linspace(-300.0, 300.0, 600 * 200 + 1) * pitch_m
    turn = 2.0 * np.pi * along / pitch_m
    helix = np.column_stack([np.cos(turn), np.sin(turn)]) * spacing_m / 2.0
    largest = 0.0
    for phase in np.linspace(0.0, np.pi, 19):
        place = np.array([distance_m * np.cos(phase), distance_m * np.sin(phase), 0.0])
        total = np.zeros(3)
        for sign in (1.0, -1.0):
            wire = np.column_stack([sign * helix, along])
            step, gap = np.diff(wire, axis=0), place - (wire[1:] + wire[:-1]) / 2.0
            total += sign * (np.cross(step, gap) / np.linalg.norm(gap, axis=1)[:, None] ** 3).sum(axis=0) / 2.0
        largest = max(largest, float(np.linalg.norm(total)))
    found = residual_flux_density(distance_m, spacing_m=spacing_m, twists_per_foot=twists_per_foot)
    assert found == pytest.approx(largest, rel=1e-3)
