"""Ways from face to face across the edges of the plane graph, and the parts into which a region falls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from parcelfence.compiled import compiled
from parcelfence.layout.heap import popped, pushed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.priced_graph import PricedGraph

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Indices = NDArray[np.int64]

__all__ = ["FaceGraph"]

_A_STEP: float = 1e-3
"""Of worth: of ways over ground that is worth the same, the one over fewest faces."""


@dataclass(frozen=True, kw_only=True)
class FaceGraph:
    """The faces with the edges around each of them.

    Parameters
    ----------
    left, right : ndarray, shape (m,)
        Faces on the sides of every edge.
    first : ndarray, shape (f + 1,)
        Where the edges of every face begin in `around`.
    around : ndarray, shape (2 m,)
        Edges.
    """

    left: Indices
    right: Indices
    first: Indices
    around: Indices

    @classmethod
    def of(cls, graph: PricedGraph) -> Self:
        """Collect the edges around each face."""
        face = np.concatenate([graph.left, graph.right])
        order = np.argsort(face, kind="stable")
        first = np.searchsorted(face[order], np.arange(graph.worth.size + 1)).astype(np.int64)
        around = (order % graph.left.size).astype(np.int64)
        return cls(left=graph.left, right=graph.right, first=first, around=around)

    def parts(self, region: Flags) -> Indices:
        """Give every connected part of a region, and of what lies outside of it, a number."""
        same = region[self.left] == region[self.right]
        left, right = self.left[same], self.right[same]
        pairs = coo_array((np.ones(left.size, dtype=np.int8), (left, right)), shape=(region.size, region.size))
        numbers: Indices = connected_components(pairs, directed=False)[1].astype(np.int64)
        return numbers

    def enclosed(self, walls: Flags) -> Flags:
        """Tell the faces that cannot be reached from outside without crossing one of the edges marked as walls."""
        left, right = self.left[~walls], self.right[~walls]
        size = self.first.size - 1
        pairs = coo_array((np.ones(left.size, dtype=np.int8), (left, right)), shape=(size, size))
        numbers = connected_components(pairs, directed=False)[1]
        result: Flags = numbers != numbers[0]
        return result

    def way(self, start: Flags, *, goal: Flags, barred: Flags, weight: Floats) -> Indices:
        """Find the way of least weight from one set of faces to another, as the edges to cross in order.

        Parameters
        ----------
        start, goal, barred : ndarray of bool, shape (f,)
            Where it begins, where it may end, and what it must not touch in between.
        weight : ndarray, shape (f,)
            Of every face that it enters, above 0.

        Returns
        -------
        ndarray, shape (k,)
            Empty where there is no way.
        """
        return np.asarray(_way((self.left, self.right, self.first, self.around), start, goal, barred, weight))

    def led_out(self, outside: Flags, *, worth: Floats, core: Flags) -> Flags:
        """Join every part of the ground outside to face 0 over the ground that is worth least.

        A part that the core shuts in stays as it is.
        """
        result = outside.copy()
        part = self.parts(outside)
        apart = np.unique(part[outside & (part != part[0])])
        for number in apart:
            here = outside & (part == number)
            goal = result & (self.parts(result) == self.parts(result)[0])
            if goal[here].any():
                continue
            edges = self.way(here, goal=goal, barred=core & ~outside, weight=worth + _A_STEP)
            result[self.left[edges]] = True
            result[self.right[edges]] = True
        return result


@compiled
def _way(faces: Any, start: Any, goal: Any, barred: Any, weight: Any) -> Any:
    left, right, first, around = faces
    count = first.size - 1
    paid, over = np.full(count, np.inf), np.full(count, -1)
    keys, items = np.empty(256), np.empty(256, dtype=np.int64)
    size, found = 0, -1
    for face in range(count):
        if start[face]:
            paid[face] = 0.0
            keys, items = pushed((keys, items), size, 0.0, face)
            size += 1
    while size > 0:
        popped((keys, items), size)
        size -= 1
        key, face = keys[size], items[size]
        if key > paid[face]:
            continue
        if goal[face]:
            found = face
            break
        for k in range(first[face], first[face + 1]):
            edge = around[k]
            other = right[edge] if left[edge] == face else left[edge]
            price = key + weight[other]
            if price < paid[other] and (goal[other] or not barred[other]):
                paid[other], over[other] = price, edge
                keys, items = pushed((keys, items), size, price, other)
                size += 1
    edges = np.empty(count, dtype=np.int64)
    steps, face = 0, found
    while face >= 0 and over[face] >= 0:
        edge = over[face]
        edges[steps] = edge
        steps += 1
        face = right[edge] if left[edge] == face else left[edge]
    return edges[:steps][::-1].copy()
