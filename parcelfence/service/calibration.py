"""What a walk test says about the reach: the setting under which the walked points lie on the predicted edge.

Each point where the receiver was first heard names a setting by itself, S = mu0 I / (2 pi |B|) there.  The best
setting is their robust mean, weighted by how finely each point resolves it: a point displaced by e changes S by
e |grad S|, so its residual in metres on the ground is (S - best) / |grad S|.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely.ops import substring

from parcelfence.errors import Fault, InputError
from parcelfence.field.flux import inverse_field
from parcelfence.lines import turn_angles

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["Calibration", "calibrate"]

_LEAST_POINTS: Final = 3
_TUKEY: Final = 4.685  # 95 % efficient for normal errors (Beaton and Tukey 1974, from memory)
_OUTLIER_SCALES: Final = 3.0
_BEND: Final = math.radians(30.0)
# Distances in reaches: from a bend along the wire, to another run, and along the wire to what is another run.
_NEAR_BEND: Final = 2.5
_NEAR_RUN: Final = 4.0
_SAME_RUN: Final = 4.0
_BROKEN_IN_A_ROW: Final = 3


@dataclass(frozen=True, eq=False)
class Calibration:
    """The reach that a walk test reveals.

    Parameters
    ----------
    reach_m : float
        Best-fitting reach beside a long straight wire, for the receiver's height.
    uncertainty_m : float
        Standard error of it.
    scale_m : float
        Typical error of a walked point, on the ground.
    residuals_m : ndarray, shape (n,)
        How much farther from the wire than predicted the receiver was heard, on the ground; negative where nearer.
    outliers : ndarray of bool, shape (n,)
        Points that do not fit, and did not count.
    reasons : tuple of str
        Likely reason for each outlier; empty for points that fit.
    """

    reach_m: float
    uncertainty_m: float
    scale_m: float
    residuals_m: NDArray[np.float64]
    outliers: NDArray[np.bool_]
    reasons: tuple[str, ...]


def calibrate(
    points_xy: ArrayLike, loops: Sequence[CurrentLoop], *, receiver: Receiver, point_accuracy_m: float = 0.15
) -> Calibration:
    """Fit the reach to walked points.

    Parameters
    ----------
    points_xy : array_like, shape (n, 2)
        Where the receiver was first heard, in metres, in the order walked.
    loops : sequence of CurrentLoop
        The wires as they lie in the ground.
    receiver : Receiver
        Gives the height; its reach only says how far bends and other runs matter.
    point_accuracy_m : float
        Standard error of a point's position.

    Returns
    -------
    Calibration
        The reach with its uncertainty, and the points that do not fit.

    Raises
    ------
    InputError
        If fewer than three points have a field that can be heard.
    """
    points = np.asarray(points_xy, dtype=np.float64).reshape(-1, 2)
    inverse, gradient = inverse_field(points, loops, receiver=receiver)
    settings_m, slopes = inverse * receiver.slant_m, np.hypot(*gradient.T) * receiver.slant_m
    usable = np.isfinite(settings_m) & (slopes > 0.0) & (settings_m > receiver.height_m)
    if usable.sum() < _LEAST_POINTS:
        raise InputError(
            Fault(
                where="walk test",
                found=f"{int(usable.sum())} of {len(points)} points lie where the receiver can hear the wire",
                must=f"at least {_LEAST_POINTS} are needed",
                remedy="Walk up to the wire at more places, away from corners, and check the coordinate system",
            )
        )
    best_m, scale_m, weights = _robust_mean(settings_m[usable], slopes[usable], least_scale_m=point_accuracy_m)
    with np.errstate(all="ignore"):
        residuals_m = np.where(usable, (settings_m - best_m) / slopes, np.nan)
    outliers = ~(np.abs(residuals_m) <= _OUTLIER_SCALES * scale_m)
    reach_m = math.sqrt(max(best_m**2 - receiver.height_m**2, 0.0))
    error_m = scale_m / math.sqrt((weights / slopes[usable] ** 2).sum())
    return Calibration(
        reach_m=reach_m,
        uncertainty_m=error_m * best_m / reach_m if reach_m > 0.0 else math.inf,
        scale_m=scale_m,
        residuals_m=residuals_m,
        outliers=outliers,
        reasons=_reasons(points, loops, residuals_m=residuals_m, outliers=outliers, reach_m=reach_m),
    )


def _robust_mean(
    settings_m: NDArray[np.float64], slopes: NDArray[np.float64], *, least_scale_m: float
) -> tuple[float, float, NDArray[np.float64]]:
    """Iterate a weighted mean with Tukey's weights, from the weighted median; also give the scale of a residual."""
    order = np.argsort(settings_m)
    share = np.cumsum((1.0 / slopes)[order])
    best_m = float(settings_m[order][np.searchsorted(share, share[-1] / 2.0)])
    scale_m, weights = least_scale_m, np.ones(len(settings_m))
    for _ in range(50):
        residuals_m = (settings_m - best_m) / slopes
        scale_m = max(1.4826 * float(np.median(np.abs(residuals_m))), least_scale_m / 3.0)
        weights = np.clip(1.0 - (residuals_m / (_TUKEY * scale_m)) ** 2, 0.0, None) ** 2
        fresh_m = float((weights / slopes**2 * settings_m).sum() / (weights / slopes**2).sum())
        if abs(fresh_m - best_m) < 1e-9:  # noqa: PLR2004  (a nanometre)
            break
        best_m = fresh_m
    return best_m, scale_m, weights


