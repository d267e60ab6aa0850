"""Contours as smooth as they are: more vertices where they curve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.field.contour import Rings
from parcelfence.field.flux import inverse_field
from parcelfence.lines import turn_angles

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.field.current import Chain, Receiver

__all__ = ["curved_rings"]

_ROUNDS: Final = 6
_MOST_PARTS: Final = 12
_LEAST_RADIUS_M: Final = 0.06  # edges are not parted finer than so tight a curve would need
_SHORT_STEP: Final = 0.002


def curved_rings(rings: Rings, chain: Chain, *, receiver: Receiver, tolerance_m: float) -> Rings:
    """Part the edges of rings, with the new vertices on the contour, until no edge strays from it.

    Parameters
    ----------
    rings : Rings
        Rings whose vertices lie on their contours.
    chain : Chain
        All wires.
    receiver : Receiver
        Reach and height.
    tolerance_m : float
        Greatest distance of an edge's middle from the contour.

    Returns
    -------
    Rings
        The old vertices with new ones between.
    """
    shortest_m = np.sqrt(8.0 * _LEAST_RADIUS_M * tolerance_m)
    pending = np.ones(len(rings.points), dtype=bool)
    for turn in range(_ROUNDS):
        bulge_m, length_m, following = _bulges(rings)
        parts = np.ceil(np.sqrt(bulge_m / tolerance_m)).astype(np.intp)
        parts = np.minimum(parts, np.minimum(_MOST_PARTS, length_m / shortest_m).astype(np.intp))
        chosen = np.flatnonzero(pending & (parts > 1))
        if not len(chosen):
            break
        # The first round trusts the estimated bend; the others halve, and look before they insert.
        edge, share = _parted(chosen, parts[chosen] if turn == 0 else np.full(len(chosen), 2))
        along = rings.points[following[edge]] - rings.points[edge]
        off_m, fresh = _onto_contour(
            rings.points[edge] + along * share[:, None],
            chain,
            along=along,
            receiver=receiver,
            levels=rings.levels[edge],
        )
        wanted = np.abs(off_m) > (0.0 if turn == 0 else tolerance_m)
        rings, pending = _with_new(rings, edge=edge[wanted], fresh=fresh[wanted])
    return rings


def _parted(edges: NDArray[np.intp], parts: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Repeat each edge for each of the points that part it, with the share of the edge at which the point lies."""
    number = parts - 1
    order = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number) + 1
    return np.repeat(edges, number), order / np.repeat(parts, number)


def _bulges(rings: Rings) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.intp]]:
    """Estimate how far the curve bulges from each edge, by how the ring turns at the edge's two ends."""
    following, preceding = np.arange(1, len(rings.points) + 1), np.arange(-1, len(rings.points) - 1)
    ends = np.cumsum(rings.sizes)
    following[ends - 1], preceding[ends - rings.sizes] = ends - rings.sizes, ends - 1
    edges = rings.points[following] - rings.points
    length_m, before = np.hypot(*edges.T), edges[preceding]
    turn = np.abs(turn_angles(before, edges))
    bend = 2.0 * turn / (length_m + length_m[preceding])
    return np.maximum(bend, bend[following]) * length_m**2 / 8.0, length_m, following


def _onto_contour(
    points: NDArray[np.float64],
    chain: Chain,
    *,
    along: NDArray[np.float64],
    receiver: Receiver,
    levels: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Move points square to `along` onto their contours; tell how far the first of two Newton steps went.

    No step is longer than a quarter of `along`; the second is left out where the first was short.
    """
    length_m = np.hypot(*along.T)
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / length_m[:, None]
    off_m, moved, active = np.zeros(len(points)), points.copy(), np.arange(len(points))
    for turn in range(2):
        inverse, gradient = inverse_field(moved[active], chain, receiver=receiver)
        with np.errstate(all="ignore"):
            step_m = (1.0 / levels[active] - inverse) / np.einsum("ij,ij->i", gradient, normal[active])
        longest_m = length_m[active] / 4.0
        step_m = np.clip(np.nan_to_num(step_m, nan=0.0, posinf=0.0, neginf=0.0), -longest_m, longest_m)
        moved[active] += step_m[:, None] * normal[active]
        if turn == 0:
            off_m, active = step_m, np.flatnonzero(np.abs(step_m) > _SHORT_STEP * length_m)
    return off_m, moved


def _with_new(rings: Rings, *, edge: NDArray[np.intp], fresh: NDArray[np.float64]) -> tuple[Rings, NDArray[np.bool_]]:
    """Insert vertices after those numbered `edge`; tell which edges are new."""
    levels = np.insert(rings.levels, edge + 1, rings.levels[edge])
    ring = np.repeat(np.arange(len(rings.sizes)), rings.sizes)
    sizes = rings.sizes + np.bincount(ring[edge], minlength=len(rings.sizes))
    points = np.insert(rings.points, edge + 1, fresh, axis=0)
    split = np.zeros(len(rings.points), dtype=bool)
    split[edge] = True
    pending = np.insert(split, edge + 1, values=True)
    return Rings(points=points, levels=levels, sizes=sizes), pending
