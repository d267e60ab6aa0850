"""All simple loops of a small graph, each priced by plain geometry: what the search is measured against."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parcelfence.layout.priced_graph import PricedGraph, TurnPrices

FAR_M = 1e4
"""Legs so long count as endless: beyond, their field at a wall some metres away is below a ten-thousandth."""


def cheapest(graph: PricedGraph, prices: TurnPrices, *, inside: np.ndarray, outside: np.ndarray) -> float:
    """Least total of all simple loops with some faces inside and some outside; infinite where there is none."""
    free = np.flatnonzero(~inside & ~outside)
    totals = [math.inf]
    for chosen in itertools.product((False, True), repeat=free.size):
        region = inside.copy()
        region[free] = chosen
        if region.any() and (ring := ring_of(graph, region)) is not None:
            totals.append(total(graph, prices, region=region, ring=ring))
    return min(totals)


def total(graph: PricedGraph, prices: TurnPrices, *, region: np.ndarray, ring: list[tuple[int, int]]) -> float:
    """Price of a loop that is given by its steps (edge, node where the step begins), less the worth of its ground."""
    price = sum(float(graph.price[edge]) for edge, _ in ring)
    inner = {int(solid) for solid in graph.solid[region] if solid >= 0}
    price += sum(float(graph.solid_price[solid]) for solid in inner) - float(graph.worth[region].sum())
    return price + _bends_and_legs(graph, prices, ring)


def ring_of(graph: PricedGraph, region: np.ndarray) -> list[tuple[int, int]] | None:
    """Walk round a region with it on the left; None if its border is not one simple ring."""
    border = np.flatnonzero(region[graph.left] != region[graph.right])
    step = {}
    for edge in border:
        start, end = graph.tail[edge], graph.head[edge]
        if not region[graph.left[edge]]:
            start, end = end, start
        if start in step:
            return None
        step[start] = int(edge), end
    at = first = next(iter(step))
    ring = []
    while not ring or at != first:
        edge, end = step[at]
        ring.append((edge, int(at)))
        at = end
    return ring if len(ring) == border.size else None


def _bends_and_legs(graph: PricedGraph, prices: TurnPrices, ring: list[tuple[int, int]]) -> float:
    places = [k for k in range(len(ring)) if graph.line[ring[k][0]] != graph.line[ring[k - 1][0]]]
    corners = [graph.nodes[ring[k][1]] for k in places]
    lines = [int(graph.line[ring[k][0]]) for k in places]
    price, tangents = 0.0, []
    for before, here, behind, came, goes in _around(corners, lines):
        turn = abs(_angle(here - before, behind - here))
        if turn > math.radians(160):
            return math.inf
        tangent = prices.bend_radius_m * math.tan(turn / 2)
        tangents.append(tangent)
        price += prices.bend_fixed * min(1.0, math.degrees(turn) / 8) + prices.bend_per_90 * math.degrees(turn) / 90
        price += prices.pegless_leg * bool(graph.pegless[goes])
        back, ahead = _unit(before - here), _unit(behind - here)
        arc = _square_part(graph, came, here, here + tangent * back)
        arc += _square_part(graph, goes, here, here + tangent * ahead)
        price += prices.beside_per_m * max(0.0, arc - 0.03)
        price += prices.corner * _brightest(graph, prices, here, back=back, ahead=ahead)
    for k in range(len(corners)):
        length = float(np.hypot(*(corners[k] - corners[k - 1])))
        lacks = tangents[k] + tangents[k - 1] - length
        price += prices.short_leg + prices.short_leg_per_m * lacks if lacks > 1e-3 else 0.0
    return price


def _around(
    corners: list[np.ndarray], lines: list[int]
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray, int, int]]:
    count = len(corners)
    for k in range(count):
        yield corners[k - 1], corners[k], corners[(k + 1) % count], lines[k - 1], lines[k]


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.hypot(*vector)


def _angle(one: np.ndarray, other: np.ndarray) -> float:
    return math.atan2(one[0] * other[1] - one[1] * other[0], float(one @ other))


def _square_part(graph: PricedGraph, line: int, one: np.ndarray, other: np.ndarray) -> float:
    low, high = sorted([float(graph.direction[line] @ one), float(graph.direction[line] @ other)])
    held = range(graph.square_first[line], graph.square_first[line + 1])
    return sum(max(0.0, min(high, graph.square_to[k]) - max(low, graph.square_from[k])) for k in held)


def _brightest(
    graph: PricedGraph, prices: TurnPrices, here: np.ndarray, *, back: np.ndarray, ahead: np.ndarray
) -> float:
    """Compute the field of two very long legs at corners of walls (Biot and Savart) against the threshold."""
    most = 0.0
    for corner in graph.corners:
        if np.hypot(*(corner - here)) > 3 * prices.reach_m:
            continue
        field = _of_leg(here + FAR_M * back, here, corner) + _of_leg(here, here + FAR_M * ahead, corner)
        most = max(most, min(5.0, abs(field) * prices.reach_m / 2 - 1))
    return most


def _of_leg(start: np.ndarray, end: np.ndarray, place: np.ndarray) -> float:
    """Field across the plane, over that factor by which an endless wire gives 2 / distance."""
    ahead = _unit(end - start)
    beside = ahead[0] * (place - start)[1] - ahead[1] * (place - start)[0]
    one, other = float((place - start) @ ahead), float((place - end) @ ahead)
    return (one / math.hypot(one, beside) - other / math.hypot(other, beside)) / beside
