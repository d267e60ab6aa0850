"""Squaring: a lead-in crosses buried lines at a right angle too, by a short jog where it would not."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Utility

    Points = npt.NDArray[np.float64]

__all__ = ["squared"]

_WINDOW_M: Final = 0.5
_MOST_LONGER: Final = 1.5


def squared(way: LineString, utilities: Iterable[Utility], *, settings: Settings) -> LineString:
    """Make a way cross utilities square where there is room.

    Each piece that crosses a line more obliquely than the tolerance is bent so that it crosses on a straight bit of
    the separation's length each side, square to the line.  A jog that would cross anything else, or that would more
    than half lengthen its piece, is left out: the rules then report the angle.
    """
    lines = [part for each in utilities for part in shapely.get_parts(each.geometry) if isinstance(part, LineString)]
    near = [line for line in lines if line.intersects(way)]
    xy = shapely.get_coordinates(way)
    pieces = [xy[:1]]
    pieces += [_bent(start, end, lines=near, settings=settings) for start, end in pairwise(xy)]
    return LineString(np.vstack(pieces))


def _bent(start: Points, end: Points, *, lines: list[LineString], settings: Settings) -> Points:
    """Points after the start of a piece that crosses lines square."""
    straight = LineString([start, end])
    crossed = sorted(
        (float(straight.project(Point(xy))), number)
        for number, line in enumerate(lines)
        for xy in shapely.get_coordinates(straight.intersection(line))
    )
    points = [start]
    for at, number in crossed:
        middle = shapely.get_coordinates(straight.interpolate(at))[0]
        across = _normal(lines[number], middle)
        heading = (end - start) / straight.length
        if across is None or abs(float(across @ heading)) >= math.cos(math.radians(settings.crossing_tolerance_deg)):
            continue
        across *= np.sign(float(across @ heading)) or 1.0
        half_m = settings.utility_separation_m
        points += [middle - across * half_m, middle + across * half_m]
    points.append(end)
    bent = LineString(points)
    crossings = sum(len(shapely.get_coordinates(bent.intersection(line))) for line in lines)
    fits = bent.is_simple and crossings == len(crossed) and bent.length <= _MOST_LONGER * straight.length
    return np.array(points[1:] if fits else [end])


def _normal(line: LineString, point: Points) -> Points | None:
    at = line.project(Point(point))
    low, high = max(0.0, at - _WINDOW_M), min(line.length, at + _WINDOW_M)
    before, after = shapely.get_coordinates(shapely.line_interpolate_point(line, [low, high]))
    length = math.dist(before, after)
    if length == 0:
        return None
    return np.array([before[1] - after[1], after[0] - before[0]]) / length
