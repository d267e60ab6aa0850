"""The cheapest loop that can be made of the edges of a priced graph, bends and legs included.

One cut without bends finds the ground that is worth its wire; what lies deep in it is the core.  The cheapest run round
the core is then found exactly, and found again with the other answer for every keep-out beside it: within the loop with
an inner loop of its own, or outside with the loop leading round it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.spatial import cKDTree

from parcelfence.compiled import compiled
from parcelfence.layout.core import FirstCut, depths, edge_depths, first_cut, reduced_prices, sure_core
from parcelfence.layout.face_graph import FaceGraph
from parcelfence.layout.half_edges import half_edges, priced_turns, short_leg_price
from parcelfence.layout.turn_search import cheapest_closed_run

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.core import ReducedPrices
    from parcelfence.layout.half_edges import HalfEdges, Turns
    from parcelfence.layout.priced_graph import PricedGraph, TurnPrices

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Indices = NDArray[np.int64]

__all__ = ["ChosenLoop", "cheapest_loop"]

_NEAR_REACHES: Final = 2.0
_NEAR_M: Final = 1.2
"""Keep-outs nearer to the loop than two reaches and a passage are tried both ways: beyond, the animal walks between."""
_BETTER_M: Final = 1e-6


@dataclass(frozen=True, kw_only=True)
class ChosenLoop:
    """The loop, and what it costs in metres of plain wire.

    Parameters
    ----------
    turns : ndarray, shape (t,)
        Nodes at which the wire turns, counter-clockwise.
    legs : ndarray, shape (t,)
        The line of the leg that leaves each of them.
    faces : ndarray of bool, shape (f,)
        What lies inside.
    solids_inside : ndarray of bool, shape (k,)
        Keep-outs, ponds and buildings inside.
    price : float
        Of the wire, its bends and legs, and of the inner loops that its solids need.
    worth : float
        Of the ground inside.
    bound : float
        No loop without bends has a total below this.
    exact : bool
        Whether no other loop round its core is cheaper; else the cheapest run touched itself, and was cut off there.
    """

    turns: Indices
    legs: Indices
    faces: Flags
    solids_inside: Flags
    price: float
    worth: float
    bound: float
    exact: bool

    @property
    def total(self) -> float:
        """Price less worth: below 0 where the loop pays."""
        return self.price - self.worth


def cheapest_loop(graph: PricedGraph, prices: TurnPrices) -> ChosenLoop | None:
    """Choose the loop whose price less the worth of its ground is least.

    Parameters
    ----------
    graph : PricedGraph
        What it can be made of.
    prices : TurnPrices
        Of bends and legs.

    Returns
    -------
    ChosenLoop or None
        None where no ground pays for its wire even without bends, or no loop goes round what must be inside.
    """
    cut = first_cut(graph)
    return None if cut is None else _Search(graph=graph, prices=prices, cut=cut).best()


@dataclass(frozen=True, kw_only=True)
class _Search:
    """All that the runs with different answers for the keep-outs have in common."""

    graph: PricedGraph
    prices: TurnPrices
    cut: FirstCut

    def best(self) -> ChosenLoop | None:
        """Begin with the answers of the first cut, then change the one that saves most, until none does."""
        answers = self._inside_wholly(self.cut.inside)
        chosen = self._round(answers)
        tried = {answers.tobytes()}
        while True:
            better, better_answers = chosen, answers
            for solid in self._doubtful(chosen):
                other = answers.copy()
                other[solid] = ~other[solid]
                if other.tobytes() in tried:
                    continue
                tried.add(other.tobytes())
                found = self._round(other)
                if found is not None and (better is None or found.total < better.total - _BETTER_M):
                    better, better_answers = found, other
            if better is chosen:
                return chosen
            chosen, answers = better, better_answers

    def _inside_wholly(self, inside: Flags) -> Flags:
        """Tell the solids all of whose faces lie inside."""
        owned, size = self.graph.solid >= 0, self.graph.solid_price.size
        faces = np.bincount(self.graph.solid[owned], minlength=size)
        held = np.bincount(self.graph.solid[owned & inside], minlength=size)
        result: Flags = (faces > 0) & (held == faces)
        return result

    def _doubtful(self, chosen: ChosenLoop | None) -> list[int]:
        """List the solids that could be on the other side of the loop, by their distance to it."""
        owned = self.graph.solid >= 0
        fixed = (self.graph.must_be_in | self.graph.must_be_out)[owned]
        free = np.setdiff1d(self.graph.solid[owned], self.graph.solid[owned][fixed])
        if chosen is None:
            return [int(solid) for solid in free]
        wire = chosen.faces[self.graph.left] != chosen.faces[self.graph.right]
        near = cKDTree(_sampled(self.graph, wire))
        within_m = _NEAR_REACHES * self.prices.reach_m + _NEAR_M
        return [
            int(solid)
            for solid in free
            if np.min(near.query(_sampled(self.graph, self._edges_of(int(solid))))[0]) < within_m
        ]

    def _edges_of(self, solid: int) -> Flags:
        result: Flags = (self.graph.solid[self.graph.left] == solid) | (self.graph.solid[self.graph.right] == solid)
        return result

    def _round(self, answers: Flags) -> ChosenLoop | None:
        """Find the cheapest run with given answers: the solids that lie inside, and the others, which do not."""
        graph = self.graph
        owned = graph.solid >= 0
        stays_in, stays_out = graph.must_be_in.copy(), graph.must_be_out.copy()
        stays_in[owned] |= answers[graph.solid[owned]] & ~graph.must_be_out[owned]
        stays_out[owned] |= ~answers[graph.solid[owned]] & ~graph.must_be_in[owned]
        decided = reduced_prices(
            graph,
            cut=self.cut.inside | stays_in,
            core=(self._core | stays_in) & ~stays_out,
            outside=stays_out,
            ways=self._ways,
        )
        if decided is None:
            return None
        seam = self._seam(decided)
        run = cheapest_closed_run(
            self._edges, self._turns, reduced=decided.of_half_edges, seam=seam, prices=self.prices
        )
        return None if run is None else self._chosen(run.halves, decided=decided)

    def _seam(self, decided: ReducedPrices) -> Indices:
        """Mark the half-edges that cross the shortest chain of faces from the core to the ground outside."""
        start = decided.core
        crossed = self._faces.way(start, goal=decided.outside, barred=np.zeros_like(start), weight=np.ones(start.size))
        seam = np.zeros(2 * self.graph.left.size, dtype=np.int64)
        here = start
        reached = np.zeros_like(start)
        for edge in crossed:
            outwards = bool(here[self.graph.left[edge]])
            face = self.graph.right[edge] if outwards else self.graph.left[edge]
            seam[2 * edge + (not outwards)], seam[2 * edge + outwards] = 1, -1
            here = reached = np.zeros_like(reached)
            here[face] = True
        return seam

    def _chosen(self, halves: Indices, *, decided: ReducedPrices) -> ChosenLoop | None:
        """Price a run afresh, edge by edge; where it touches itself, keep the piece that goes round the core."""
        walked = _walked(self._edges, halves)
        pieces = _simple_pieces(self._edges.start[walked].tolist())
        walls = np.zeros(self.graph.left.size, dtype=np.bool_)
        for piece in pieces:
            walls[:] = False
            walls[walked[piece] >> 1] = True
            faces = self._faces.enclosed(walls)
            if faces[decided.core].all():
                break
        walked = walked[piece]
        turning = self._edges.ahead[np.roll(walked, 1)] != walked
        short = (self.prices.short_leg, self.prices.short_leg_per_m)
        bends = _price_of_turns(self._edges, self._turns, np.roll(walked, -int(np.argmax(turning))), short)
        if not math.isfinite(bends):
            return None
        inside = self._inside_wholly(faces)
        return ChosenLoop(
            turns=self._edges.start[walked[turning]],
            legs=self._edges.line[walked[turning]],
            faces=faces,
            solids_inside=inside,
            price=float(self.graph.price[walked >> 1].sum() + bends + self.graph.solid_price[inside].sum()),
            worth=float(self.graph.worth[faces].sum()),
            bound=self.cut.bound,
            exact=len(pieces) == 1,
        )

    @cached_property
    def _edges(self) -> HalfEdges:
        return half_edges(self.graph)

    @cached_property
    def _turns(self) -> Turns:
        return priced_turns(self.graph, self.prices, edges=self._edges)

    @cached_property
    def _faces(self) -> FaceGraph:
        return FaceGraph.of(self.graph)

    @cached_property
    def _depths(self) -> Floats:
        return depths(self.graph, self.cut.inside)

    @cached_property
    def _ways(self) -> Floats:
        return edge_depths(self.graph, self._depths)

    @cached_property
    def _core(self) -> Flags:
        return sure_core(self.graph, self.prices, inside=self.cut.inside, deep=self._depths)


def _sampled(graph: PricedGraph, edges: Flags) -> Floats:
    """Give the ends and the middles of edges."""
    tail, head = graph.nodes[graph.tail[edges]], graph.nodes[graph.head[edges]]
    return np.vstack([tail, (tail + head) / 2, head])


@compiled
def _walked(edges: Any, halves: Any) -> Any:
    """List every half-edge of a run that is given by those that leave its turns."""
    walked = np.empty(edges.start.size, dtype=np.int64)
    count = 0
    for k in range(halves.size):
        half, until = halves[k], edges.start[halves[(k + 1) % halves.size]]
        while True:
            if count == walked.size:
                walked = np.append(walked, np.empty(count, dtype=np.int64))
            walked[count] = half
            count += 1
            if edges.end[half] == until:
                break
            half = edges.ahead[half]
    return walked[:count]


def _simple_pieces(nodes: list[int]) -> list[list[int]]:
    """Cut a closed run wherever it comes to a node again; gives the places of its steps in each simple piece."""
    pieces: list[list[int]] = []
    path: list[int] = []
    at: dict[int, int] = {}
    for step, node in enumerate(nodes):
        if node in at:
            pieces.append(path[at[node] :])
            for former in path[at[node] :]:
                del at[nodes[former]]
            path = path[: len(path) - len(pieces[-1])]
        at[node] = len(path)
        path.append(step)
    return [*pieces, path]


@compiled
def _price_of_turns(edges: Any, turns: Any, walked: Any, short: Any) -> Any:
    """Price of the bends and legs of a closed run that begins with a turn."""
    count = walked.size
    price, length, tangent = 0.0, 0.0, 0.0
    for k in range(count + 1):
        half, former = walked[k % count], walked[(k - 1) % count]
        if edges.ahead[former] != half:
            node = edges.start[half]
            j = turns.first[former]
            for i in range(edges.first[node], edges.first[node + 1]):
                if edges.out[i] == half:
                    j += i - edges.first[node]
            if k > 0:
                price += short_leg_price(tangent + turns.tangent[j] - length, short[0], short[1])
            if k < count:
                price += turns.price[j]
            tangent, length = turns.tangent[j], 0.0
        length += edges.length[half]
    return price
