"""What a walk test says about the reach: the setting under which the walked points lie on the predicted edge.

Each point where the receiver was first heard names a setting by itself, S = mu0 I / (2 pi |B|) there; how all of them
make one is in :mod:`parcelfence.service.walk_fit`.  Here it becomes a reach, and points that do not fit get a reason.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely.ops import substring

from parcelfence.errors import Fault, InputError
from parcelfence.lines import turn_angles
from parcelfence.service.walk_fit import fit_walk, heard_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.field.current import CurrentLoop, Receiver
    from parcelfence.service.walk_fit import WalkFit

__all__ = ["Calibration", "calibrate"]

_LEAST_POINTS: Final = 3
_MISTAKABLE: Final = 0.05
"""Share of the reach below which it does not matter what it is mistaken for: less than a step of most transmitters."""
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
    chance_m, common_m : float
        Standard errors of it: by what each point has by itself, and by what all points may have in common.
    fit : WalkFit
        What the points have in common, and what is left.
    outliers : ndarray of bool, shape (n,)
        Points that do not fit, and did not count.
    reasons : tuple of str
        Likely reason for each outlier; empty for points that fit.
    """

    reach_m: float
    chance_m: float
    common_m: float
    fit: WalkFit
    outliers: NDArray[np.bool_]
    reasons: tuple[str, ...]

    @property
    def uncertainty_m(self) -> float:
        """Standard error of the reach, by chance and by what is common."""
        return math.hypot(self.chance_m, self.common_m)

    @property
    def scale_m(self) -> float:
        """Typical error of a walked point by itself, on the ground."""
        return self.fit.scale_m

    @property
    def residuals_m(self) -> NDArray[np.float64]:
        """How much farther from the wire than predicted each point was heard; negative where nearer."""
        return self.fit.residuals_m

    @property
    def is_mistakable(self) -> bool:
        """Whether the walk cannot tell a farther reach from a shift of all points."""
        return self.common_m > max(self.chance_m, _MISTAKABLE * self.reach_m)


def calibrate(
    points_xy: ArrayLike,
    loops: Sequence[CurrentLoop],
    *,
    receiver: Receiver,
    point_accuracy_m: float = 0.15,
    common_accuracy_m: float = 0.0,
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
        Standard error of a point's position by itself.
    common_accuracy_m : float
        Standard error, each way, of what all positions may be off together; 0 for distances taped from the wire.

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
    usable = heard_at(points, loops, receiver=receiver)
    if usable.sum() < _LEAST_POINTS:
        raise InputError(
            Fault(
                where="walk test",
                found=f"{int(usable.sum())} of {len(points)} points lie where the receiver can hear the wire",
                must=f"at least {_LEAST_POINTS} are needed",
                remedy="Walk up to the wire at more places, away from corners, and check the coordinate system",
            )
        )
    fit = fit_walk(
        points, loops, receiver=receiver, point_accuracy_m=point_accuracy_m, common_accuracy_m=common_accuracy_m
    )
    outliers = ~(np.abs(fit.residuals_m) <= _OUTLIER_SCALES * fit.scale_m)
    reach_m = math.sqrt(max(fit.setting_m**2 - receiver.height_m**2, 0.0))
    per_m = fit.setting_m / reach_m if reach_m > 0.0 else math.inf
    reasons = _reasons(points - fit.shift_m, loops, residuals_m=fit.residuals_m, outliers=outliers, reach_m=reach_m)
    return Calibration(
        reach_m=reach_m,
        chance_m=fit.chance_m * per_m,
        common_m=fit.common_m * per_m if fit.common_m else 0.0,
        fit=fit,
        outliers=outliers,
        reasons=reasons,
    )


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
