"""The plane graph against Shapely's polygonizer, and the same graph whichever way its segments are turned."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, box
from shapely.ops import polygonize

from parcelfence.layout.plane_graph import PlaneGraph, plane_graph

BOX = np.array([[0, 0, 40, 0], [40, 0, 40, 40], [40, 40, 0, 40], [0, 40, 0, 0]], dtype=float)


def _segments(seed: int, count: int = 9) -> np.ndarray:
    """Give lines from one side of a square to another, and some that end in it."""
    random = np.random.default_rng(seed)
    across = []
    for middle, turn in zip(random.uniform(5, 35, (count, 2)), random.uniform(0, math.pi, count), strict=True):
        way = 80 * np.array([math.cos(turn), math.sin(turn)])
        across.append(
            np.asarray(LineString([middle - way, middle + way]).intersection(box(0, 0, 40, 40)).coords).ravel()
        )
    across[0] = np.append(across[0][:2], (across[0][:2] + across[0][2:]) / 2)
    return np.vstack([BOX, across])


def _graph(segments: np.ndarray) -> PlaneGraph:
    return plane_graph(segments, outline=segments[0, :2])


@pytest.mark.parametrize("seed", range(10))
def test_faces_are_those_of_the_polygonizer(seed: int) -> None:
    segments = _segments(seed)
    graph = _graph(segments)
    noded = shapely.union_all([LineString(each.reshape(2, 2)) for each in segments])
    expected = sorted(round(face.area, 3) for face in polygonize(noded) if face.area > 1e-3)
    found = sorted(round(float(area), 3) for area in graph.face_area_m2[1:] if area > 1e-3)
    assert sum(found) == pytest.approx(1600.0, abs=0.02)
    assert found == pytest.approx(expected, abs=2e-2)


@pytest.mark.parametrize("seed", range(5))
def test_every_edge_has_its_faces_on_its_sides(seed: int) -> None:
    graph = _graph(_segments(seed))
    ahead = graph.nodes[graph.head] - graph.nodes[graph.tail]
    towards = np.hypot(*ahead.T)[:, None]
    across = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / towards
    areas = np.zeros(graph.face_area_m2.size)
    for face, sense in ((graph.left, 1.0), (graph.right, -1.0)):
        tail, head = graph.nodes[graph.tail], graph.nodes[graph.head]
        np.add.at(areas, face, sense * (tail[:, 0] * head[:, 1] - tail[:, 1] * head[:, 0]) / 2)
    assert areas[1:] == pytest.approx(graph.face_area_m2[1:])
    assert areas[0] == pytest.approx(-1600.0)
    assert np.abs(np.einsum("ij,ij->i", across, graph.direction[graph.line])).max() < 1e-3


def test_segments_on_one_line_are_one_line() -> None:
    halves = np.array([[0, 20, 25, 20.0002], [15, 20.0001, 40, 20]], dtype=float)
    graph = _graph(np.vstack([BOX, halves]))
    assert graph.line_of_segment[4] == graph.line_of_segment[5]
    assert sorted(graph.face_area_m2.round(1).tolist()) == [0.0, 800.0, 800.0]


def test_an_end_that_misses_by_little_meets() -> None:
    graph = _graph(np.vstack([BOX, [[0.002, 20, 39.998, 20]]]))
    assert graph.face_area_m2.size == 3


def test_what_ends_in_nothing_is_dropped() -> None:
    graph = _graph(np.vstack([BOX, [[5, 5, 15, 5]], [[20, 0, 20, 10]]]))
    assert graph.face_area_m2.size == 2
    assert graph.tail.size == 5


@pytest.mark.parametrize("turn", [0.3, 1.9])
def test_it_turns_with_its_input(turn: float) -> None:
    segments = _segments(3)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    turned = np.hstack([segments[:, :2] @ rotation.T, segments[:, 2:] @ rotation.T])
    one, other = _graph(segments), _graph(turned)
    assert other.tail.size == one.tail.size
    assert np.sort(other.face_area_m2) == pytest.approx(np.sort(one.face_area_m2), abs=1e-3)
