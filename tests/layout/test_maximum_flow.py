"""The flow between faces, against another implementation and the theorem of the least cut."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import maximum_flow as reference_flow

from parcelfence.layout.maximum_flow import BOUNDLESS, Flow, maximum_flow

Edges = tuple[np.ndarray, np.ndarray]


def _random(seed: int, faces: int, edges: int) -> tuple[Edges, np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    left, right = random.integers(0, faces, (2, edges))
    right = np.where(right == left, (left + 1) % faces, right)
    supply = random.integers(0, 40, faces) * (random.random(faces) < 0.6)
    room = random.integers(0, 60, faces) * (random.random(faces) < 0.3)
    room[0] = BOUNDLESS if seed % 2 else 50
    return (left, right), random.integers(0, 30, edges), supply, room


def _reference(edges: Edges, capacity: np.ndarray, *, supply: np.ndarray, room: np.ndarray) -> int:
    """Find the same amount by SciPy, with a source and a sink of their own."""
    faces = supply.size
    left, right = edges
    every = np.arange(faces)
    rows = np.concatenate([left, right, np.full(faces, faces), every])
    columns = np.concatenate([right, left, every, np.full(faces, faces + 1)])
    amounts = np.concatenate([capacity, capacity, supply, np.minimum(room, supply.sum())])
    graph = coo_array((amounts.astype(np.int32), (rows, columns)), shape=(faces + 2, faces + 2)).tocsr()
    return int(reference_flow(graph, faces, faces + 1).flow_value)


@given(seed=st.integers(0, 10**6), faces=st.integers(2, 40), density=st.floats(0.5, 4.0))
@settings(max_examples=80, deadline=None)
def test_as_much_arrives_as_by_another_implementation(seed: int, faces: int, density: float) -> None:
    edges, capacity, supply, room = _random(seed, faces, max(1, int(faces * density)))
    flow = maximum_flow(edges, capacity=capacity, supply=supply, room=room)
    assert supply.sum() - flow.left_over == _reference(edges, capacity, supply=supply, room=room)


@given(seed=st.integers(0, 10**6), faces=st.integers(2, 40))
@settings(max_examples=60, deadline=None)
def test_the_cut_holds_back_as_much_as_does_not_arrive(seed: int, faces: int) -> None:
    edges, capacity, supply, room = _random(seed, faces, 3 * faces)
    flow = maximum_flow(edges, capacity=capacity, supply=supply, room=room)
    left, right = edges
    assert np.all(np.abs(flow.across) <= capacity)
    cut = flow.held[left] != flow.held[right]
    lets_through = capacity[cut].sum() + room[flow.held].sum() + supply[~flow.held].sum()
    assert supply.sum() - flow.left_over == lets_through


def test_where_nothing_is_left_over_it_is_a_flow() -> None:
    edges, capacity, supply, room = _random(3, 30, 120)
    capacity += 500
    flow = maximum_flow(edges, capacity=capacity, supply=supply, room=room)
    assert flow.left_over == 0
    left, right = edges
    off = supply.copy()
    np.subtract.at(off, left, flow.across)
    np.add.at(off, right, flow.across)
    assert np.all((off >= 0) & (off <= room))


@pytest.mark.parametrize("order", list(itertools.permutations(range(4)))[::5])
def test_the_cut_does_not_depend_on_the_order_of_faces(order: tuple[int, ...]) -> None:
    """Of equal cuts it is always the one that holds most."""
    left, right = np.array([0, 1, 2]), np.array([1, 2, 3])
    capacity = np.array([5, 5, 5])
    supply, room = np.array([0, 0, 0, 9]), np.array([BOUNDLESS, 0, 0, 0])
    place = np.array(order)
    flow: Flow = maximum_flow(
        (place[left], place[right]),
        capacity=capacity,
        supply=supply[np.argsort(place)],
        room=room[np.argsort(place)],
    )
    assert flow.held[place].tolist() == [False, True, True, True]
