"""Where the wire and a buried line cross, and at what angle: measured from the finished geometry."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from shapely import LineString, Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Run
    from parcelfence.rules.nearness import Nearness
    from parcelfence.rules.wire import Wire

__all__ = ["Meeting", "meetings"]

_CHORD_M: Final = 0.25
_SAME_M: Final = 0.05
_TOUCH_M: Final = 1e-9


@dataclass(frozen=True, kw_only=True)
class Meeting:
    """One place where a run crosses a line.

    Parameters
    ----------
    run : Run
        Run that crosses.
    station_m : float
        Chainage of the crossing.
    point : Point
        The crossing.
    angle_deg : float
        Angle between them, 0 to 90; the worst of the directions before and after a bend.
    """

    run: Run
    station_m: float
    point: Point
    angle_deg: float


def meetings(near: Nearness, lines: Sequence[BaseGeometry]) -> tuple[tuple[Meeting, ...], ...]:
    """Find the crossings of the wire with each of some lines.

    Parameters
    ----------
    near : Nearness
        Distances between the lines and the pieces of the wire.
    lines : sequence of BaseGeometry
        LineString or MultiLineString each; other geometries have no crossings.

    Returns
    -------
    tuple of tuple of Meeting
        For each line its crossings in the order of the wire.
    """
    found: list[list[Meeting]] = [[] for _ in lines]
    met = near.distance_m < _TOUCH_M
    for number, piece in zip(near.feature[met], near.piece[met], strict=True):
        if shapely.get_dimensions(lines[number]) == 1:
            found[number].extend(_of_piece(near.wire, lines[number], piece=int(piece)))
    return tuple(tuple(_once(own)) for own in found)


def _of_piece(wire: Wire, line: BaseGeometry, *, piece: int) -> Iterator[Meeting]:
    run = wire.runs[wire.run_of[piece]]
    segment = wire.pieces[piece]
    shared = shapely.intersection(segment, line)
    if shared.is_empty:  # they touch within rounding
        shared = shapely.get_point(shapely.shortest_line(segment, line), 0)
    for part in shapely.get_parts(shared):
        point = part.interpolate(0.5, normalized=True) if part.length else part
        station_m = float(wire.start_m[piece]) + float(segment.project(point))
        angle_deg = _angle_deg(run, line, station_m=station_m)
        yield Meeting(run=run, station_m=station_m, point=point, angle_deg=angle_deg)


def _once(found: list[Meeting]) -> list[Meeting]:
    """Drop a crossing that two pieces share."""
    if not found:
        return found
    fresh = [found[0]]
    for before, after in pairwise(found):
        same = after.run is before.run and after.station_m - before.station_m < _SAME_M
        if not same:
            fresh.append(after)
    first, last = fresh[0], fresh[-1]
    over_start = first.run is last.run and first.run.line.is_closed and first.point.distance(last.point) < _SAME_M
    return fresh[:-1] if len(fresh) > 1 and over_start else fresh


def _angle_deg(run: Run, line: BaseGeometry, *, station_m: float) -> float:
    along_m = station_m - run.start_station_m
    point = run.line.interpolate(along_m)
    parts: list[LineString] = list(shapely.get_parts(line))
    crossed = min(parts, key=point.distance)
    ours = _directions(run.line, at_m=along_m)
    theirs = _directions(crossed, at_m=crossed.project(point))
    sines = [abs(float(a[0] * b[1] - a[1] * b[0])) for a, b in product(ours, theirs)]
    return float(np.degrees(np.arcsin(min(1.0, *sines)))) if sines else 90.0


def _directions(line: LineString, *, at_m: float) -> list[NDArray[np.float64]]:
    """Give the unit vectors of a line just before and just after one of its points; at an end only one."""
    stations = np.array([at_m - _CHORD_M, at_m, at_m + _CHORD_M])
    if line.is_closed:
        stations %= line.length
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, np.clip(stations, 0.0, line.length)))
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(*steps.T)
    return [step / length for step, length in zip(steps, lengths, strict=True) if length > _CHORD_M / 10]
