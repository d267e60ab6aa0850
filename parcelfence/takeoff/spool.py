"""Spools: where the wire of one ends and that of the next is joined on, clear of crossings, bends and hard surfaces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.lines import chainage, distinct, turn_angles

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely import LineString

    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Run

__all__ = ["CLEAR_M", "Pull", "SpoolEnd", "no_splice_stretches"]

CLEAR_M: Final = 0.5
"""Splices keep so far away from crossings, bends, hard surfaces, and the ends of a run."""
_BEND_WINDOW_M: Final = 0.5
_BEND_RAD: Final = np.radians(5.0)
"""Turning by more within the window is a bend: one of less than some 6 m of radius."""
_LEAST_M: Final = 1e-6

Stretches = list[tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class SpoolEnd:
    """End of a spool within a run.

    Parameters
    ----------
    along_m : float
        Distance along the run at which the next spool is joined on.
    moved_m : float
        How far that is before the place where the wire runs out.
    spool : int
        The spool that ends, from 1.
    """

    along_m: float
    moved_m: float
    spool: int


class Pull:
    """Wire being pulled off spools, one after the other.

    Parameters
    ----------
    spool_length_m : float
        Wire on each.
    """

    def __init__(self, *, spool_length_m: float) -> None:
        self.spool_length_m = spool_length_m
        self.spool = 1
        self.left_m = spool_length_m

    def strand(self, length_m: float, *, take_up: float, stretches: Stretches) -> list[SpoolEnd]:
        """Pull one conductor along a run.

        Parameters
        ----------
        length_m : float
            Length of the run along the ground.
        take_up : float
            Wire per length of ground.
        stretches : list of (float, float)
            Where no splice may lie, from :func:`no_splice_stretches`.

        Returns
        -------
        list of SpoolEnd
            A spool that ends too near the beginning of the run is left there: the run begins with the next one, whose
            joint is that of the run itself.
        """
        ends: list[SpoolEnd] = []
        at_m = 0.0
        while (length_m - at_m) * take_up > self.left_m + _LEAST_M:
            runs_out_m = at_m + self.left_m / take_up
            joined_m = _last_free(runs_out_m, stretches=stretches)
            if joined_m <= at_m:
                # a whole spool that is shorter than the stretch has no better place than its own end
                joined_m = runs_out_m if at_m > 0.0 or self.left_m == self.spool_length_m else 0.0
            if joined_m > 0.0:
                ends.append(SpoolEnd(along_m=joined_m, moved_m=runs_out_m - joined_m, spool=self.spool))
            at_m = joined_m
            self.spool, self.left_m = self.spool + 1, self.spool_length_m
        self.left_m -= (length_m - at_m) * take_up
        return ends


def no_splice_stretches(run: Run, *, crossings: Iterable[Crossing]) -> Stretches:
    """Stretches of a run, as distances along it, in which no splice may lie.

    Parameters
    ----------
    run : Run
        The run.
    crossings : iterable of Crossing
        All crossings of the wire; those of other runs are left out.

    Returns
    -------
    list of (float, float)
        Sorted, without overlaps: crossings with the tolerance zone or the hard surface, bends, and both ends, each with
        :data:`CLEAR_M` to spare.
    """
    found: Stretches = [(0.0, CLEAR_M), (run.line.length - CLEAR_M, run.line.length)]
    for crossing in crossings:
        if run.line.distance(crossing.point) < _BEND_WINDOW_M and crossing.twisted == run.twisted:
            at_m, reach_m = run.line.project(crossing.point), crossing.length_m / 2 + CLEAR_M
            # a crossing at the start of a closed run reaches over to its end
            over = (-run.line.length, 0.0, run.line.length) if run.line.is_closed else (0.0,)
            found += [(at_m + turn_m - reach_m, at_m + turn_m + reach_m) for turn_m in over]
    found += [(at_m - CLEAR_M, at_m + CLEAR_M) for at_m in _bends(run.line)]
    return _merged(found)


def _bends(line: LineString) -> NDArray[np.float64]:
    """Distances along a line of the vertices about which it turns."""
    xy = distinct(shapely.get_coordinates(line))
    steps = np.diff(xy, axis=0)
    at_m, turns = chainage(xy)[1:-1], turn_angles(steps[:-1], steps[1:])
    turned = np.concatenate([[0.0], np.cumsum(turns)])
    first = np.searchsorted(at_m, at_m - _BEND_WINDOW_M / 2)
    last = np.searchsorted(at_m, at_m + _BEND_WINDOW_M / 2, side="right")
    bends: NDArray[np.float64] = at_m[np.abs(turned[last] - turned[first]) > _BEND_RAD]
    return bends


def _merged(stretches: Stretches) -> Stretches:
    merged: Stretches = []
    for low, high in sorted(stretches):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def _last_free(along_m: float, *, stretches: Stretches) -> float:
    """Last place up to the given one that lies in no stretch."""
    for low, high in stretches:
        if low < along_m < high:
            return low
    return along_m
