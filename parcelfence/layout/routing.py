"""Shortest ways on free ground: round buildings and other obstacles, by visibility between their corners.

A shortest way among polygons bends only at corners that point towards it, so it is enough to look from corner to
corner.  Corners are looked from only when a shorter way may lead through them (Dijkstra, lazily), which for most
lead-ins means once.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from parcelfence.layout.rounding import parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    Points = npt.NDArray[np.float64]

__all__ = ["FreeGround", "Way"]

_OFF_M: Final = 0.05
"""Ways turn so far off a corner."""
_TOUCH_M: Final = 0.02
_CORNER_DETAIL_M: Final = 0.3
_LOOKED_AT_ONCE: Final = 16


@dataclass(frozen=True, kw_only=True)
class Way:
    """A way over free ground.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        From the source to the target.
    length_m : float
        Its length.
    target : int
        Which of the targets it reaches.
    """

    points: Points
    length_m: float
    target: int

    @property
    def line(self) -> LineString:
        """The way as a line."""
        return LineString(self.points)


class FreeGround:
    """Ground on which ways may lead.

    Parameters
    ----------
    domain : BaseGeometry
        Ways stay within it.
    obstacles : sequence of BaseGeometry
        Areas that ways lead round; touching them is allowed.
    """

    def __init__(self, domain: BaseGeometry, obstacles: Sequence[BaseGeometry]) -> None:
        near = [shape for shape in obstacles if shape.intersects(domain)]
        solid = shapely.union_all([shape.buffer(_OFF_M, join_style="mitre") for shape in near])
        self._closed = shapely.union_all([
            solid.buffer(-_TOUCH_M, join_style="mitre"),
            shapely.envelope(domain).buffer(10.0).difference(domain.buffer(_TOUCH_M)),
        ])
        shapely.prepare(self._closed)
        corners = [*_corners(solid, pointing=1), *_corners(domain, pointing=-1)]
        self._corners = np.array(corners, dtype=np.float64).reshape(-1, 2)
        self._corners = self._corners[~self._hidden(self._corners, self._corners)]

    def way(self, sources: Points, targets: Points) -> Way | None:
        """Find the shortest way from any source to any target.

        Parameters
        ----------
        sources : ndarray, shape (m, 2)
            Points to start from.
        targets : ndarray, shape (n, 2)
            Points to reach.

        Returns
        -------
        Way or None
            None if the ground between them is not connected.
        """
        nodes = np.vstack([sources, self._corners])
        so_far = np.full(len(nodes), math.inf)
        so_far[: len(sources)] = 0.0
        came_from = np.full(len(nodes), -1)
        least = np.array([np.hypot(*(targets - node).T).min() for node in nodes])
        queue = [(float(least[index]), index) for index in range(len(sources))]
        heapq.heapify(queue)
        done = np.zeros(len(nodes), dtype=bool)
        best: tuple[float, int, int] = (math.inf, -1, -1)
        while queue:
            promised, index = heapq.heappop(queue)
            if promised >= best[0]:
                break
            if done[index]:
                continue
            done[index] = True
            target, distance = self._nearest_seen(nodes[index], targets, within=best[0] - so_far[index])
            if target >= 0:
                best = so_far[index] + distance, index, target
            for other in np.flatnonzero(~done & self._seen(nodes[index], nodes)):
                through = so_far[index] + math.dist(nodes[index], nodes[other])
                if through < so_far[other] and through + least[other] < best[0]:
                    so_far[other], came_from[other] = through, index
                    heapq.heappush(queue, (float(through + least[other]), int(other)))
        if best[2] < 0:
            return None
        chain = [targets[best[2]]]
        index = best[1]
        while index >= 0:
            chain.append(nodes[index])
            index = int(came_from[index])
        points = np.array(chain[::-1])
        return Way(points=points, length_m=float(best[0]), target=best[2])

    def _nearest_seen(self, node: Points, targets: Points, *, within: float) -> tuple[int, float]:
        """Nearest target that is in sight, by its number; -1 if there is none."""
        distances = np.hypot(*(targets - node).T)
        order = np.argsort(distances, kind="stable")
        order = order[distances[order] < within]
        for first in range(0, len(order), _LOOKED_AT_ONCE):
            few = order[first : first + _LOOKED_AT_ONCE]
            seen = few[self._seen(node, targets[few])]
            if len(seen):
                return int(seen[0]), float(distances[seen[0]])
        return -1, math.inf

    def _seen(self, node: Points, others: Points) -> npt.NDArray[np.bool_]:
        return ~self._hidden(np.broadcast_to(node, others.shape), others)

    def _hidden(self, starts: Points, ends: Points) -> npt.NDArray[np.bool_]:
        if not len(starts):
            return np.zeros(0, dtype=bool)
        sights = shapely.linestrings(np.stack([starts, ends], axis=1))
        return np.asarray(shapely.intersects(self._closed, sights), dtype=bool)


def _corners(area: BaseGeometry, *, pointing: int) -> list[Points]:
    """Corners of an area that point outwards (1) or inwards (-1); small detail is left out on the far side."""
    found: list[Points] = []
    for part in parts(area):
        for ring in (part.exterior, *part.interiors):
            if len(ring.coords) > _FEW_VERTICES:
                simple = ring.simplify(_CORNER_DETAIL_M)
                ring = simple if len(simple.coords) > 3 else ring  # noqa: PLR2004, PLW2901
            xy = shapely.get_coordinates(shapely.orient_polygons(Polygon(ring)).exterior)[:-1]
            turn = pointing if ring is part.exterior or ring.is_ccw == part.exterior.is_ccw else -pointing
            ahead, behind = np.roll(xy, -1, axis=0) - xy, xy - np.roll(xy, 1, axis=0)
            bends = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
            found.extend(xy[bends * turn > 0])
    return found


_FEW_VERTICES: Final = 60
