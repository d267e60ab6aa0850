"""What a wire does to utilities, measured piece by piece, with nothing of the designer in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import LineString

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parcelfence.layout.loop import Run
    from parcelfence.site.feature import Utility

_STEP_M = 0.1
_SLACK_M = 0.03


def off_square_deg(runs: Sequence[Run], utilities: Sequence[Utility]) -> Iterator[tuple[str, float]]:
    """Angle off square of every crossing, with what is crossed."""
    for run, line, name in _pairs(runs, utilities):
        for xy in shapely.get_coordinates(run.line.intersection(line)):
            wire, mark = _heading(run.line, xy), _heading(line, xy)
            yield name, 90.0 - _between_deg(wire, mark)


def beside_m(runs: Sequence[Run], utilities: Sequence[Utility], *, separation_m: float) -> Iterator[tuple[str, float]]:
    """Length of wire within the separation that is turned by more than 30 degrees from square, by utility."""
    for run, line, name in _pairs(runs, utilities):
        near = run.line.intersection(line.buffer(separation_m - _SLACK_M))
        length = 0.0
        for piece in shapely.get_parts(near):
            if piece.length < _STEP_M:
                continue
            for at in np.arange(_STEP_M / 2, piece.length, _STEP_M):
                xy = shapely.get_coordinates(piece.interpolate(at))[0]
                if _between_deg(_heading(run.line, xy), _heading(line, xy)) < 60.0:
                    length += _STEP_M
        if length:
            yield name, length


def _pairs(runs: Sequence[Run], utilities: Sequence[Utility]) -> Iterator[tuple[Run, LineString, str]]:
    for run in runs:
        for utility in utilities:
            for part in shapely.get_parts(utility.geometry):
                if isinstance(part, LineString) and part.dwithin(run.line, 5.0):
                    yield run, part.simplify(0.02), utility.id


def _heading(line: LineString, xy: np.ndarray) -> np.ndarray:
    at, window_m = line.project(shapely.Point(xy)), 0.15
    places = np.array([at - window_m, at + window_m])
    places = np.mod(places, line.length) if line.is_closed else np.clip(places, 0, line.length)
    before, after = shapely.get_coordinates(shapely.line_interpolate_point(line, places))
    return np.asarray(after - before)


def _between_deg(one: np.ndarray, other: np.ndarray) -> float:
    cross = abs(float(one[0] * other[1] - one[1] * other[0]))
    return math.degrees(math.atan2(cross, abs(float(one @ other))))
