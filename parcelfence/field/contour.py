"""Lines of equal field: exact, closed, and without a seam.

Marching squares on the sampled cells gives the topology; every vertex is then brought onto the contour along its
own edge of the lattice, so that lines can neither cross nor open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.field.flux import normalised_field
from parcelfence.field.roots import bracketed_zeros

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.field.cells import Lattice
    from parcelfence.field.current import Chain, Receiver

__all__ = ["Rings", "contour_rings"]


# Edges of a cell: its south and north edges are named by their western node, west and east by their southern one.
_SOUTH, _EAST, _NORTH, _WEST = 0, 1, 2, 3
_EDGE_NODE: Final = np.array([0, 1, 3, 0])
_EDGE_UPRIGHT: Final = np.array([0, 1, 0, 1])

# For each pattern of corners inside (1 south-west, 2 south-east, 4 north-east, 8 north-west): the edges where a line
# with the inside on its left enters and leaves.  Saddles, 5 and 10, are settled by the field at the centre.
_LINES: Final = {
    1: [(_SOUTH, _WEST)], 2: [(_EAST, _SOUTH)], 4: [(_NORTH, _EAST)], 8: [(_WEST, _NORTH)],
    3: [(_EAST, _WEST)], 6: [(_NORTH, _SOUTH)], 12: [(_WEST, _EAST)], 9: [(_SOUTH, _NORTH)],
    14: [(_WEST, _SOUTH)], 13: [(_SOUTH, _EAST)], 11: [(_EAST, _NORTH)], 7: [(_NORTH, _WEST)],
    5: [(_SOUTH, _WEST), (_NORTH, _EAST)], 10: [(_EAST, _SOUTH), (_WEST, _NORTH)],
    5 + 16: [(_SOUTH, _EAST), (_NORTH, _WEST)], 10 + 16: [(_WEST, _SOUTH), (_EAST, _NORTH)],
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Rings:
    """Closed contour lines, one after the other.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Vertices in metres; each ring is an open list with the higher field on its left, so that outlines run
        anticlockwise and holes clockwise.
    levels : ndarray, shape (n,)
        Value of f at each vertex.
    sizes : ndarray of int, shape (k,)
        Number of vertices of each ring.
    """

    points: NDArray[np.float64]
    levels: NDArray[np.float64]
    sizes: NDArray[np.intp]

    def of_level(self, level: float) -> list[NDArray[np.float64]]:
        """Vertices of each ring of one level."""
        ends = np.cumsum(self.sizes)
        starts = ends - self.sizes
        chosen = np.flatnonzero(self.levels[starts] == level)
        return [self.points[starts[ring] : ends[ring]] for ring in chosen]


def contour_rings(
    lattice: Lattice, chain: Chain, *, receiver: Receiver, levels: Sequence[float], tolerance_m: float
) -> Rings:
    """Trace the contours of some levels.

    Parameters
    ----------
    lattice : Lattice
        Sampled cells that hold all of the contours.
    chain : Chain
        All wires.
    receiver : Receiver
        Reach and height.
    levels : sequence of float
        Values of the normalised field.
    tolerance_m : float
        How close to the contour the vertices are brought, along the edges of the lattice on which they lie.

    Returns
    -------
    Rings
        Rings that neither cross nor touch each other.
    """
    edges, sizes, values = [np.empty(0, dtype=np.intp)], [np.empty(0, dtype=np.intp)], [np.empty(0)]
    for level in levels:
        starts, ends = _crossings(lattice, chain, receiver=receiver, level=level)
        crossed, following = np.unique(starts), np.empty(len(starts), dtype=np.intp)
        following[np.searchsorted(crossed, starts)] = np.searchsorted(crossed, ends)
        cycles = _cycles(following.tolist())
        edges += [crossed[cycle] for cycle in cycles]
        sizes.append(np.array([len(cycle) for cycle in cycles], dtype=np.intp))
        values.append(np.full(len(crossed), level))
    crossed, at = np.concatenate(edges), np.concatenate(values)
    points = _on_edges(crossed, chain, lattice=lattice, receiver=receiver, levels=at, tolerance_m=tolerance_m)
    return Rings(points=points, levels=at, sizes=np.concatenate(sizes))


def _crossings(
    lattice: Lattice, chain: Chain, *, receiver: Receiver, level: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Edges where the contour enters and leaves each cell, as numbers 2 node + (0 eastward, 1 northward)."""
    inside = lattice.field >= level
    pattern = inside[lattice.cells] @ np.array([1, 2, 4, 8])
    saddles = np.flatnonzero((pattern == 5) | (pattern == 10))  # noqa: PLR2004  (the two patterns of a saddle)
    if len(saddles):
        centres = lattice.nodes[lattice.cells[saddles]].mean(axis=1)
        pattern[saddles] += 16 * (normalised_field(centres, chain, receiver=receiver) >= level)
    starts, ends = [np.empty(0, dtype=np.intp)], [np.empty(0, dtype=np.intp)]
    for number, lines in _LINES.items():
        cells = lattice.cells[pattern == number]
        for first, last in lines:
            starts.append(2 * cells[:, _EDGE_NODE[first]] + _EDGE_UPRIGHT[first])
            ends.append(2 * cells[:, _EDGE_NODE[last]] + _EDGE_UPRIGHT[last])
    return np.concatenate(starts), np.concatenate(ends)


def _on_edges(
    edges: NDArray[np.intp],
    chain: Chain,
    *,
    lattice: Lattice,
    receiver: Receiver,
    levels: NDArray[np.float64],
    tolerance_m: float,
) -> NDArray[np.float64]:
    """Find where contours cross lattice edges: false position on 1/f, which is nearly linear there."""
    node, far = edges // 2, _neighbours(lattice)[edges]
    way = np.where((edges % 2 == 0)[:, None], [lattice.step_m, 0.0], [0.0, lattice.step_m])

    def excess(share: NDArray[np.float64], which: NDArray[np.intp]) -> NDArray[np.float64]:
        points = lattice.nodes[node[which]] + share[:, None] * way[which]
        return _excess(normalised_field(points, chain, receiver=receiver), levels[which])

    share = bracketed_zeros(
        excess,
        low=np.column_stack([np.zeros(len(edges)), _excess(lattice.field[node], levels)]),
        high=np.column_stack([np.ones(len(edges)), _excess(lattice.field[far], levels)]),
        tolerance=tolerance_m / lattice.step_m,
    )
    # Never on a node, where the lines of two cells would touch.
    return np.asarray(lattice.nodes[node] + np.clip(share, 1e-6, 1.0 - 1e-6)[:, None] * way)


def _neighbours(lattice: Lattice) -> NDArray[np.intp]:
    """Node at the far end of each lattice edge, by the number of the edge."""
    far = np.zeros(2 * len(lattice.nodes), dtype=np.intp)
    south_west, south_east, north_east, north_west = lattice.cells.T
    far[2 * south_west], far[2 * north_west] = south_east, north_east
    far[2 * south_west + 1], far[2 * south_east + 1] = north_west, north_east
    return far


def _excess(field: NDArray[np.float64], level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give level / f - 1, negative inside, bounded where the field vanishes."""
    return level / np.maximum(field, level / 8.0) - 1.0


def _cycles(following: list[int]) -> list[list[int]]:
    """Split a list of successors into its cycles."""
    unseen = [True] * len(following)
    cycles = []
    for first in range(len(following)):
        if unseen[first]:
            cycle, here = [], first
            while unseen[here]:
                unseen[here] = False
                cycle.append(here)
                here = following[here]
            cycles.append(cycle)
    return cycles
