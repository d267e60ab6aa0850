"""A walk test parted into what all its points have in common and what each has by chance.

A point p with the true place p - o - e (o the shift common to all points, as of a satellite receiver on one day, e its
own error) names the setting S(p).  To first order S(p - o) = best + |grad S| e_n, with e_n the part of e square to the
edge of the signal, so that S / |grad S| = best / |grad S| + n . o + e_n is linear in best and o.  A shift is told from
a farther reach by points on other sides of the wire alone: there n has another sign.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.field.flux import inverse_field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["WalkFit", "fit_walk", "heard_at"]

_TUKEY: Final = 4.685
"""95 % efficient for normal errors (Beaton and Tukey 1974, from memory)."""
_NORMAL: Final = 1.4826
"""Standard deviation of normal errors by their median absolute value."""
_ROUNDS: Final = 50
_SHIFT_ROUNDS: Final = 8
_SETTLED_M: Final = 1e-6
_EXACT_M: Final = 1e-9
_SURE: Final = 9.21
"""Square of a shift in standard errors beyond which it is no chance: chi square of two, 99 %."""


@dataclass(frozen=True, eq=False)
class WalkFit:
    """The setting under which walked points lie on the edge of the signal, and how the uncertainty of it comes about.

    Parameters
    ----------
    setting_m : float
        Best slant distance.
    scale_m : float
        Typical error of a point by itself.
    residuals_m : ndarray, shape (n,)
        What is left at each point, on the ground; nan where the wire cannot be heard.
    usable : ndarray of bool, shape (n,)
        Points at which it can.
    chance_m : float
        Standard error of the setting by what each point has by itself.
    common_m : float
        Standard error of it by what all points may have in common.
    shift_m : ndarray, shape (2,)
        Shift to the east and north that all points have in common; zero where none was looked for.
    shift_covariance_m2 : ndarray, shape (2, 2)
        Its covariance.
    mistaken_for : ndarray, shape (2,)
        Direction of the shift that is least told from a farther reach, as a unit vector; zero without one.
    """

    setting_m: float
    scale_m: float
    residuals_m: NDArray[np.float64]
    usable: NDArray[np.bool_]
    chance_m: float
    common_m: float
    shift_m: NDArray[np.float64]
    shift_covariance_m2: NDArray[np.float64]
    mistaken_for: NDArray[np.float64]

    @property
    def shift_is_sure(self) -> bool:
        """Whether the shift is more than chance."""
        if not self.shift_m.any():
            return False
        return float(self.shift_m @ np.linalg.solve(self.shift_covariance_m2, self.shift_m)) > _SURE

    @property
    def uncertainty_m(self) -> float:
        """Standard error of the setting by both."""
        return math.hypot(self.chance_m, self.common_m)


def fit_walk(
    points: NDArray[np.float64],
    loops: Sequence[CurrentLoop],
    *,
    receiver: Receiver,
    point_accuracy_m: float,
    common_accuracy_m: float,
) -> WalkFit:
    """Fit setting and common shift to walked points.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Where the receiver was first heard, in metres.
    loops : sequence of CurrentLoop
        The wires.
    receiver : Receiver
        Gives the height.
    point_accuracy_m : float
        Standard error of a point by itself, as far as known.
    common_accuracy_m : float
        Standard error, each way, of what all points may be off together; 0 where they cannot be.

    Returns
    -------
    WalkFit
        With a shift of zero where none can be.
    """
    shift_m, best_m = np.zeros(2), math.nan
    for _ in range(_SHIFT_ROUNDS):
        heard = _heard(points - shift_m, loops, receiver=receiver)
        fit = _robust(heard, start_m=best_m, shift_m=shift_m, least_m=point_accuracy_m, common_m=common_accuracy_m)
        step_m = fit.solution[1:]
        size_m = float(np.hypot(*step_m))
        limit_m = receiver.slant_m  # the field is no longer linear beyond
        shift_m += step_m * min(1.0, limit_m / size_m if size_m else 1.0)
        best_m = float(fit.solution[0])
        if size_m < _SETTLED_M:
            break
    return _parted(fit, heard, best_m=best_m, shift_m=shift_m)


def heard_at(points: NDArray[np.float64], loops: Sequence[CurrentLoop], *, receiver: Receiver) -> NDArray[np.bool_]:
    """Tell at which points, (n, 2), the wire can be heard at some setting; (n,)."""
    return _heard(points, loops, receiver=receiver).usable


@dataclass(frozen=True, eq=False)
class _Heard:
    """What the usable points name: setting, slope of the setting across the ground, and its direction."""

    usable: NDArray[np.bool_]
    settings_m: NDArray[np.float64]
    slopes: NDArray[np.float64]
    directions: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Fit:
    solution: NDArray[np.float64]
    normal: NDArray[np.float64]
    scale_m: float
    shifted: bool


def _heard(points: NDArray[np.float64], loops: Sequence[CurrentLoop], *, receiver: Receiver) -> _Heard:
    inverse, gradient = inverse_field(points, loops, receiver=receiver)
    settings_m, slopes = inverse * receiver.slant_m, np.hypot(*gradient.T) * receiver.slant_m
    usable = np.isfinite(settings_m) & (slopes > 0.0) & (settings_m > receiver.height_m)
    with np.errstate(all="ignore"):
        directions = gradient * receiver.slant_m / slopes[:, None]
    return _Heard(usable, settings_m, slopes, directions)


def _robust(heard: _Heard, *, start_m: float, shift_m: NDArray[np.float64], least_m: float, common_m: float) -> _Fit:
    """Iterate a weighted least-squares fit with Tukey's weights, from the weighted median or an earlier fit."""
    slopes, settings_m = heard.slopes[heard.usable], heard.settings_m[heard.usable]
    design = np.column_stack([1.0 / slopes, heard.directions[heard.usable]])
    named = settings_m / slopes
    solution = np.array([_median(settings_m, 1.0 / slopes) if math.isnan(start_m) else start_m, 0.0, 0.0])
    prior = np.diag([0.0, 1.0, 1.0]) / common_m**2 if common_m else None
    for _ in range(_ROUNDS):
        residuals_m = named - design @ solution
        scale_m = max(_NORMAL * float(np.median(np.abs(residuals_m))), least_m / 3.0)
        weights = np.clip(1.0 - (residuals_m / (_TUKEY * scale_m)) ** 2, 0.0, None) ** 2 / scale_m**2
        normal = design.T @ (weights[:, None] * design)
        right = design.T @ (weights * named)
        fresh = np.zeros(3)
        if prior is None:
            fresh[0] = right[0] / normal[0, 0]
        else:
            normal += prior
            fresh = np.linalg.solve(normal, right - prior @ np.array([0.0, *shift_m]))
        moved_m = float(np.abs(fresh - solution).max())
        solution = fresh
        if moved_m < _EXACT_M:
            break
    return _Fit(solution=solution, normal=normal, scale_m=scale_m, shifted=prior is not None)


def _median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(share, share[-1] / 2.0)])


def _parted(fit: _Fit, heard: _Heard, *, best_m: float, shift_m: NDArray[np.float64]) -> WalkFit:
    """Part the uncertainty of the setting into chance and what is common to all points."""
    chance_m = 1.0 / math.sqrt(fit.normal[0, 0])
    with np.errstate(all="ignore"):
        residuals_m = np.where(heard.usable, (heard.settings_m - best_m) / heard.slopes, np.nan)
    covariance: NDArray[np.float64] = np.zeros((3, 3))
    if fit.shifted:
        covariance[:] = np.linalg.inv(fit.normal)
    together = covariance[0, 1:]
    size = float(np.hypot(*together))
    return WalkFit(
        setting_m=best_m,
        scale_m=fit.scale_m,
        residuals_m=residuals_m,
        usable=heard.usable,
        chance_m=chance_m,
        common_m=math.sqrt(max(covariance[0, 0] - chance_m**2, 0.0)) if fit.shifted else 0.0,
        shift_m=shift_m,
        shift_covariance_m2=covariance[1:, 1:],
        mistaken_for=together / size if size else np.zeros(2),
    )
