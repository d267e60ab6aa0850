"""Every edge of the priced graph walked either way, and the price of every turn from one to the next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from parcelfence.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.priced_graph import PricedGraph, TurnPrices

    Floats = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["HalfEdges", "Turns", "half_edges", "priced_turns", "short_leg_price"]

_SHARPEST: Final = math.radians(160)
"""Nobody turns back on himself: the tangents of a sharper bend are longer than five radii."""
_WHOLE_BEND: Final = math.radians(8)
"""From this turn on a bend is laid out as one; below it, its fixed price fades away."""
_ARC_SPARE_M: Final = 0.03
"""So far an arc may reach into a separation: the spare with which the parallels of a buried line are drawn."""
_CORNERS_WITHIN: Final = 3.0
"""Reaches beyond which no bend lights up a corner: at a right angle it takes 1.7, and less at any wider one."""
_BRIGHTEST: Final = 5.0
"""Times the threshold: nearer corners are not made dearer, for a wall in the way is priced by the edge itself."""
_ON_THE_WIRE: Final = 1e12
"""Per metre: in place of infinity, so that the difference of two of them is a number."""
_ROOM_M: Final = 1e-3
"""Legs that lack less than this are long enough."""


class HalfEdges(NamedTuple):
    """Half-edge 2 e runs from the tail of edge e to its head, 2 e + 1 back; those out of a node stand together.

    `ahead` is the half-edge that goes on straight along the same line, -1 at its end; `offset` the place of its
    beginning along the line's direction, and `sense` whether it runs that way.
    """

    start: Indices
    end: Indices
    line: Indices
    length: Floats
    sense: Floats
    offset: Floats
    x: Floats
    y: Floats
    ahead: Indices
    first: Indices
    out: Indices


class Turns(NamedTuple):
    """The turn from half-edge h into the k-th one out of its end node stands at `first[h] + k`.

    `price` is infinite where there is no such turn; `tangent` is the length that its arc takes of either leg.
    """

    first: Indices
    price: Floats
    tangent: Floats


def half_edges(graph: PricedGraph) -> HalfEdges:
    """Give the edges of a graph either way."""
    start = np.stack([graph.tail, graph.head], axis=1).ravel()
    end = start.reshape(-1, 2)[:, ::-1].ravel()
    line = np.repeat(graph.line, 2)
    direction = graph.direction[line]
    along = np.einsum("ij,ij->i", graph.nodes[end] - graph.nodes[start], direction)
    sense = np.where(along >= 0, 1.0, -1.0)
    offset = np.einsum("ij,ij->i", graph.nodes[start], direction)
    out = np.argsort(start, kind="stable")
    first = np.searchsorted(start[out], np.arange(graph.nodes.shape[0] + 1))
    edges = HalfEdges(
        start=start,
        end=end,
        line=line,
        length=np.abs(along),
        sense=sense,
        offset=offset,
        x=direction[:, 0] * sense,
        y=direction[:, 1] * sense,
        ahead=np.full(start.size, -1, dtype=np.int64),
        first=first.astype(np.int64),
        out=out.astype(np.int64),
    )
    _find_ahead(edges)
    return edges


@compiled
def _find_ahead(edges: Any) -> None:
    for half in range(edges.start.size):
        node = edges.end[half]
        for k in range(edges.first[node], edges.first[node + 1]):
            other = edges.out[k]
            if edges.line[other] == edges.line[half] and edges.sense[other] == edges.sense[half]:
                edges.ahead[half] = other


def priced_turns(graph: PricedGraph, turns: TurnPrices, *, edges: HalfEdges) -> Turns:
    """Price every turn: the bend, what its arc does in a separation and at a wall, and a leg without pegs after it."""
    degree = np.diff(edges.first)
    first = np.append(0, np.cumsum(degree[edges.end]))
    near_first, near = _corners_near(graph, within_m=_CORNERS_WITHIN * turns.reach_m)
    table = Turns(first=first, price=np.full(first[-1], np.inf), tangent=np.zeros(first[-1]))
    squares = (graph.square_first, graph.square_from, graph.square_to)
    walls = (near_first, near)
    prices = (
        turns.bend_radius_m,
        turns.bend_fixed,
        turns.bend_per_90,
        turns.pegless_leg,
        turns.beside_per_m,
        turns.corner,
        turns.reach_m,
    )
    _price(edges, table, squares, walls, graph.pegless, prices)
    return table


def _corners_near(graph: PricedGraph, *, within_m: float) -> tuple[Indices, Floats]:
    """List for every node the vectors to the corners of walls around it."""
    if not graph.corners.size:
        return np.zeros(graph.nodes.shape[0] + 1, dtype=np.int64), np.zeros((0, 2))
    pairs = cKDTree(graph.nodes).sparse_distance_matrix(cKDTree(graph.corners), within_m, output_type="ndarray")
    node, corner = pairs["i"], pairs["j"]
    order = np.lexsort([corner, node])
    first = np.searchsorted(node[order], np.arange(graph.nodes.shape[0] + 1))
    return first, (graph.corners[corner] - graph.nodes[node])[order]


@compiled
def _price(edges: Any, table: Any, squares: Any, walls: Any, pegless: Any, prices: Any) -> None:
    radius, fixed, per_90, leg, beside, corner, reach = prices
    for half in range(edges.start.size):
        node = edges.end[half]
        for k in range(edges.first[node], edges.first[node + 1]):
            other = edges.out[k]
            if edges.line[other] == edges.line[half]:
                continue
            cross = edges.x[half] * edges.y[other] - edges.y[half] * edges.x[other]
            dot = edges.x[half] * edges.x[other] + edges.y[half] * edges.y[other]
            turn = abs(math.atan2(cross, dot))
            if turn > _SHARPEST:
                continue
            index = table.first[half] + k - edges.first[node]
            tangent = radius * math.tan(turn / 2)
            price = fixed * min(1.0, turn / _WHOLE_BEND) + per_90 * turn / (math.pi / 2)
            if pegless[edges.line[other]]:
                price += leg
            into = edges.offset[half] + edges.sense[half] * edges.length[half]
            within = _within(squares, edges.line[half], into, into - edges.sense[half] * tangent)
            out_of = edges.offset[other]
            within += _within(squares, edges.line[other], out_of, out_of + edges.sense[other] * tangent)
            price += beside * max(0.0, within - _ARC_SPARE_M)
            price += corner * _lit(edges, walls, half, other, reach)
            table.tangent[index] = tangent
            table.price[index] = price


@compiled
def _within(squares: Any, line: int, one: float, other: float) -> Any:
    """Length between two offsets of a line that lies where it crosses a separation."""
    first, begin, end = squares
    low, high, total = min(one, other), max(one, other), 0.0
    for k in range(first[line], first[line + 1]):
        total += max(0.0, min(high, end[k]) - max(low, begin[k]))
    return total


@compiled
def _lit(edges: Any, walls: Any, half: int, other: int, reach: float) -> Any:
    """How far the field of two half lines exceeds the threshold at the corner that they light up most.

    Of a half line that begins in the node, the field at distance d from it and seen under an angle from the node is
    that of a straight wire at its reach, times reach (1 + cos) / (2 d); both half lines carry the current on.
    """
    first, corner = walls
    node, most = edges.end[half], 0.0
    for k in range(first[node], first[node + 1]):
        px, py = corner[k, 0], corner[k, 1]
        back = _half_line(-edges.x[half], -edges.y[half], px, py)
        onward = _half_line(edges.x[other], edges.y[other], px, py)
        most = max(most, min(_BRIGHTEST, reach / 2 * abs(onward - back) - 1.0))
    return most


@compiled
def _half_line(x: float, y: float, px: float, py: float) -> Any:
    """(1 + cos) / (d sin) of a half line along (x, y) seen from (px, py), in the form that holds behind its end too."""
    distance = math.hypot(px, py)
    along, beside = x * px + y * py, x * py - y * px
    if along < 0.0:
        return beside / (distance * (distance - along))
    return (distance + along) / (distance * beside) if beside != 0.0 else _ON_THE_WIRE


@compiled
def short_leg_price(lacks_m: float, fixed: float, per_m: float) -> Any:
    """Price of a leg that lacks room for its bends."""
    return fixed + per_m * lacks_m if lacks_m > _ROOM_M else 0.0