def _reasons(
    points: NDArray[np.float64],
    loops: Sequence[CurrentLoop],
    *,
    residuals_m: NDArray[np.float64],
    outliers: NDArray[np.bool_],
    reach_m: float,
) -> tuple[str, ...]:
    """Name the likely reason of each outlier; points heard too near in a row point at the wire itself."""
    weak = outliers & (residuals_m < 0.0)
    rows = np.array([weak[first : first + _BROKEN_IN_A_ROW].all() for first in range(len(weak) - _BROKEN_IN_A_ROW + 1)])
    in_a_row = np.convolve(rows, np.ones(_BROKEN_IN_A_ROW)) > 0.0
    return tuple(
        ""
        if not outliers[number]
        else "several neighbours are weak too: a break, a poor splice or a slack wire is suspected here"
        if in_a_row[number]
        else _surroundings(point, loops, reach_m=reach_m)
        for number, point in enumerate(points)
    )


def _surroundings(point: NDArray[np.float64], loops: Sequence[CurrentLoop], *, reach_m: float) -> str:
    """Look for a bend or another run of wire near a point."""
    place = shapely.Point(point)
    nearest = min(loops, key=lambda loop: loop.ring.distance(place))
    station_m, total_m = nearest.ring.project(place), nearest.length_m
    steps = np.diff(nearest.closed_coordinates, axis=0)
    vertex_m = np.concatenate([[0.0], np.cumsum(np.hypot(*steps.T))[:-1]])
    along_m = np.abs((vertex_m - station_m + total_m / 2.0) % total_m - total_m / 2.0)
    before = np.roll(steps, 1, axis=0)
    turns = turn_angles(before, steps)
    if np.abs(turns[along_m < _NEAR_BEND * reach_m]).sum() > _BEND:
        return "near a bend, where the reach changes quickly: mark the point anew on a straight run"
    others: list[BaseGeometry] = [loop.ring for loop in loops if loop is not nearest]
    if total_m > 4.0 * _SAME_RUN * reach_m:
        start_m, end_m = station_m + _SAME_RUN * reach_m, station_m - _SAME_RUN * reach_m + total_m
        twice = shapely.LineString(np.vstack([nearest.closed_coordinates, nearest.closed_coordinates[1:]]))
        others.append(substring(twice, start_m, end_m))
    if min((run.distance(place) for run in others), default=math.inf) < _NEAR_RUN * reach_m:
        return "near another run of wire, which strengthens or weakens the signal: check the wire as laid"
    return "no bend and no other run near: a mistaken point, metal, or a wire that lies elsewhere"
