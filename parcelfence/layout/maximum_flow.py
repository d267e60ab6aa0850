"""Maximum flow between the faces of a plane graph: from every face that supplies to the faces that take up.

Excess is pushed towards the nearest face that takes it up, in order of arrival, with exact distances found anew from
time to time (Goldberg and Tarjan, 1988).  What cannot arrive is not led back: a face that still holds excess lies on
the side of the supply, and where nothing is left over the preflow is a flow.  All amounts are whole numbers, so that
the result is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from parcelfence.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["BOUNDLESS", "Flow", "maximum_flow"]

BOUNDLESS: Final = 1 << 60
"""More than all supplies together: a face that takes up everything."""
_WORK_PER_FACE: Final = 6
"""Arcs looked at for each face until distances are found anew; by the usual rule of thumb, from memory."""


@dataclass(frozen=True, kw_only=True)
class Flow:
    """Where the supplies go.

    Parameters
    ----------
    across : ndarray of int, shape (m,)
        Over every edge, from its left face to its right one.
    held : ndarray of bool, shape (f,)
        Faces from which nothing more could reach a face that takes up: the larger side of the least cut.
    left_over : int
        Supply that arrives nowhere.
    """

    across: NDArray[np.int64]
    held: NDArray[np.bool_]
    left_over: int


class _Arcs(NamedTuple):
    """Arc 2 e leads over edge e from left to right, arc 2 e + 1 back; those out of a face stand together."""

    first: NDArray[np.int64]
    arcs: NDArray[np.int64]
    to: NDArray[np.int64]


def maximum_flow(
    edges: tuple[NDArray[np.int64], NDArray[np.int64]],
    *,
    capacity: NDArray[np.int64],
    supply: NDArray[np.int64],
    room: NDArray[np.int64],
) -> Flow:
    """Send as much as possible.

    Parameters
    ----------
    edges : tuple of ndarray, shape (m,)
        The faces on the left and on the right of every edge.
    capacity : ndarray of int, shape (m,)
        Of every edge, the same both ways.
    supply : ndarray of int, shape (f,)
        Not below 0.
    room : ndarray of int, shape (f,)
        What every face takes up; :data:`BOUNDLESS` for all that comes.
    """
    left, right = edges
    faces = supply.size
    to = np.stack([right, left], axis=1).ravel()
    source = np.stack([left, right], axis=1).ravel()
    order = np.argsort(source, kind="stable")
    first = np.searchsorted(source[order], np.arange(faces + 1))
    arcs = _Arcs(first.astype(np.int64), order.astype(np.int64), to)
    residual = np.repeat(capacity, 2)
    excess, height = supply.copy(), np.zeros(faces, dtype=np.int64)
    _send(arcs, residual, excess, room.copy(), height)
    return Flow(across=capacity - residual[::2], held=height > faces, left_over=int(excess.sum()))


@compiled
def _send(arcs: Any, residual: Any, excess: Any, room: Any, height: Any) -> None:
    """Push until no excess can arrive; leaves exact distances in `height`."""
    faces = excess.size
    queue = np.empty(faces + 1, dtype=np.int64)
    waiting = np.zeros(faces, dtype=np.bool_)
    current = arcs.first[:-1].copy()
    begin, end = _distances(arcs, residual, room, height, excess, queue, waiting)
    work, limit = 0, _WORK_PER_FACE * (faces + 1) + arcs.to.size
    while begin != end:
        face = queue[begin]
        begin = begin + 1 if begin < faces else 0
        waiting[face] = False
        while excess[face] > 0 and height[face] <= faces:
            if room[face] > 0:
                amount = min(excess[face], room[face])
                room[face] -= amount
                excess[face] -= amount
                continue
            k = current[face]
            while excess[face] > 0 and k < arcs.first[face + 1]:
                arc = arcs.arcs[k]
                other = arcs.to[arc]
                if residual[arc] > 0 and height[face] == height[other] + 1:
                    amount = min(excess[face], residual[arc])
                    residual[arc] -= amount
                    residual[arc ^ 1] += amount
                    excess[face] -= amount
                    excess[other] += amount
                    if not waiting[other]:
                        waiting[other] = True
                        queue[end] = other
                        end = end + 1 if end < faces else 0
                if excess[face] > 0:
                    k += 1
            current[face] = k
            if excess[face] > 0:
                work += arcs.first[face + 1] - arcs.first[face] + 12
                height[face] = _raised(arcs, residual, height, face)
                current[face] = arcs.first[face]
        if work > limit or begin == end:
            over = begin == end and work == 0
            work = 0
            current[:] = arcs.first[:-1]
            begin, end = _distances(arcs, residual, room, height, excess, queue, waiting)
            if over:
                break


@compiled
def _raised(arcs: Any, residual: Any, height: Any, face: int) -> Any:
    """Least height from which something could flow off; beyond the number of faces where nothing can."""
    least = height.size + 1
    for k in range(arcs.first[face], arcs.first[face + 1]):
        if residual[arcs.arcs[k]] > 0:
            least = min(least, height[arcs.to[arcs.arcs[k]]] + 1)
    return least


@compiled
def _distances(arcs: Any, residual: Any, room: Any, height: Any, excess: Any, queue: Any, waiting: Any) -> Any:
    """Find every face's number of steps to one with room, and queue those that have something to send."""
    faces = excess.size
    height[:] = faces + 1
    begin = end = 0
    for face in range(faces):
        waiting[face] = False
        if room[face] > 0:
            height[face] = 1
            queue[end] = face
            end += 1
    while begin < end:
        face = queue[begin]
        begin += 1
        for k in range(arcs.first[face], arcs.first[face + 1]):
            arc = arcs.arcs[k]
            other = arcs.to[arc]
            if height[other] > faces and residual[arc ^ 1] > 0:
                height[other] = height[face] + 1
                queue[end] = other
                end += 1
    end = 0
    for face in range(faces):
        if excess[face] > 0 and height[face] <= faces:
            waiting[face] = True
            queue[end] = face
            end += 1
    return 0, end
