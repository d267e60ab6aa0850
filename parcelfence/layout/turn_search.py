"""The cheapest closed run round the core, over turns.

A run crosses the seam, a chain of faces from the core to the outside, once more outwards than inwards.  It is searched
from every edge of the seam on: first backwards without the price of legs too short for their bends, which gives the
least that any continuation costs; then forwards over turns with that as guidance, each leg priced by its length and the
bends at both of its ends.  All prices are at least 0, so the first run that comes home is the cheapest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from parcelfence.compiled import compiled
from parcelfence.layout.half_edges import short_leg_price
from parcelfence.layout.heap import popped, pushed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.half_edges import HalfEdges, Turns
    from parcelfence.layout.priced_graph import TurnPrices

    Floats = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["ClosedRun", "cheapest_closed_run"]


class ClosedRun(NamedTuple):
    """The half-edges that leave its turns, in order, and the sum of its reduced prices and those of its turns."""

    halves: Indices
    price: float


class _Labels(NamedTuple):
    """A run that has just turned into a half-edge: what it costs, and what its legs need to know.

    `spare` is the length of the first leg behind the seam less the tangent at its end; `before` the label it came
    from, `older` the label that was settled before it at the same half-edge.
    """

    half: Indices
    layer: Indices
    price: Floats
    tangent: Floats
    spare: Floats
    before: Indices
    older: Indices


def cheapest_closed_run(
    edges: HalfEdges, turns: Turns, *, reduced: Floats, seam: Indices, prices: TurnPrices
) -> ClosedRun | None:
    """Find the cheapest closed run that crosses the seam outwards once more than inwards.

    Parameters
    ----------
    edges : HalfEdges
        The graph.
    turns : Turns
        Its turns.
    reduced : ndarray, shape (2 m,)
        Price of every half-edge where the ground lies on its left, at least 0.
    seam : ndarray of int, shape (2 m,)
        1 for half-edges that cross the seam with the core on the left, -1 for the others of these edges.
    prices : TurnPrices
        Of short legs.
    """
    best = ClosedRun(halves=np.zeros(0, dtype=np.int64), price=np.inf)
    short = (prices.short_leg, prices.short_leg_per_m)
    to_go = np.empty((edges.start.size, 2))
    gates = np.flatnonzero(seam > 0)
    for gate in gates[np.argsort(reduced[gates], kind="stable")]:
        _to_go(edges, turns, reduced, seam, to_go, gate, best.price)
        if to_go[gate, 0] >= best.price:
            continue
        halves, price = _forward(edges, turns, reduced, seam, to_go, gate, best.price, short)
        if price < best.price:
            best = ClosedRun(halves=halves, price=price)
    return best if best.halves.size else None


@compiled
def _to_go(edges: Any, turns: Any, reduced: Any, seam: Any, to_go: Any, gate: int, bound: float) -> None:
    """Find the least that is still to be paid before a half-edge is walked, having crossed the seam never or once.

    Two layers: runs that have crossed it once come home when they reach the gate.  Nothing is followed beyond the price
    of the whole round, or the bound; from there on that is the least.
    """
    to_go[:] = np.inf
    to_go[gate, 1] = 0.0
    keys, items = np.empty(1024), np.empty(1024, dtype=np.int64)
    keys[0], items[0] = 0.0, 2 * gate + 1
    size = 1
    while size > 0:
        popped((keys, items), size)
        size -= 1
        key, half, layer = keys[size], items[size] >> 1, items[size] & 1
        if key > to_go[half, layer]:
            continue
        if key >= bound or (half == gate and layer == 0):
            to_go[:] = np.minimum(to_go, key)
            break
        node = edges.start[half]
        k = 0
        while edges.out[edges.first[node] + k] != half:
            k += 1
        for j in range(edges.first[node], edges.first[node + 1]):
            former = edges.out[j] ^ 1
            earlier = layer - seam[former]
            if earlier < 0 or earlier > 1 or (former == gate and earlier == 1):
                continue
            turn = 0.0 if edges.ahead[former] == half else turns.price[turns.first[former] + k]
            price = key + turn + reduced[former]
            if price < to_go[former, earlier] and price < bound:
                to_go[former, earlier] = price
                keys, items = pushed((keys, items), size, price, 2 * former + earlier)
                size += 1


@compiled
def _forward(edges: Any, turns: Any, reduced: Any, seam: Any, to_go: Any, gate: int, bound: float, short: Any) -> Any:
    """Search over turns; gives the half-edges after each turn, and the price: `bound` where none is cheaper."""
    labels = _no_labels(1024)
    keys, items = np.empty(1024), np.empty(1024, dtype=np.int64)
    newest = np.full((edges.start.size, 2), -1)
    size = count = 0
    best, home = bound, -1
    labels, count, keys, items, size = _walk(
        edges, turns, reduced, seam, to_go, labels, count, keys, items, size, gate, -1, best, short
    )
    while size > 0:
        popped((keys, items), size)
        size -= 1
        key, label = keys[size], items[size]
        if key >= best:
            break
        half, layer = labels.half[label], labels.layer[label]
        if _dominated(labels, newest[half, layer], label, short):
            continue
        labels.older[label] = newest[half, layer]
        newest[half, layer] = label
        price = _coming_home(edges, reduced, seam, labels, label, gate, short)
        if price < best:
            best, home = price, label
        labels, count, keys, items, size = _walk(
            edges, turns, reduced, seam, to_go, labels, count, keys, items, size, gate, label, best, short
        )
    return _traced(labels, home), best


@compiled
def _no_labels(size: int) -> Any:
    return _Labels(
        np.empty(size, dtype=np.int64),
        np.empty(size, dtype=np.int64),
        np.empty(size),
        np.empty(size),
        np.empty(size),
        np.empty(size, dtype=np.int64),
        np.empty(size, dtype=np.int64),
    )


@compiled
def _grown(labels: Any, count: int) -> Any:
    more = _no_labels(2 * count)
    more.half[:count] = labels.half[:count]
    more.layer[:count] = labels.layer[:count]
    more.price[:count] = labels.price[:count]
    more.tangent[:count] = labels.tangent[:count]
    more.spare[:count] = labels.spare[:count]
    more.before[:count] = labels.before[:count]
    more.older[:count] = labels.older[:count]
    return more


@compiled
def _dominated(labels: Any, other: int, label: int, short: Any) -> Any:
    """Whether a settled label at the same half-edge can follow every continuation of this one at no higher price."""
    fixed, per_m = short
    while other >= 0:
        price = labels.price[other]
        price += short_leg_price(labels.tangent[other] - labels.tangent[label], fixed, per_m)
        price += short_leg_price(labels.spare[label] - labels.spare[other], fixed, per_m)
        if price <= labels.price[label]:
            return True
        other = labels.older[other]
    return False


@compiled
def _walk(
    edges: Any,
    turns: Any,
    reduced: Any,
    seam: Any,
    to_go: Any,
    labels: Any,
    count: int,
    keys: Any,
    items: Any,
    size: int,
    gate: int,
    label: int,
    best: float,
    short: Any,
) -> Any:
    """Walk straight on from a label, or from the gate (label -1), and turn at every node."""
    if label < 0:
        half, layer, price, tangent = gate, 0, 0.0, 0.0
    else:
        half, layer, price, tangent = (
            labels.half[label],
            labels.layer[label],
            labels.price[label],
            labels.tangent[label],
        )
    length = 0.0
    while half >= 0 and not (half == gate and layer == 1) and price + to_go[half, layer] < best:
        layer += seam[half]
        if layer < 0 or layer > 1:
            break
        price += reduced[half]
        length += edges.length[half]
        node = edges.end[half]
        for k in range(edges.first[node], edges.first[node + 1]):
            turn, other = turns.first[half] + k - edges.first[node], edges.out[k]
            total = price + turns.price[turn]
            if label >= 0:
                total += short_leg_price(tangent + turns.tangent[turn] - length, short[0], short[1])
            if total + to_go[other, layer] >= best:
                continue
            if count == labels.half.size:
                labels = _grown(labels, count)
            labels.half[count], labels.layer[count] = other, layer
            labels.price[count], labels.tangent[count] = total, turns.tangent[turn]
            labels.spare[count] = length - turns.tangent[turn] if label < 0 else labels.spare[label]
            labels.before[count], labels.older[count] = label, -1
            keys, items = pushed((keys, items), size, total + to_go[other, layer], count)
            count += 1
            size += 1
        half = edges.ahead[half]
    return labels, count, keys, items, size


@compiled
def _coming_home(edges: Any, reduced: Any, seam: Any, labels: Any, label: int, gate: int, short: Any) -> Any:
    """Price of the run if it goes straight on to the gate and closes there; infinite where it does not come there."""
    half, layer, price = labels.half[label], labels.layer[label], labels.price[label]
    if edges.line[half] != edges.line[gate] or edges.sense[half] != edges.sense[gate]:
        return np.inf
    length = 0.0
    while half >= 0 and 0 <= layer <= 1:
        if half == gate and layer == 1:
            lacks = labels.tangent[label] - length - labels.spare[label]
            return price + short_leg_price(lacks, short[0], short[1])
        layer += seam[half]
        price += reduced[half]
        length += edges.length[half]
        half = edges.ahead[half]
    return np.inf


@compiled
def _traced(labels: Any, label: int) -> Any:
    count, at = 0, label
    while at >= 0:
        count += 1
        at = labels.before[at]
    halves = np.empty(count, dtype=np.int64)
    while label >= 0:
        count -= 1
        halves[count] = labels.half[label]
        label = labels.before[label]
    return halves
