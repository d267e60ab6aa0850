"""Wires, receivers, and the chain that the kernels read."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import LineString

from parcelfence.errors import InputError, SettingsError
from parcelfence.field.current import Chain, CurrentLoop, Receiver

SQUARE = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]


def test_repeated_and_closing_vertices_are_dropped() -> None:
    loop = CurrentLoop.from_line(LineString([*SQUARE[:2], SQUARE[1], *SQUARE[2:], SQUARE[0]]))
    assert loop.coordinates.tolist() == [list(vertex) for vertex in SQUARE]
    assert loop.length_m == 40.0


def test_heights_of_a_line_are_ignored() -> None:
    loop = CurrentLoop.from_line(LineString([(*vertex, 7.0) for vertex in [*SQUARE, SQUARE[0]]]))
    assert loop.coordinates.shape == (4, 2)


def test_coordinates_cannot_be_changed() -> None:
    given = np.array(SQUARE)
    loop = CurrentLoop(given)
    given[0] = 99.0
    assert loop.coordinates[0].tolist() == [0.0, 0.0]
    with pytest.raises(ValueError, match="read-only"):
        loop.coordinates[0] = 1.0


@pytest.mark.parametrize("vertices", [SQUARE[:2], [SQUARE[0]] * 4, [*SQUARE[:2], (math.nan, 0.0)]])
def test_a_loop_needs_three_finite_vertices(vertices: list[tuple[float, float]]) -> None:
    with pytest.raises(InputError, match="three distinct vertices"):
        CurrentLoop(np.array(vertices))


@pytest.mark.parametrize(
    "given", [{"reach_m": 0.0}, {"reach_m": 2.0, "height_m": -0.1}, {"reach_m": 2.0, "core_ratio": 1.0}]
)
def test_a_receiver_checks_itself(given: dict[str, float]) -> None:
    with pytest.raises(SettingsError, match="Reach must be positive"):
        Receiver(**given)


def test_levels_of_a_receiver() -> None:
    receiver = Receiver(reach_m=2.0, height_m=1.5, core_ratio=0.5)
    assert receiver.slant_m == 2.5
    assert receiver.core_level == pytest.approx(2.5 / math.hypot(1.0, 1.5))


def test_a_chain_carries_no_current_from_loop_to_loop() -> None:
    chain = Chain.of([CurrentLoop(np.array(SQUARE)), CurrentLoop(np.array(SQUARE) + 20.0, current=-1.0)])
    assert chain.currents.tolist() == [1.0] * 4 + [0.0] + [-1.0] * 4
    assert chain.strength_m == 80.0


def test_stretches_on_each_other_are_added_up() -> None:
    back = np.array([(0.0, 0.0), (10.0, 0.0), (20.0, 0.0), (10.0, 0.0)])
    assert not Chain.of([CurrentLoop(back)]).currents.any()
    twice = Chain.of([CurrentLoop(np.array(SQUARE))] * 2)
    assert twice.currents.tolist() == [2.0] * 4 + [0.0] * 5
