"""The chosen loop against all loops of small graphs, and what must hold of it on any graph."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from parcelfence.layout.cheapest_loop import ChosenLoop, cheapest_loop
from parcelfence.layout.core import depths, edge_depths, first_cut, reduced_prices, sure_core
from tests.layout import every_loop
from tests.layout.plane_graphs import PRICES, face_at, square_with_lines

if TYPE_CHECKING:
    from parcelfence.layout.priced_graph import PricedGraph

SIZE_M = 24.0


def _graph(seed: int, count: int = 4) -> PricedGraph:
    """Give a square with lines from side to side, dear and cheap edges, solids, walls and separations as they come."""
    random = np.random.default_rng(seed)
    lines = []
    for _ in range(count):
        place, turn = random.uniform(0.2 * SIZE_M, 0.8 * SIZE_M, 2), random.uniform(0, np.pi)
        ahead = 2 * SIZE_M * np.array([np.cos(turn), np.sin(turn)])
        lines.append(shapely.LineString([place - ahead, place + ahead]))
    graph = square_with_lines(SIZE_M, lines)
    faces, edges, every = graph.worth.size, graph.price.size, count + 4
    solid = np.full(faces, -1)
    worth = graph.worth * random.uniform(0.3, 2.2, faces)
    owned = random.choice(np.arange(1, faces), 2, replace=False)
    solid[owned], worth[owned] = [0, 1], 0.0
    places = np.sort(random.uniform(-SIZE_M, SIZE_M, (every, 2)), axis=1)
    return replace(
        graph,
        price=graph.price * random.choice([1.0, 1.0, 1.5, 4.0], edges),
        worth=worth,
        solid=solid,
        solid_price=random.choice([0.0, 15.0, 60.0], 2),
        pegless=random.random(every) < 0.4,
        square_first=np.arange(every + 1),
        square_from=places[:, 0],
        square_to=places[:, 0] + random.choice([0.0, 2.0], every),
        corners=random.uniform(0, SIZE_M, (3, 2)),
    )


@pytest.mark.parametrize("seed", range(40))
def test_no_loop_round_its_core_is_cheaper(seed: int) -> None:
    graph = replace(_graph(seed), solid=np.full(_graph(seed).worth.size, -1))
    cut = first_cut(graph)
    if cut is None:
        assert every_loop.cheapest(graph, PRICES, inside=graph.must_be_in, outside=graph.must_be_out) > 0
        return
    deep = depths(graph, cut.inside)
    core = sure_core(graph, PRICES, inside=cut.inside, deep=deep)
    decided = reduced_prices(graph, cut=cut.inside, core=core, outside=graph.must_be_out, ways=edge_depths(graph, deep))
    assert decided is not None
    chosen = cheapest_loop(graph, PRICES)
    least = every_loop.cheapest(graph, PRICES, inside=decided.core, outside=decided.outside)
    assert chosen is not None
    assert chosen.faces[decided.core].all()
    assert not chosen.faces[decided.outside].any()
    if chosen.exact:
        assert chosen.total == pytest.approx(least, abs=1e-3)
    else:
        assert chosen.total >= least - 1e-3


@given(seed=st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_it_is_one_of_all_loops_and_none_is_below_the_bound(seed: int) -> None:
    graph = _graph(seed)
    chosen = cheapest_loop(graph, PRICES)
    least = every_loop.cheapest(graph, PRICES, inside=graph.must_be_in, outside=graph.must_be_out)
    if chosen is None:
        assert least > 0
        return
    assert chosen.bound - 1e-6 <= least <= chosen.total + 1e-3
    assert chosen.total == pytest.approx(_priced_afresh(graph, chosen), abs=1e-3)


def _priced_afresh(graph: PricedGraph, chosen: ChosenLoop) -> float:
    ring = every_loop.ring_of(graph, chosen.faces)
    assert ring is not None
    return every_loop.total(graph, PRICES, region=chosen.faces, ring=ring)


def _beside_the_edge(inner_loop: float) -> tuple[PricedGraph, int]:
    """Give a lot with a pool 4 m from its edge; a line along either side of the pool leads round it."""
    lines = [shapely.LineString([(x, -1), (x, 61)]) for x in (20, 30)]
    lines += [shapely.LineString([(-1, y), (61, y)]) for y in (4, 12)]
    graph = square_with_lines(60, lines)
    pool = face_at(graph, 25, 8)
    solid, worth = np.full(graph.worth.size, -1), graph.worth.copy()
    solid[pool], worth[pool] = 0, 0.0
    return replace(graph, solid=solid, worth=worth, solid_price=np.array([inner_loop])), pool


def test_a_dear_inner_loop_is_avoided_by_leading_the_loop_round() -> None:
    graph, pool = _beside_the_edge(300.0)
    chosen = cheapest_loop(graph, PRICES)
    assert chosen is not None
    assert not chosen.solids_inside[0]
    assert not chosen.faces[pool]
    assert not chosen.faces[face_at(graph, 25, 2)]
    assert chosen.turns.size == 8
    assert chosen.faces[face_at(graph, 25, 40)]


def test_a_cheap_inner_loop_stays_inside() -> None:
    graph, pool = _beside_the_edge(10.0)
    chosen = cheapest_loop(graph, PRICES)
    assert chosen is not None
    assert chosen.solids_inside[0]
    assert chosen.faces[pool]
    assert chosen.turns.size == 4
    assert chosen.price == pytest.approx(240 * 2.6 + 4 * 3 + 10)


def test_where_nothing_pays_there_is_no_loop_unless_something_must_be_inside() -> None:
    graph = square_with_lines(8.0, [shapely.LineString([(-1, 3), (9, 3)])])
    assert cheapest_loop(graph, PRICES) is None
    wanted = np.zeros(graph.worth.size, dtype=bool)
    wanted[face_at(graph, 4, 1)] = True
    chosen = cheapest_loop(replace(graph, must_be_in=wanted), PRICES)
    assert chosen is not None
    assert chosen.faces[wanted].all()
    assert chosen.total > 0


def test_a_strip_that_must_be_outside_is_led_round() -> None:
    lines = [shapely.LineString([(20, -1), (20, 41)]), shapely.LineString([(22, -1), (22, 41)])]
    graph = square_with_lines(40.0, lines)
    barred = graph.must_be_out.copy()
    barred[face_at(graph, 21, 20)] = True
    chosen = cheapest_loop(replace(graph, must_be_out=barred), PRICES)
    assert chosen is not None
    assert chosen.worth == pytest.approx(0.8 * 20 * 40)


@pytest.mark.parametrize("seed", [2, 5, 9, 12])
def test_mirrored_ground_gives_the_mirrored_loop(seed: int) -> None:
    graph = _graph(seed, 6)
    across = np.array([-1.0, 1.0])
    mirrored = replace(
        graph,
        nodes=graph.nodes * across,
        left=graph.right,
        right=graph.left,
        direction=graph.direction * across,
        corners=graph.corners * across,
    )
    one, other = cheapest_loop(graph, PRICES), cheapest_loop(mirrored, PRICES)
    assert one is not None
    assert other is not None
    assert other.total == pytest.approx(one.total, abs=1e-6)
    assert other.faces.tolist() == one.faces.tolist()
    assert sorted(other.turns.tolist()) == sorted(one.turns.tolist())


@pytest.mark.parametrize("seed", [1, 4, 7])
def test_the_order_of_edges_and_faces_does_not_matter(seed: int) -> None:
    graph = _graph(seed + 20, 6)
    random = np.random.default_rng(seed)
    edge, face = random.permutation(graph.tail.size), np.append(0, 1 + random.permutation(graph.worth.size - 1))
    new = np.argsort(face)
    turned = random.random(edge.size) < 0.5
    tail, head, left, right = graph.tail[edge], graph.head[edge], new[graph.left[edge]], new[graph.right[edge]]
    shuffled = replace(
        graph,
        tail=np.where(turned, head, tail),
        head=np.where(turned, tail, head),
        left=np.where(turned, right, left),
        right=np.where(turned, left, right),
        line=graph.line[edge],
        price=graph.price[edge],
        worth=graph.worth[face],
        face_area_m2=graph.face_area_m2[face],
        must_be_in=graph.must_be_in[face],
        must_be_out=graph.must_be_out[face],
        solid=graph.solid[face],
    )
    one, other = cheapest_loop(graph, PRICES), cheapest_loop(shuffled, PRICES)
    if one is None:
        assert other is None
        return
    assert other is not None
    assert other.total == pytest.approx(one.total, abs=1e-6)
    assert other.faces[new].tolist() == one.faces.tolist()
