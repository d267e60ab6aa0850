"""Facing runs: signal-carrying wire beside wire with the opposite current."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.rules.wire import LAYING_TOLERANCE_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.rules.wire import Stretch, Wire

__all__ = ["facing_stretches"]

_OPPOSITE: Final = -0.7
_STEP_M: Final = 0.75


def facing_stretches(wire: Wire, *, spacing_m: float, least_length_m: float) -> tuple[Stretch, ...]:
    """Find where wire faces wire with the opposite current.

    Parameters
    ----------
    wire : Wire
        Its single wires are looked at.
    spacing_m : float
        Distance below which two runs face each other.
    least_length_m : float
        Stretches shorter than this are passed over.

    Returns
    -------
    tuple of Stretch
        Of both runs that face each other; ``measured`` is the least distance between them.
    """
    pieces, apart_m = _facing(wire, least_m=spacing_m)
    found = wire.stretches(pieces, values=apart_m)
    return tuple(stretch for stretch in found if stretch.length_m >= least_length_m)


def _facing(wire: Wire, *, least_m: float) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Give the pieces that face one with the opposite current, and the distance between the two."""
    signal = np.flatnonzero(~wire.twisted)
    ends = shapely.get_coordinates(wire.pieces[signal]).reshape(-1, 2, 2)
    steps = ends[:, 1] - ends[:, 0]
    currents = np.array([run.current for run in wire.runs])[wire.run_of[signal]]
    flow = steps * (currents / np.hypot(*steps.T))[:, None]
    places = wire.run_of[signal] * 1e6 + wire.start_m[signal] // _STEP_M
    looked = np.unique(places, return_index=True)[1]
    own, other = _opposite(wire.pieces[signal], looked=looked, flow=flow, least_m=least_m)
    apart_m = shapely.distance(wire.pieces[signal[own]], wire.pieces[signal[other]])
    least = np.full(len(wire.pieces), np.inf)
    np.minimum.at(least, signal[own], apart_m)
    pieces = np.flatnonzero(least < least_m - LAYING_TOLERANCE_M)
    return pieces, least[pieces]


def _opposite(
    pieces: NDArray[np.object_], *, looked: NDArray[np.int64], flow: NDArray[np.float64], least_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pair pieces that lie beside each other with opposite currents."""
    ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2)
    low, high = ends[looked].min(axis=1) - least_m, ends[looked].max(axis=1) + least_m
    own, other = shapely.STRtree(pieces).query(shapely.box(*low.T, *high.T))
    own = looked[own]
    # most neighbours are those ahead and behind on the same run: the flow tells them apart before any distance
    opposite = np.einsum("ij,ij->i", flow[own], flow[other]) < _OPPOSITE
    own, other = own[opposite], other[opposite]
    # beside each other, not one ahead of the other: the line between the middles is square to the flow
    between = ends[other].mean(axis=1) - ends[own].mean(axis=1)
    ahead_m = np.abs(np.einsum("ij,ij->i", between, flow[own]))
    beside = ahead_m <= np.maximum(0.5 * np.hypot(*between.T), 0.5)
    return own[beside], other[beside]
