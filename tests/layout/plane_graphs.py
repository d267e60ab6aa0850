"""Priced graphs for the tests: lines across a square, noded by plain geometry, with every face found by Shapely."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from shapely.ops import polygonize

from parcelfence.layout.priced_graph import PricedGraph, TurnPrices

PRICES = TurnPrices(
    bend_radius_m=1.0,
    reach_m=2.0,
    worth_per_m2=0.8,
    bend_fixed=1.5,
    bend_per_90=1.5,
    short_leg=0.5,
    short_leg_per_m=40.0,
    pegless_leg=1.5,
    beside_per_m=100.0,
    corner=12.0,
)


def square_with_lines(  # noqa: PLR0914  (one name for each array)
    size_m: float, lines: list[shapely.LineString], **changed: object
) -> PricedGraph:
    """Cut a square along lines that cross it; wire costs its length and the ground of its reach, ground 0.8 a m2."""
    box = shapely.box(0, 0, size_m, size_m)
    sides = [shapely.LineString(side) for side in itertools.pairwise(box.exterior.coords)]
    every = [*sides, *[line.intersection(box) for line in lines]]
    nodes: list[tuple[float, float]] = []
    tail, head, line_of = [], [], []
    for number, line in enumerate(every):
        meets = [shapely.Point(line.coords[0]), shapely.Point(line.coords[-1])]
        meets += [other.intersection(line) for other in every if other is not line and other.intersects(line)]
        along = sorted({round(line.project(meet), 6) for meet in meets if meet.geom_type == "Point"})
        path = [_numbered(nodes, line.interpolate(offset)) for offset in along]
        for one, other in itertools.pairwise(path):
            if one != other:
                tail.append(one)
                head.append(other)
                line_of.append(number)
    xy = np.array(nodes)
    faces = list(polygonize([shapely.LineString(xy[[a, b]]) for a, b in zip(tail, head, strict=True)]))
    left, right = (_face_beside(xy, (tail, head), faces, side=side) for side in (1, -1))
    ahead = np.array([np.subtract(line.coords[-1], line.coords[0]) for line in every])
    length = np.hypot(*(xy[head] - xy[tail]).T)
    area = np.array([0.0, *[face.area for face in faces]])
    none = np.zeros(area.size, dtype=bool)
    values = {
        "nodes": xy,
        "tail": np.array(tail),
        "head": np.array(head),
        "line": np.array(line_of),
        "left": left,
        "right": right,
        "price": length * (1 + PRICES.worth_per_m2 * PRICES.reach_m),
        "face_area_m2": area,
        "worth": area * PRICES.worth_per_m2,
        "must_be_in": none,
        "must_be_out": np.append(True, none[1:]),
        "solid": np.full(area.size, -1),
        "solid_price": np.zeros(0),
        "direction": ahead / np.hypot(*ahead.T)[:, None],
        "pegless": np.zeros(len(every), dtype=bool),
        "square_first": np.zeros(len(every) + 1, dtype=np.int64),
        "square_from": np.zeros(0),
        "square_to": np.zeros(0),
        "corners": np.zeros((0, 2)),
    }
    return PricedGraph(**(values | changed))  # type: ignore[arg-type]


def face_at(graph: PricedGraph, x: float, y: float) -> int:
    """Find the face at a place by the edge that a ray to the right meets first."""
    nearest, found = np.inf, 0
    for edge in range(graph.tail.size):
        (x0, y0), (x1, y1) = graph.nodes[graph.tail[edge]], graph.nodes[graph.head[edge]]
        if (y0 > y) != (y1 > y):
            at = x0 + (y - y0) / (y1 - y0) * (x1 - x0)
            if x < at < nearest:
                nearest = at
                found = int(graph.left[edge] if y1 > y0 else graph.right[edge])
    return found


def _numbered(nodes: list[tuple[float, float]], place: shapely.Point) -> int:
    for number, (x, y) in enumerate(nodes):
        if abs(place.x - x) + abs(place.y - y) < 1e-5:
            return number
    nodes.append((place.x, place.y))
    return len(nodes) - 1


def _face_beside(
    xy: np.ndarray, ends: tuple[list[int], list[int]], faces: list[shapely.Polygon], *, side: int
) -> np.ndarray:
    tail, head = ends
    ahead = xy[head] - xy[tail]
    across = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) / np.hypot(*ahead.T)[:, None]
    beside = (xy[tail] + xy[head]) / 2 + side * 1e-4 * across
    tree = shapely.STRtree(faces)
    place, face = tree.query(shapely.points(beside), predicate="within")
    found = np.zeros(len(tail), dtype=np.int64)
    found[place] = face + 1
    return found
