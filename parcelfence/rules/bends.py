"""How tightly a drawn line bends, whatever chords it was drawn with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.lines import chainage, distinct, turn_angles

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import LineString

__all__ = ["DRAWING_TOLERANCE_M", "bend_radii"]

DRAWING_TOLERANCE_M: Final = 0.02
"""A vertex counts as the arc that stays within this distance of it: nobody lays a wire closer to its drawing."""
_ROUNDING_M: Final = 0.003
"""Vertices that matter less come from rounded coordinates."""


def bend_radii(line: LineString, *, window_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Measure the radius of the bends of a line.

    The turn at each vertex is spread over the tangent lengths of the arc that replaces it: at most
    e cot(d / 4) each side for a deflection d and a drawing tolerance e, at most half of the adjoining segments.
    The radius is the window divided by the net turn within it, so that chords of an arc give the radius of the arc
    and a sharp corner gives one that grows with the window.

    Parameters
    ----------
    line : LineString
        Closed lines are followed over their start.
    window_m : float
        Length over which the turn is taken; a quarter of the least radius asked for is right.

    Returns
    -------
    stations : ndarray, shape (n,)
        Middles of the windows with the tightest bends, in metres along the line.
    radii : ndarray, shape (n,)
        Radius at each, in metres; infinite where it is straight.
    """
    xy = shapely.get_coordinates(shapely.simplify(line, _ROUNDING_M))
    xy = distinct(xy)
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(*steps.T)
    at_m = chainage(xy)
    if line.is_closed:
        before, after, stations = np.roll(np.arange(len(steps)), 1), np.arange(len(steps)), at_m[:-1]
    else:
        before, after, stations = np.arange(len(steps) - 1), np.arange(1, len(steps)), at_m[1:-1]
    if not len(stations):
        return np.empty(0), np.empty(0)
    turns = turn_angles(steps[before], steps[after])
    with np.errstate(divide="ignore"):
        tangent_m = DRAWING_TOLERANCE_M / np.tan(np.abs(turns) / 4)
    start_m = stations - np.minimum(tangent_m, lengths[before] / 2)
    end_m = stations + np.minimum(tangent_m, lengths[after] / 2)
    if line.is_closed:
        total_m = at_m[-1]
        near = (stations < window_m * 4) | (stations > total_m - window_m * 4)
        shift_m = np.where(stations[near] < total_m / 2, total_m, -total_m)
        start_m, end_m = np.append(start_m, start_m[near] + shift_m), np.append(end_m, end_m[near] + shift_m)
        turns = np.append(turns, turns[near])
    return _windowed(start_m, end_m, turns=turns, window_m=window_m)


def _windowed(
    start_m: NDArray[np.float64], end_m: NDArray[np.float64], *, turns: NDArray[np.float64], window_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Net turn within windows that begin or end where a spread turn does; the turn grows evenly along each spread."""
    order = np.argsort(start_m)
    start_m, end_m, turns = start_m[order], end_m[order], turns[order]
    # spreads do not overlap but may touch: one breakpoint list with the summed turn at each
    breaks = np.column_stack([start_m, np.maximum(end_m, start_m + 1e-9)]).ravel()
    summed = np.column_stack([np.cumsum(turns) - turns, np.cumsum(turns)]).ravel()
    begins = np.unique(np.concatenate([breaks, breaks - window_m]))
    turned = np.interp(begins + window_m, breaks, summed) - np.interp(begins, breaks, summed)
    with np.errstate(divide="ignore"):
        return begins + window_m / 2, window_m / np.abs(turned)
