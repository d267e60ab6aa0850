"""A weak stretch is explained by the cause that made it; the walks are made with a field summed here, wire by wire."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, box

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.service.calibration import calibrate
from parcelfence.service.causes import Surroundings
from parcelfence.service.signal_trouble import SignalTrouble, explain_weak_signal

RECEIVER = Receiver(2.0, 0.35)
OUTER = np.array([(0, 0), (60, 0), (60, 40), (0, 40), (0, 0)], dtype=float)
WEAK = (22.0, 40.0)
"""Chainages, on the south side, between which something is wrong."""


def flux(place: np.ndarray, wires: list[tuple[np.ndarray, float, float]]) -> float:
    """Flux density in units of mu0 I / (2 pi), by the law of Biot and Savart for straight pieces at their depths."""
    total = np.zeros(3)
    for xy, current, depth_m in wires:
        for start, end in pairwise(xy):
            a = np.array([*(place - start), RECEIVER.height_m + depth_m])
            b = np.array([*(place - end), RECEIVER.height_m + depth_m])
            size_a, size_b = np.linalg.norm(a), np.linalg.norm(b)
            total += current / 2 * np.cross(a, b) * (size_a + size_b) / (size_a * size_b * (size_a * size_b + a @ b))
    return float(np.linalg.norm(total))


def first_heard(at_m: float, *, inside: bool, wires: list[tuple[np.ndarray, float, float]]) -> np.ndarray:
    """Walk up to the wire square to it, from far away."""
    ring = LineString(OUTER)
    foot, ahead = (shapely.get_coordinates(ring.interpolate(m))[0] for m in (at_m, at_m + 0.01))
    square = np.array([-(ahead - foot)[1], (ahead - foot)[0]]) / 0.01 * (1 if inside else -1)
    threshold = 1.0 / math.hypot(2.0, RECEIVER.height_m)
    away_m = next(m for m in np.arange(6.0, 0.0, -0.02) if flux(foot + square * m, wires) >= threshold)
    return foot + square * away_m


def walk(
    wires: list[tuple[np.ndarray, float, float]], *, sides: tuple[bool, ...] = (True,), seed: int = 3
) -> np.ndarray:
    """Take a point every three metres, away from corners, with an error of 5 cm."""
    places = [m for m in np.arange(4.0, 200.0, 3.0) if min(abs(m - c) for c in (0, 60, 100, 160, 200)) > 6]
    points = np.array([first_heard(m, inside=side, wires=wires) for side in sides for m in places])
    return points + np.random.default_rng(seed).normal(0.0, 0.05, points.shape)


def explained(
    points: np.ndarray, *, around: Surroundings | None = None, loops: tuple[np.ndarray, ...] = (OUTER,)
) -> tuple[SignalTrouble, ...]:
    drawn = [CurrentLoop(xy) for xy in loops]
    found = calibrate(points, drawn, receiver=RECEIVER, point_accuracy_m=0.05)
    return explain_weak_signal(points, drawn, receiver=RECEIVER, found=found, around=around or Surroundings())


def split(depth_m: float) -> list[tuple[np.ndarray, float, float]]:
    """Give the loop with the south side between the weak chainages so much deeper."""
    low, high = WEAK
    rest = np.array([(high, 0), (60, 0), (60, 40), (0, 40), (0, 0), (low, 0)], dtype=float)
    return [(np.array([(low, 0), (high, 0)], dtype=float), 1.0, depth_m), (rest, 1.0, 0.0)]


def test_a_sound_loop_has_no_trouble() -> None:
    assert explained(walk([(OUTER, 1.0, 0.0)])) == ()


def test_a_stretch_that_lies_farther_in_is_told_from_both_sides() -> None:
    low, high = WEAK
    moved = np.array(
        [(0, 0), (low, 0), (low, -1), (high, -1), (high, 0), (60, 0), (60, 40), (0, 40), (0, 0)], dtype=float
    )
    (trouble,) = explained(walk([(moved, 1.0, 0.0)], sides=(True, False)))
    assert trouble.causes[0].kind == "aside"
    assert trouble.causes[0].size == pytest.approx(-1.0, abs=0.41)
    assert low - 3 <= trouble.start_m + RECEIVER.reach_m <= low + 3
    assert high - 3 <= trouble.end_m - RECEIVER.reach_m <= high + 3


def test_from_one_side_alone_causes_cannot_be_told_apart_and_a_check_is_named() -> None:
    (trouble,) = explained(walk(split(0.55)))
    assert not trouble.clear
    assert {"deeper", "aside"} <= {cause.kind for cause in trouble.causes[:4]}
    assert trouble.check is not None
    assert abs(trouble.check.reaches_m[0] - trouble.check.reaches_m[1]) > 0.2


def test_a_known_fence_is_named_before_unknown_ones_of_the_same_effect() -> None:
    fence = np.array([(20.0, 1.0), (42.0, 1.0)])
    far = np.array([(42.0, -66.0), (20.0, -66.0)])
    circuit = np.vstack([fence, far, fence[:1]])
    wires = [(OUTER, 1.0, 0.0), (circuit, -0.5, 0.0)]
    around = Surroundings(metal=(("wire fence", LineString(fence)), ("gate", box(200, 0, 201, 1))))
    trouble = explained(walk(wires, sides=(True, False)), around=around)[0]
    metal = [cause for cause in trouble.causes if cause.kind in {"metal", "unknown-metal"}]
    assert trouble.causes[0].kind in {"metal", "unknown-metal"}
    assert "wire fence" in {cause.about for cause in metal[:2]}
    assert not any(cause.about == "gate" for cause in trouble.causes)


def test_an_inner_loop_whose_current_is_bypassed_is_named() -> None:
    inner = np.array([(30, 20), (30, 30), (45, 30), (45, 20), (30, 20)], dtype=float)
    wires = [(OUTER, 1.0, 0.0), (inner, 0.4, 0.0)]
    outer_points = walk(wires)
    threshold = 1.0 / math.hypot(2.0, RECEIVER.height_m)
    rows = []
    for start, step in (
        ((33.0, 30.0), (0, 1)),
        ((37.0, 30.0), (0, 1)),
        ((41.0, 30.0), (0, 1)),
        ((37.0, 20.0), (0, -1)),
    ):
        foot, out = np.array(start), np.array(step, dtype=float)
        away_m = next(m for m in np.arange(6.0, 0.0, -0.02) if flux(foot + out * m, wires) >= threshold)
        rows.append(foot + out * away_m)
    troubles = explained(np.vstack([outer_points, rows]), loops=(OUTER, inner))
    trouble = next(one for one in troubles if one.loop == 1)
    assert trouble.causes[0].kind == "bypassed-loop"
    assert trouble.causes[0].size == pytest.approx(0.6, abs=0.15)


def test_probabilities_sum_to_one_and_stand_in_order() -> None:
    (trouble,) = explained(walk(split(0.55)))
    probabilities = [cause.probability for cause in trouble.causes]
    assert sum(probabilities) == pytest.approx(1.0)
    assert probabilities == sorted(probabilities, reverse=True)
    assert trouble.shortfall_m > 0.15
    assert next(cause.probability for cause in trouble.causes if cause.kind == "mistaken") < 0.01
