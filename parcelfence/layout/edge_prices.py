"""The price of every candidate edge and the worth of every face: the graph on which the cheapest loop is sought."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import Polygon

from parcelfence.layout.appraisal import axis_of
from parcelfence.layout.candidates import candidate_lines
from parcelfence.layout.plane_graph import plane_graph
from parcelfence.layout.priced_graph import PricedGraph
from parcelfence.layout.prices import BESIDE, CLEARANCE, CLEARANCE_WORTH, HAND_DUG
from parcelfence.layout.separations import separations

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.layout.candidates import Obstacles
    from parcelfence.layout.plane_graph import PlaneGraph
    from parcelfence.settings import Settings

    Floats = NDArray[np.float64]

__all__ = ["LandValue", "PricedArea", "priced_graph"]

_APART_M: Final = 1e6
"""Far more than any property measures: offsets along different lines never mix when they are sorted as one."""
_TINY_M2: Final = 1e-4


@dataclass(frozen=True, kw_only=True)
class PricedArea:
    """Ground in which every metre of wire costs more.

    Parameters
    ----------
    area : BaseGeometry
        Polygons.
    per_m : float
        In metres of plain wire for a metre.
    along : float
        What following the axis of the area costs besides, for a metre; square across it costs none of this.
    """

    area: BaseGeometry
    per_m: float
    along: float = 0.0


@dataclass(frozen=True, kw_only=True)
class LandValue:
    """What the ground is worth, and what in it is not.

    Parameters
    ----------
    per_m2 : float
        Of free ground, in metres of plain wire.
    worthless : tuple of Polygon
        Buildings, ponds and the like: inside or outside as a whole.
    kept_out : tuple of (Polygon, float)
        Ground that the animal is kept from, with the price of an inner loop round it.
    seed : tuple of Point
        What must lie inside.
    outside : tuple of Polygon
        What must lie outside.
    """

    per_m2: float
    worthless: tuple[Polygon, ...]
    kept_out: tuple[tuple[Polygon, float], ...]
    seed: tuple[BaseGeometry, ...]


def priced_graph(
    ground: Polygon,
    obstacles: Obstacles,
    *,
    areas: Sequence[PricedArea],
    tolerance_zones: BaseGeometry,
    value: LandValue,
    settings: Settings,
) -> PricedGraph:
    """Make the priced graph of a piece of ground.

    Parameters
    ----------
    ground : Polygon
        What may be enclosed at most.
    obstacles : Obstacles
        What the candidate lines meet.
    areas : sequence of PricedArea
        Where wire is dear.
    tolerance_zones : BaseGeometry
        Where it is dug in by hand.
    value : LandValue
        What the ground is worth.
    settings : Settings
        Reach and clearances.
    """
    found = candidate_lines(ground, obstacles, settings=settings)
    graph = plane_graph(found.segments, outline=np.asarray(ground.exterior.coords[0]))
    offsets = _Offsets(graph)
    price = _of_ground(offsets, obstacles, areas=areas, value=value, settings=settings)
    price += HAND_DUG * offsets.within(tolerance_zones)
    beside, square = _buried(offsets, obstacles.lines, settings=settings)
    price += BESIDE * beside
    pegless = np.ones(len(graph.direction), dtype=bool)
    np.logical_and.at(pegless, graph.line_of_segment, found.pegless)
    worth, must_be_in, solid, solid_price = _faces(graph, value)
    return PricedGraph(
        nodes=graph.nodes,
        tail=graph.tail,
        head=graph.head,
        line=graph.line,
        left=graph.left,
        right=graph.right,
        price=price,
        face_area_m2=graph.face_area_m2,
        worth=worth,
        must_be_in=must_be_in,
        must_be_out=np.arange(len(worth)) == 0,
        solid=solid,
        solid_price=solid_price,
        direction=graph.direction,
        pegless=pegless,
        square_first=square[0],
        square_from=square[1],
        square_to=square[2],
        corners=_corners(obstacles.walls),
    )


def _of_ground(
    offsets: _Offsets,
    obstacles: Obstacles,
    *,
    areas: Sequence[PricedArea],
    value: LandValue,
    settings: Settings,
) -> Floats:
    """Price every edge by the ground that it lies on: wire and the ground of its reach, walls, areas that are dear."""
    graph = offsets.graph
    price: Floats = (1.0 + value.per_m2 * settings.reach_m) * (offsets.end_m - offsets.start_m)
    walls = shapely.union_all([wall.buffer(settings.building_clearance_m) for wall in obstacles.walls])
    price += max(CLEARANCE, CLEARANCE_WORTH * value.per_m2) * offsets.within(walls)
    for dear in areas:
        share = np.abs(graph.direction @ axis_of(dear.area)) ** 2 if dear.along else np.zeros(len(graph.direction))
        price += (dear.per_m + dear.along * share)[graph.line] * offsets.within(dear.area)
    return price


class _Offsets:
    """Edges as stretches along their lines, so that whole lines are cut with an area instead of every edge.

    Attributes
    ----------
    start_m, end_m : ndarray, shape (m,)
        Offsets of the ends of every edge along the direction of its line, from the origin.
    """

    def __init__(self, graph: PlaneGraph) -> None:
        self.graph = graph
        along = graph.direction[graph.line]
        ends = np.column_stack([np.einsum("ij,ij->i", graph.nodes[node], along) for node in (graph.tail, graph.head)])
        self.start_m, self.end_m = ends.min(axis=1), ends.max(axis=1)
        lines, first = np.unique(graph.line, return_index=True)
        low = np.full(len(graph.direction), np.inf)
        high = np.full(len(graph.direction), -np.inf)
        np.minimum.at(low, graph.line, self.start_m)
        np.maximum.at(high, graph.line, self.end_m)
        base = graph.nodes[graph.tail[first]]
        base -= np.einsum("ij,ij->i", base, graph.direction[lines])[:, None] * graph.direction[lines]
        ends = np.stack(
            [base + low[lines, None] * graph.direction[lines], base + high[lines, None] * graph.direction[lines]],
            axis=1,
        )
        self.low_m = low
        self.lines, self.shapes = lines, np.asarray(shapely.linestrings(ends))

    def stretches(self, area: BaseGeometry) -> tuple[NDArray[np.int64], Floats, NDArray[np.object_]]:
        """Cut all lines with an area: number of the line, offsets from and to, and the stretches themselves."""
        shapely.prepare(area)
        near = np.flatnonzero(shapely.intersects(self.shapes, area))
        parts, owner = shapely.get_parts(shapely.intersection(self.shapes[near], area), return_index=True)
        straight = (shapely.get_type_id(parts) == 1) & (shapely.length(parts) > 0.0)
        parts, line = parts[straight], self.lines[near[owner[straight]]]
        ends = [shapely.get_coordinates(shapely.get_point(parts, place)) for place in (0, -1)]
        offsets = np.column_stack([np.einsum("ij,ij->i", xy, self.graph.direction[line]) for xy in ends])
        return line, np.sort(offsets, axis=1), parts

    def covered(self, line: NDArray[np.int64], offsets: Floats) -> Floats:
        """Measure how much of every edge lies in stretches of lines; what overlaps counts once."""
        if not len(line):
            return np.zeros(len(self.start_m))
        order = np.lexsort((offsets[:, 0], line))
        line, offsets = line[order], offsets[order] + line[order, None] * _APART_M
        reached = np.maximum.accumulate(offsets[:, 1])
        low = np.maximum(offsets[:, 0], np.append(-np.inf, reached[:-1]))
        length = np.maximum(reached - low, 0.0)
        at = np.column_stack([low, low + length]).ravel()
        total = np.column_stack([np.cumsum(length) - length, np.cumsum(length)]).ravel()
        shift = self.graph.line * _APART_M
        within: Floats = np.interp(self.end_m + shift, at, total) - np.interp(self.start_m + shift, at, total)
        return within

    def within(self, area: BaseGeometry) -> Floats:
        """Measure how much of every edge lies in an area."""
        if area.is_empty:
            return np.zeros(len(self.start_m))
        line, offsets, _ = self.stretches(area)
        return self.covered(line, offsets)


def _buried(
    offsets: _Offsets, lines: Sequence[BuriedLine], *, settings: Settings
) -> tuple[Floats, tuple[NDArray[np.int64], Floats, Floats]]:
    """Measure how much of every edge lies beside buried lines, and where lines cross one square."""
    found = separations(shapely.get_coordinates(offsets.shapes).reshape(-1, 4), lines, settings=settings)
    line = offsets.lines[found.segment]
    at_m = offsets.low_m[line, None] + np.column_stack([found.start_m, found.end_m])
    beside = offsets.covered(line[~found.square], at_m[~found.square])
    line, at_m = line[found.square], at_m[found.square]
    order = np.lexsort((at_m[:, 0], line))
    first = np.searchsorted(line[order], np.arange(len(offsets.graph.direction) + 1)).astype(np.int64)
    return beside, (first, at_m[order, 0], at_m[order, 1])


def _faces(graph: PlaneGraph, value: LandValue) -> tuple[Floats, NDArray[np.bool_], NDArray[np.int64], Floats]:
    """Give the worth of every face, the faces that must be inside, and those that hold ground that is kept out."""
    area = graph.face_area_m2.copy()
    solid = np.full(len(area), -1, dtype=np.int64)
    prices: list[float] = []
    locate = _FaceFinder(graph)
    kept = [hole for hole, _ in value.kept_out]
    for hole, price in value.kept_out:
        face = locate(hole)
        if face:
            if solid[face] < 0:
                solid[face] = len(prices)
                prices.append(0.0)
            prices[solid[face]] += price
    for place in (*kept, *value.worthless):
        face = locate(place)
        area[face] = max(0.0, area[face] - place.area)
    area[area < _TINY_M2] = 0.0
    must_be_in = np.zeros(len(area), dtype=bool)
    for seed in value.seed:
        face = locate(seed)
        if face:
            must_be_in[face] = True
    return value.per_m2 * area, must_be_in, solid, np.array(prices)


class _FaceFinder:
    """Finds the face of a point by the nearest edge and its side."""

    def __init__(self, graph: PlaneGraph) -> None:
        self._graph = graph
        ends = np.stack([graph.nodes[graph.tail], graph.nodes[graph.head]], axis=1)
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(ends)))

    def __call__(self, shape: BaseGeometry) -> int:
        """Give the number of the face, 0 outside."""
        point = shape.representative_point()
        graph = self._graph
        edges = self._tree.query_nearest(point, all_matches=True)
        xy = np.array([point.x, point.y])
        # where a node is nearest, the edge that the point looks at most squarely tells the side
        tail, head = graph.nodes[graph.tail[edges]], graph.nodes[graph.head[edges]]
        step = head - tail
        cross = step[:, 0] * (xy[1] - tail[:, 1]) - step[:, 1] * (xy[0] - tail[:, 0])
        squarest = int(np.argmax(np.abs(cross) / np.hypot(*step.T)))
        edge = edges[squarest]
        return int(graph.left[edge] if cross[squarest] > 0 else graph.right[edge])


def _corners(walls: Sequence[Polygon]) -> Floats:
    found = [np.asarray(wall.exterior.coords)[:-1] for wall in walls]
    return np.concatenate(found) if found else np.empty((0, 2))
