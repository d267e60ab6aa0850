"""A walk test gives back the reach, and names what does not fit."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from parcelfence.errors import InputError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.zones import field_zones
from parcelfence.service.calibration import calibrate

YARD = CurrentLoop(np.array([(0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (30.0, 40.0), (30.0, 55.0), (0.0, 55.0)]))


def walked(reach_m: float, *, loop: CurrentLoop = YARD, seed: int = 0, noise_m: float = 0.0) -> np.ndarray:
    """Points on the inner edge of the signal, every 4 m, displaced at random."""
    (signal,) = field_zones([loop], Receiver(reach_m, 0.3), levels=[1.0])
    edge = signal.geoms[0].interiors[0]
    points = shapely.get_coordinates(edge.interpolate(np.arange(0.0, edge.length, 4.0)))
    return points + np.random.default_rng(seed).normal(0.0, 1.0, points.shape) * noise_m


def away_from_the_wire(points: np.ndarray) -> np.ndarray:
    nearest = shapely.get_coordinates(YARD.ring.interpolate(YARD.ring.project(shapely.points(points))))
    gap = points - nearest
    return gap / np.hypot(*gap.T)[:, None]


def test_exact_points_give_the_exact_reach() -> None:
    found = calibrate(walked(2.4), [YARD], receiver=Receiver(1.5, 0.3))
    assert found.reach_m == pytest.approx(2.4, abs=1e-3)
    assert not found.outliers.any()
    assert np.abs(found.residuals_m).max() < 2e-3


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("reach_m", [1.8, 2.4, 3.6])
def test_noise_and_gross_errors(seed: int, reach_m: float) -> None:
    points = walked(reach_m, seed=seed, noise_m=0.15)
    rng = np.random.default_rng(100 + seed)
    wrong = rng.choice(len(points), len(points) // 10, replace=False)
    points[wrong] += away_from_the_wire(points)[wrong] * rng.uniform(1.0, 2.5, (len(wrong), 1))
    found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3))
    assert found.reach_m == pytest.approx(reach_m, rel=0.03)
    assert abs(found.reach_m - reach_m) < 4.0 * found.uncertainty_m
    assert found.outliers[wrong].all()
    assert found.outliers.sum() <= len(wrong) + 2
    assert all(reason for reason, outlier in zip(found.reasons, found.outliers, strict=True) if outlier)
    assert not any(reason for reason, outlier in zip(found.reasons, found.outliers, strict=True) if not outlier)


def test_residual_tells_which_way() -> None:
    points = walked(2.4)
    beside = np.flatnonzero((points[:, 1] < 3.2) & (np.abs(points[:, 0] - 30.0) < 15.0))[:2]
    points[beside, 1] += [0.8, -0.8]  # the first farther from the southern run, the second nearer
    found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3))
    assert found.residuals_m[beside] == pytest.approx([0.8, -0.8], abs=0.15)


def test_reason_near_a_bend() -> None:
    points = walked(2.4)
    corner = np.hypot(*points.T).argmin()
    points[corner, 0] += 1.0
    found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3))
    assert "bend" in found.reasons[corner]


def test_reason_near_another_run() -> None:
    thin = CurrentLoop(np.array([(0.0, 0.0), (80.0, 0.0), (80.0, 4.2), (0.0, 4.2)]))
    points = walked(0.9, loop=thin)
    middle = np.hypot(points[:, 0] - 40.0, points[:, 1]).argmin()
    points[middle, 1] -= 0.7
    found = calibrate(points, [thin], receiver=Receiver(0.9, 0.3), point_accuracy_m=0.05)
    assert "another run" in found.reasons[middle]


def test_reason_for_weak_neighbours() -> None:
    points = walked(2.4)
    weak = np.flatnonzero((points[:, 1] < 3.2) & (np.abs(points[:, 0] - 30.0) < 9.0))
    points[weak, 1] -= 1.2
    found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3))
    assert [number for number, reason in enumerate(found.reasons) if "break" in reason] == weak.tolist()
    assert len(weak) >= 3


def test_too_few_points_are_refused() -> None:
    with pytest.raises(InputError, match="2 of 2 points"):
        calibrate(walked(2.4)[:2], [YARD], receiver=Receiver(2.0, 0.3))


@pytest.mark.parametrize("seed", range(4))
def test_a_shift_common_to_all_points_is_found_all_round_a_yard(seed: int) -> None:
    shift = np.array([1.6, -1.1])
    points = walked(2.4, seed=seed, noise_m=0.15) + shift
    found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3), common_accuracy_m=3.0)
    assert found.fit.shift_m == pytest.approx(shift, abs=0.2)
    assert found.fit.shift_is_sure
    assert not found.is_mistakable
    assert found.reach_m == pytest.approx(2.4, abs=0.1)
    assert found.scale_m == pytest.approx(0.15, abs=0.08)
    blind = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3))
    assert blind.scale_m > 3 * found.scale_m
    assert not blind.fit.shift_m.any()


def test_without_a_shift_none_is_found() -> None:
    sure = [
        calibrate(
            walked(2.4, seed=seed, noise_m=0.15), [YARD], receiver=Receiver(2.0, 0.3), common_accuracy_m=3.0
        ).fit.shift_is_sure
        for seed in range(12)
    ]
    assert sum(sure) <= 2


@pytest.mark.parametrize(("shift", "common_m"), [((0.0, 0.0), 1.0), ((0.0, 0.9), 1.0)])
def test_on_one_side_alone_a_shift_and_a_farther_reach_look_alike(shift: tuple[float, float], common_m: float) -> None:
    points = walked(2.4, noise_m=0.05)
    side = points[(points[:, 1] < 3.5) & (np.abs(points[:, 0] - 30.0) < 18.0)] + shift
    found = calibrate(side, [YARD], receiver=Receiver(2.0, 0.3), common_accuracy_m=common_m)
    assert found.is_mistakable
    assert found.common_m > 5 * found.chance_m
    assert abs(found.fit.mistaken_for[1]) > 0.95
    assert abs(found.reach_m - 2.4) < 2.5 * found.uncertainty_m
    taped = calibrate(side - shift, [YARD], receiver=Receiver(2.0, 0.3))
    assert taped.common_m == 0.0
    assert not taped.is_mistakable
    assert taped.reach_m == pytest.approx(2.4, abs=0.05)


def test_the_stated_uncertainty_is_that_of_many_walks() -> None:
    """By simulation: shift and chance drawn anew for each walk."""
    rng = np.random.default_rng(11)
    exact = walked(2.4)[::3]
    errors, stated = [], []
    for _ in range(60):
        points = exact + rng.normal(0.0, 0.2, exact.shape) + rng.normal(0.0, 0.8, 2)
        found = calibrate(points, [YARD], receiver=Receiver(2.0, 0.3), point_accuracy_m=0.2, common_accuracy_m=0.8)
        errors.append(found.reach_m - 2.4)
        stated.append(found.uncertainty_m)
    assert float(np.std(errors)) == pytest.approx(float(np.mean(stated)), rel=0.45)
