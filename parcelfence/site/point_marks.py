"""Point marks to lines: the shortest sensible line through painted dots and flags."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["distinct_points", "joined"]

_SAME_POINT_M: Final = 0.05
"""Dots nearer than this are one dot that was shot twice."""
_SPUR_M: Final = 0.3
"""A single dot this near to a line is a wobble of the paint, not a branch."""


def distinct_points(points: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
    """Give the indices of the points that do not repeat an earlier one within 5 cm; `points` is (n, 2) in metres."""
    kept: list[int] = []
    for index, point in enumerate(points):
        if not kept or np.hypot(*(points[kept] - point).T).min() > _SAME_POINT_M:
            kept.append(index)
    return np.array(kept, dtype=np.intp)


def joined(points: npt.NDArray[np.float64], *, gap_m: float) -> tuple[tuple[int, ...], ...]:
    """Join points to lines along their shortest tree.

    Parameters
    ----------
    points : array of float
        Distinct points in metres, (n, 2), in any order.
    gap_m : float
        Points farther apart are never joined.

    Returns
    -------
    tuple of tuple of int
        Lines as indices of points. The longest path of a tree comes first, branches follow as lines of their own that
        begin on it; a point with no neighbour within the gap is a line of one.
    """
    neighbours: list[dict[int, float]] = [{} for _ in range(len(points))]
    for first, second, length in _shortest_tree(points):
        if length <= gap_m:
            neighbours[first][second] = length
            neighbours[second][first] = length
    lines: list[tuple[int, ...]] = []
    unseen = set(range(len(points)))
    while unseen:
        start = min(unseen)
        tree = set(_distances(neighbours, start=start))
        unseen -= tree
        lines += _lines_of_tree(neighbours, start=start)
    return tuple(lines)


def _shortest_tree(points: npt.NDArray[np.float64]) -> list[tuple[int, int, float]]:
    """Minimum spanning tree by Prim's method on whole arrays: n steps of n operations."""
    number = len(points)
    outside = np.ones(number, dtype=bool)
    nearest = np.zeros(number, dtype=np.intp)
    distance = np.full(number, np.inf)
    edges: list[tuple[int, int, float]] = []
    current = 0
    for _ in range(number - 1):
        outside[current] = False
        distance[current] = np.inf
        to_current = np.hypot(*(points - points[current]).T)
        closer = outside & (to_current < distance)
        distance[closer], nearest[closer] = to_current[closer], current
        chosen = int(np.argmin(distance))
        edges.append((int(nearest[chosen]), chosen, float(distance[chosen])))
        current = chosen
    return edges


def _lines_of_tree(neighbours: list[dict[int, float]], *, start: int) -> list[tuple[int, ...]]:
    """Cut a tree into its longest path, then the longest branch that is left, and so on."""
    one_end = _farthest(_distances(neighbours, start=start))
    trunk = _path(neighbours, start=one_end, end=_farthest(_distances(neighbours, start=one_end)))
    lines = [trunk]
    used = set(trunk)
    stack = list(trunk)
    while stack:
        node = stack.pop()
        while branches := [other for other in neighbours[node] if other not in used]:
            reach = _distances(neighbours, start=node, without=used)
            through = branches[0]
            inside = _distances(neighbours, start=through, without=used | {node})
            end = _farthest({other: reach[other] for other in inside})
            branch = _path(neighbours, start=node, end=end)
            used |= set(branch)
            stack += branch[1:]
            if len(branch) > 2 or neighbours[node][through] > _SPUR_M:  # noqa: PLR2004  (a single dot)
                lines.append(branch)
    return lines


def _distances(
    neighbours: list[dict[int, float]], *, start: int, without: set[int] | frozenset[int] = frozenset()
) -> dict[int, float]:
    """Distances along the tree from a point to all that can be reached without the others."""
    distances = {start: 0.0}
    stack = [start]
    while stack:
        node = stack.pop()
        for other, length in neighbours[node].items():
            if other not in distances and other not in without:
                distances[other] = distances[node] + length
                stack.append(other)
    return distances


def _farthest(distances: dict[int, float]) -> int:
    return max(distances, key=lambda node: (distances[node], -node))


def _path(neighbours: list[dict[int, float]], *, start: int, end: int) -> tuple[int, ...]:
    before: dict[int, int] = {start: start}
    stack = [start]
    while end not in before:
        node = stack.pop()
        for other in neighbours[node]:
            if other not in before:
                before[other] = node
                stack.append(other)
    path = [end]
    while path[-1] != start:
        path.append(before[path[-1]])
    return tuple(reversed(path))
