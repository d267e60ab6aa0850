"""Ground that surely lies inside the loop, and prices of edges that hold the worth of all other ground already.

The core is the ground that lies deep inside the region of the first cut.  All other faces send their worth over the
edges, as far as prices allow, to the core or to the outside.  An edge of price c with the flow f from its left to
its right side then costs c - f with the ground on its left and c + f with the ground on its right, never below 0, and
for every run round the core

    price of the run - worth of its ground = its reduced prices - flow into the core - worth of the core.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.spatial import cKDTree

from parcelfence.compiled import compiled
from parcelfence.layout.face_graph import FaceGraph
from parcelfence.layout.maximum_flow import BOUNDLESS, maximum_flow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.priced_graph import PricedGraph, TurnPrices

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Indices = NDArray[np.int64]

__all__ = ["FirstCut", "ReducedPrices", "depths", "edge_depths", "first_cut", "joined", "reduced_prices", "sure_core"]

_UNITS_PER_M: Final = 1_000_000
"""Prices are counted in whole micrometres of wire, so that flows are exact."""
_DEEP: Final = 1.5
"""Of the 2 (1 / v + reach) m at which a strip would pay for a loop of its own: deeper ground is surely inside."""
_SAMPLES_M: Final = 0.5
"""Of the border from which depths are measured: a quarter of the usual reach is exact enough for a core."""
_ROUNDS: Final = 12
"""Growing the core takes two rounds as a rule; each makes it larger or takes ground away, so that it ends."""


@dataclass(frozen=True, kw_only=True)
class FirstCut:
    """What would be enclosed if bends cost nothing.

    Parameters
    ----------
    inside : ndarray of bool, shape (f,)
        Ground of the part with the house, or the most valuable one; without holes.
    others : ndarray of bool, shape (f,)
        Ground of further parts, each of which would pay for a loop of its own.
    bound : float
        No loop, nor any set of loops, has a total below this.
    """

    inside: Flags
    others: Flags
    bound: float


@dataclass(frozen=True, kw_only=True)
class ReducedPrices:
    """Prices of half-edges with the worth of the ground in them.

    Parameters
    ----------
    core, outside : ndarray of bool, shape (f,)
        What has been decided: every other face may be either.
    of_half_edges : ndarray, shape (2 m,)
        With the ground on the left; at least 0, and infinite where that would contradict what is decided.
    """

    core: Flags
    outside: Flags
    of_half_edges: Floats


def first_cut(graph: PricedGraph) -> FirstCut | None:
    """Find the ground that is worth most without bends; None where no ground pays and none must be inside."""
    capacity, supply = _units(graph.price), _units(graph.worth)
    faces = FaceGraph.of(graph)
    room = np.zeros(supply.size, dtype=np.int64)
    room[graph.must_be_out] = BOUNDLESS
    room[0] = BOUNDLESS
    owed = graph.solid >= 0
    price, count = (
        np.append(graph.solid_price, 0.0),
        np.bincount(graph.solid[owed], minlength=graph.solid_price.size + 1),
    )
    room[owed] = np.maximum(room[owed], _units(price[graph.solid[owed]] / np.maximum(count[graph.solid[owed]], 1)))
    supply[graph.must_be_in] = 1 + 2 * int(capacity.sum())
    room[graph.must_be_in] = 0
    flow = maximum_flow((graph.left, graph.right), capacity=capacity, supply=supply, room=room)
    held = flow.held
    across = held[graph.left] != held[graph.right]
    owes = np.unique(graph.solid[owed & held])
    bound = float(graph.price[across].sum() + graph.solid_price[owes].sum() - graph.worth[held].sum())
    if not held.any():
        return None
    part = faces.parts(held)
    worth = np.bincount(part[held], weights=graph.worth[held])
    wanted = np.bincount(part[held], weights=graph.must_be_in[held])
    chosen = int(np.lexsort([worth, wanted])[-1])
    inside = held & (part == chosen)
    inside = _without_holes(graph, inside)
    return FirstCut(inside=inside, others=held & ~inside, bound=bound)


def depths(graph: PricedGraph, inside: Flags) -> Floats:
    """Measure how deep every node lies below the border of a region, 0 outside of it."""
    border = inside[graph.left] != inside[graph.right]
    tail, head = graph.nodes[graph.tail[border]], graph.nodes[graph.head[border]]
    steps = np.maximum(1, np.ceil(np.hypot(*(head - tail).T) / _SAMPLES_M)).astype(np.int64)
    of_edge = np.repeat(np.arange(steps.size), steps)
    step = np.arange(of_edge.size) - np.repeat(np.cumsum(steps) - steps, steps)
    share = (step / steps[of_edge])[:, None]
    samples = np.vstack([tail[of_edge] + share * (head - tail)[of_edge], head])
    within = np.zeros(graph.nodes.shape[0], dtype=np.bool_)
    within[np.concatenate([graph.tail[inside[graph.left]], graph.head[inside[graph.left]]])] = True
    within[np.concatenate([graph.tail[inside[graph.right]], graph.head[inside[graph.right]]])] = True
    deep = np.zeros(within.size)
    deep[within] = cKDTree(samples).query(graph.nodes[within])[0]
    return deep


def edge_depths(graph: PricedGraph, deep: Floats) -> Floats:
    """Depth of the way from face to face over each edge: that of its deeper end, near enough."""
    longest: Floats = np.maximum(deep[graph.tail], deep[graph.head])
    return longest


def sure_core(graph: PricedGraph, prices: TurnPrices, *, inside: Flags, deep: Floats) -> Flags:
    """Choose the faces of the first cut that are surely inside: deep ones, and those that pay for their own border."""
    shallowest = np.full(inside.size, np.inf)
    border = np.zeros(inside.size)
    for face in (graph.left, graph.right):
        np.minimum.at(shallowest, face, np.minimum(deep[graph.tail], deep[graph.head]))
        np.add.at(border, face, graph.price)
    least_m = _DEEP * (1 / prices.worth_per_m2 + prices.reach_m)
    core = inside & ((shallowest > least_m) | (graph.worth > border) | graph.must_be_in)
    if not core.any():
        core[np.argmax(np.where(inside, graph.worth, -1.0))] = True
    return core


def _sides(graph: PricedGraph) -> tuple[tuple[Indices, Indices], tuple[Indices, Indices]]:
    """Give the faces on the left and on the right of the two half-edges of every edge."""
    return (graph.left, graph.right), (graph.right, graph.left)


def reduced_prices(
    graph: PricedGraph, *, cut: Flags, core: Flags, outside: Flags, ways: Floats
) -> ReducedPrices | None:
    """Send the worth of all ground that is not core to the core or the outside.

    Ground that would pay for a loop of its own joins the core if it lies in the first cut, and is left outside if not.

    Parameters
    ----------
    graph : PricedGraph
        The graph.
    cut : ndarray of bool, shape (f,)
        The first cut.
    core, outside : ndarray of bool, shape (f,)
        What is decided.
    ways : ndarray, shape (m,)
        Depth of every edge: the pieces of the core are joined by the deepest way.

    Returns
    -------
    ReducedPrices or None
        None where the pieces of the core cannot be joined, or nothing of it is left.
    """
    capacity, worth = _units(graph.price), _units(graph.worth)
    core, outside = core.copy(), outside.copy()
    outside[0] = True
    faces = FaceGraph.of(graph)
    for _ in range(_ROUNDS):
        outside = faces.led_out(outside, worth=graph.worth, core=core)
        core &= ~outside
        together = joined(graph, core=core, within=(cut | core) & ~outside, ways=ways)
        if together is None:
            together = joined(graph, core=core, within=~outside, ways=ways)
        if together is None:
            return None
        core = together
        ends = core | outside
        flow = maximum_flow(
            (graph.left, graph.right),
            capacity=capacity,
            supply=np.where(ends, 0, worth),
            room=np.where(ends, BOUNDLESS, 0),
        )
        if not flow.left_over:
            across = flow.across / _UNITS_PER_M
            left, right = (np.stack(sides, axis=1).ravel() for sides in _sides(graph))
            reduced = np.maximum(np.stack([graph.price - across, graph.price + across], axis=1).ravel(), 0.0)
            reduced[outside[left] | core[right]] = np.inf
            return ReducedPrices(core=core, outside=outside, of_half_edges=reduced)
        core |= flow.held & cut & ~outside
        outside |= flow.held & ~core
    return None


def joined(graph: PricedGraph, *, core: Flags, within: Flags, ways: Floats) -> Flags | None:
    """Join the pieces of a core by the deepest ways through a region; None where there is none."""
    if not core.any():
        return None
    usable = np.flatnonzero(within[graph.left] & within[graph.right])
    inner = core[graph.left[usable]] & core[graph.right[usable]]
    order = usable[np.lexsort([-ways[usable], ~inner])]
    result = core.copy()
    pieces = _join(order, graph.left, graph.right, result)
    return result if pieces == 1 else None


@compiled
def _root(parent: Any, face: int) -> Any:
    while parent[face] != face:
        parent[face] = parent[parent[face]]
        face = parent[face]
    return face


@compiled
def _join(order: Any, left: Any, right: Any, core: Any) -> Any:
    """Grow a spanning tree edge by edge, cut off its leaves outside the core; gives the number of pieces left."""
    faces = core.size
    parent = np.arange(faces)
    degree = np.zeros(faces, dtype=np.int64)
    taken = np.zeros(order.size, dtype=np.bool_)
    for k in range(order.size):
        one, other = _root(parent, left[order[k]]), _root(parent, right[order[k]])
        if one != other:
            parent[one] = other
            taken[k] = True
            degree[left[order[k]]] += 1
            degree[right[order[k]]] += 1
    shrinking = True
    while shrinking:
        shrinking = False
        for k in range(order.size - 1, -1, -1):
            one, other = left[order[k]], right[order[k]]
            if taken[k] and ((degree[one] == 1 and not core[one]) or (degree[other] == 1 and not core[other])):
                taken[k] = False
                degree[one] -= 1
                degree[other] -= 1
                shrinking = True
    pieces = np.zeros(faces, dtype=np.bool_)
    for face in range(faces):
        if core[face]:
            pieces[_root(parent, face)] = True
    for face in range(faces):
        if degree[face] > 0 and pieces[_root(parent, face)]:
            core[face] = True
    return pieces.sum()


def _units(price: Floats) -> Indices:
    """Count in whole units, rounded down: no reduced price falls below 0."""
    return np.floor(price * _UNITS_PER_M).astype(np.int64)


def _without_holes(graph: PricedGraph, inside: Flags) -> Flags:
    """Add what lies enclosed by a region, unless it must be outside."""
    part = FaceGraph.of(graph).parts(inside)
    outer = np.zeros(part.max() + 1, dtype=np.bool_)
    outer[part[0]] = True
    outer[part[graph.must_be_out]] = True
    return inside | ~outer[part]
