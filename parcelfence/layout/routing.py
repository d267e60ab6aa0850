"""Cheapest ways on free ground: round buildings and other obstacles, by visibility between their corners.

A shortest way among polygons bends only at corners that point towards it, so it is enough to look from corner to
corner.  Corners are looked from only when a shorter way may lead through them (A*, lazily), which for most lead-ins
means once.  Where ground has a price, its corners and the gates across buried lines are looked from as well, but no
others than those through which a cheaper way than the shortest one can lead.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import LineString, Polygon

from parcelfence.layout.rounding import parts

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    Points = npt.NDArray[np.float64]
    Useful = Callable[[Points], npt.NDArray[np.bool_]]

__all__ = ["TOUCH_M", "FreeGround", "Gate", "PricedZone", "Way"]

_OFF_M: Final = 0.05
"""Ways turn so far off a corner."""
_FIRST_SLACK_M: Final = 6.0
"""So much dearer than the shortest way the cheapest one may be at first; about one square crossing."""
TOUCH_M: Final = 0.02
"""Ways may overstep the edge of their ground by so much; whoever must not gives ground that is smaller by it."""
_SAME_M: Final = 1e-6
_CORNER_DETAIL_M: Final = 0.3
_LOOKED_AT_ONCE: Final = 16


@dataclass(frozen=True, kw_only=True)
class PricedZone:
    """Ground that costs so much more for each metre of way in it, in metres of plain way."""

    area: BaseGeometry
    per_m: float


@dataclass(frozen=True, kw_only=True)
class Gate:
    """A straight stretch of way with a price of its own, such as a square crossing; ``ends`` has the shape (2, 2)."""

    ends: Points
    price_m: float


@dataclass(frozen=True, kw_only=True)
class Way:
    """A way over free ground.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        From the source to the target.
    price_m : float
        Its length, with what the ground adds to it, and the price of its source.
    source, target : int
        Where it begins and which of the targets it reaches.
    """

    points: Points
    price_m: float
    source: int
    target: int

    @property
    def length_m(self) -> float:
        """Its length."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())

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
    zones : sequence of PricedZone
        Ground with a price.
    gates : callable, optional
        Gives the gates at places that are useful; asked only where a way meets ground with a price.
    """

    def __init__(
        self,
        domain: BaseGeometry,
        obstacles: Sequence[BaseGeometry],
        *,
        zones: Sequence[PricedZone] = (),
        gates: Callable[[Useful], Sequence[Gate]] | None = None,
    ) -> None:
        self._zones = [zone for zone in zones if not zone.area.is_empty]
        for zone in self._zones:
            shapely.prepare(zone.area)
        self._gates = gates
        near = [shape for shape in obstacles if shape.intersects(domain)]
        solid = shapely.union_all([shape.buffer(_OFF_M, join_style="mitre") for shape in near])
        self._closed = shapely.union_all([
            solid.buffer(-TOUCH_M, join_style="mitre"),
            shapely.envelope(domain).buffer(10.0).difference(domain.buffer(TOUCH_M)),
        ])
        shapely.prepare(self._closed)
        corners = [*_corners(solid, pointing=1), *_corners(domain, pointing=-1)]
        self._corners = np.array(corners, dtype=np.float64).reshape(-1, 2)
        self._corners = self._corners[~self._hidden(self._corners, self._corners)]

    def way(self, sources: Points, targets: Points, *, at_start: npt.NDArray[np.float64] | None = None) -> Way | None:
        """Find the cheapest way from any source to any target.

        Parameters
        ----------
        sources : ndarray, shape (m, 2)
            Points to start from.
        targets : ndarray, shape (n, 2)
            Points to reach.
        at_start : ndarray, shape (m,), optional
            What it costs to start there.

        Returns
        -------
        Way or None
            None if the ground between them is not connected.
        """
        starting = np.zeros(len(sources)) if at_start is None else at_start
        plain = _Search(self, sources, targets=targets, starting=starting, nodes=self._corners).run()
        if plain is None or not self._zones:
            return plain
        dear_m = starting[plain.source] + float(self.prices_m(plain.points[:-1], plain.points[1:]).sum())
        if dear_m <= plain.price_m + _SAME_M:
            return plain
        slack_m = _FIRST_SLACK_M
        while True:
            most_m = min(plain.price_m + slack_m, dear_m)
            cheaper = self._search(sources, targets=targets, starting=starting, most_m=most_m)
            if cheaper is not None:
                return cheaper
            if most_m >= dear_m:
                return replace(plain, price_m=dear_m)
            slack_m *= 3

    def _search(
        self, sources: Points, *, targets: Points, starting: npt.NDArray[np.float64], most_m: float
    ) -> Way | None:
        """Find the cheapest way that costs less than the most, looking at no node that cannot lie on one."""
        to_sources = cKDTree(sources)

        def useful(nodes: Points) -> npt.NDArray[np.bool_]:
            least = to_sources.query(nodes)[0] + starting.min() + _nearest_m(nodes, targets)
            kept: npt.NDArray[np.bool_] = least < most_m
            return kept

        gates = [] if self._gates is None else self._gates(useful)
        ends = np.array([gate.ends for gate in gates], dtype=np.float64).reshape(-1, 2)
        plain = np.vstack([self._corners, self._zone_corners])
        nodes = np.vstack([plain[useful(plain)], ends])
        search = _Search(self, sources, targets=targets, starting=starting, nodes=nodes, most_m=most_m)
        search.open_gates(gates)
        return search.run(priced=True)

    @cached_property
    def _zone_corners(self) -> Points:
        corners = [_corners(zone.area.buffer(_OFF_M, quad_segs=2), pointing=1) for zone in self._zones]
        nodes = np.vstack([np.array(edge, dtype=np.float64).reshape(-1, 2) for edge in corners])
        return nodes[self.seen(nodes, nodes)]

    def prices_m(self, starts: Points, ends: Points) -> npt.NDArray[np.float64]:
        """Price straight ways, each of shape (n, 2), in metres of plain way."""
        prices_m: npt.NDArray[np.float64] = np.hypot(*(ends - starts).T)
        lines = np.asarray(shapely.linestrings(np.stack([starts, ends], axis=1)), dtype=object)
        for zone in self._zones:
            touched = np.flatnonzero(shapely.intersects(zone.area, lines))
            if len(touched):
                prices_m[touched] += zone.per_m * shapely.length(shapely.intersection(lines[touched], zone.area))
        return prices_m

    def seen(self, starts: Points, ends: Points) -> npt.NDArray[np.bool_]:
        """Tell which straight ways, each of shape (n, 2), lie on free ground."""
        return ~self._hidden(starts, ends)

    def _hidden(self, starts: Points, ends: Points) -> npt.NDArray[np.bool_]:
        if not len(starts):
            return np.zeros(0, dtype=bool)
        sights = shapely.linestrings(np.stack([starts, ends], axis=1))
        return np.asarray(shapely.intersects(self._closed, sights), dtype=bool)


class _Search:
    """One search: nodes are the sources, then the others; a node is looked from when its turn comes."""

    def __init__(
        self,
        ground: FreeGround,
        sources: Points,
        *,
        targets: Points,
        starting: npt.NDArray[np.float64],
        nodes: Points,
        most_m: float = math.inf,
    ) -> None:
        self._ground, self._targets, self._most_m, self._first = ground, targets, most_m, len(sources)
        self._nodes = np.vstack([sources, nodes])
        self._least = _nearest_m(self._nodes, targets)
        self._so_far = np.full(len(self._nodes), math.inf)
        self._so_far[: self._first] = starting
        self._came_from = np.full(len(self._nodes), -1)
        self._done = np.zeros(len(self._nodes), dtype=bool)
        self._partner: dict[int, tuple[int, float]] = {}
        self._priced = False

    def open_gates(self, gates: Sequence[Gate]) -> None:
        """Let ways pass between the last nodes, two by two, at the prices of gates."""
        first = len(self._nodes) - 2 * len(gates)
        for number, gate in enumerate(gates):
            one = first + 2 * number
            self._partner |= {one: (one + 1, gate.price_m), one + 1: (one, gate.price_m)}

    def run(self, *, priced: bool = False) -> Way | None:
        self._priced = priced
        queue = [(float(self._so_far[index] + self._least[index]), index) for index in range(self._first)]
        heapq.heapify(queue)
        best: tuple[float, int, int] = (self._most_m, -1, -1)
        while queue:
            promised, index = heapq.heappop(queue)
            if promised >= best[0]:
                break
            if self._done[index]:
                continue
            self._done[index] = True
            price_m, target = self._to_a_target(index, most_m=best[0])
            if target >= 0:
                best = price_m, index, target
            for other, through in self._steps(index, most_m=best[0]):
                if through < self._so_far[other]:
                    self._so_far[other], self._came_from[other] = through, index
                    heapq.heappush(queue, (float(through + self._least[other]), other))
        return None if best[1] < 0 else self._way(best)

    def _way(self, best: tuple[float, int, int]) -> Way:
        price_m, index, target = best
        chain = [self._targets[target]]
        source = index
        while index >= 0:
            chain.append(self._nodes[index])
            source, index = index, int(self._came_from[index])
        return Way(points=np.array(chain[::-1]), price_m=float(price_m), source=source, target=target)

    def _steps(self, index: int, *, most_m: float) -> list[tuple[int, float]]:
        """Nodes to which it may be cheaper to go from here, with what it costs to be there then."""
        here, so_far = self._nodes[index], self._so_far[index]
        least = so_far + np.hypot(*(self._nodes - here).T)
        others = np.flatnonzero(~self._done & (least < self._so_far) & (least + self._least < most_m))
        starts = np.broadcast_to(here, (len(others), 2))
        others = others[self._ground.seen(starts, self._nodes[others])]
        through = so_far + self._costs(here, self._nodes[others])
        steps = [(int(other), float(price_m)) for other, price_m in zip(others, through, strict=True)]
        if index in self._partner:
            partner, price_m = self._partner[index]
            steps.append((partner, float(so_far + price_m)))
        return steps

    def _to_a_target(self, index: int, *, most_m: float) -> tuple[float, int]:
        """Cheapest target in sight, with what it costs to be there; -1 if there is none for less than the most."""
        here, so_far = self._nodes[index], self._so_far[index]
        least = so_far + np.hypot(*(self._targets - here).T)
        order = np.argsort(least, kind="stable")
        best = most_m, -1
        for first in range(0, len(order), _LOOKED_AT_ONCE):
            few = order[first : first + _LOOKED_AT_ONCE]
            few = few[least[few] < best[0]]
            if not len(few):
                break
            few = few[self._ground.seen(np.broadcast_to(here, (len(few), 2)), self._targets[few])]
            costs = so_far + self._costs(here, self._targets[few])
            if len(few) and costs.min() < best[0]:
                best = float(costs.min()), int(few[int(np.argmin(costs))])
        return best

    def _costs(self, here: Points, others: Points) -> npt.NDArray[np.float64]:
        starts = np.broadcast_to(here, others.shape)
        return self._ground.prices_m(starts, others) if self._priced else np.hypot(*(others - starts).T)


def _nearest_m(nodes: Points, targets: Points) -> npt.NDArray[np.float64]:
    distances_m, _ = cKDTree(targets).query(nodes)
    return np.asarray(distances_m)


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
