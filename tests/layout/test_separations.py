"""Stretches within a separation, against the buffer of the line."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString

from parcelfence.layout.buried import BuriedLine
from parcelfence.layout.separations import separations
from parcelfence.settings import Settings

SETTINGS = Settings()


@pytest.mark.parametrize("seed", range(8))
def test_stretches_are_those_within_the_buffer(seed: int) -> None:
    random = np.random.default_rng(seed)
    lines = [
        BuriedLine(line=LineString(random.uniform(0, 40, (3, 2))), separation_m=1.5 + number, names=("a",))
        for number in range(2)
    ]
    segments = random.uniform(0, 40, (60, 4))
    found = separations(segments, lines, settings=SETTINGS)
    zones = [line.line.buffer(line.separation_m, quad_segs=256) for line in lines]
    for number, (x1, y1, x2, y2) in enumerate(segments):
        segment = LineString([(x1, y1), (x2, y2)])
        expected = sum(segment.intersection(zone).length for zone in zones)
        of_it = found.segment == number
        assert (found.end_m - found.start_m)[of_it].sum() == pytest.approx(expected, abs=2e-3)


def test_only_a_crossing_that_is_square_is_square() -> None:
    line = BuriedLine(line=LineString([(0, 0), (50, 0)]), separation_m=1.5, names=("a",))
    square, askew, beside, past = [10, -5, 10.5, 5], [20, -5, 24, 5], [30, 1, 40, 1], [50.5, -5, 50.5, 5]
    found = separations(np.array([square, askew, beside, past], dtype=float), [line], settings=SETTINGS)
    assert found.segment.tolist() == [0, 1, 2, 3]
    assert found.square.tolist() == [True, False, False, False]


def test_a_line_with_a_bend_is_crossed_square_only_where_all_that_is_crossed_is_square() -> None:
    line = BuriedLine(line=LineString([(0, 0), (20, 0), (40, 20)]), separation_m=1.5, names=("a",))
    beside_the_bend = np.array([[18.0, -5.0, 18.0, 5.0], [20.5, -5.0, 20.5, 5.0]])
    found = separations(beside_the_bend, [line], settings=SETTINGS)
    assert found.square.tolist() == [True, False]
    assert shapely.LineString(beside_the_bend[1].reshape(2, 2)).crosses(line.line)
