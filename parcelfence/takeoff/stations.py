"""Stations: the points of the wire that are staked out, with their chainage."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.takeoff.courses import courses
from parcelfence.units import station_label

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely import Point

    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings
    from parcelfence.takeoff.courses import Course

__all__ = ["Station", "stations"]

_SAME_M: Final = 0.05
_CLOSE_M: Final = 0.15
"""Two stakes of a curve nearer than this mark one place; the chord that is left bends by millimetres."""
_OF_A_CURVE: Final = frozenset({"tangent", "curve"})
_CHORD_M: Final = 0.01
"""Farther from the curve no chord between two stakes lies."""
_RANK: Final = ("start", "end", "tangent", "crossing", "regular", "curve")


@dataclass(frozen=True, kw_only=True)
class Station:
    """One staked point of the wire.

    Parameters
    ----------
    point : Point
        On the wire.
    loop_id : str
        Run that it belongs to.
    station_m : float
        Chainage.
    label : str
        Chainage as it is written on a stake.
    point_kind : str
        ``"start"``, ``"tangent"``, ``"curve"``, ``"regular"``, ``"crossing"`` or ``"end"``.
    """

    point: Point
    loop_id: str
    station_m: float
    label: str
    point_kind: str


def stations(loop: Loop, crossings: tuple[Crossing, ...], *, settings: Settings) -> tuple[Station, ...]:
    """List the points to be staked.

    Parameters
    ----------
    loop : Loop
        Every run is stationed on its own.
    crossings : tuple of Crossing
        Each gets a stake.
    settings : Settings
        Interval of the regular stations, and how labels are written.

    Returns
    -------
    tuple of Station
        Run by run in the order of chainage: start, both tangent points of every curve and points between them, by
        whose chords the curve is met within 1 cm, regular stations, crossings, end.  Of two within 5 cm the one
        on a curve is left out, then the regular one; two of a curve stand 15 cm apart at least.
    """
    return tuple(station for run in loop.runs for station in _of_run(run, crossings=crossings, settings=settings))


def _of_run(run: Run, *, crossings: tuple[Crossing, ...], settings: Settings) -> Iterator[Station]:
    own = [crossing for crossing in crossings if crossing.loop_id == run.loop_id and crossing.twisted == run.twisted]
    # several runs may share an id (a lead-in and its branches): a crossing belongs to the run that it lies on
    marked = [("crossing", crossing.station_m) for crossing in own if run.line.distance(crossing.point) < _SAME_M]
    for station_m, kind in _thinned([*marked, *_points(run, interval_m=settings.station_interval_m)]):
        yield Station(
            point=run.line.interpolate(station_m - run.start_station_m),
            loop_id=run.loop_id,
            station_m=station_m,
            label=station_label(station_m, style=settings.station_format),
            point_kind=kind,
        )


def _points(run: Run, *, interval_m: float) -> Iterator[tuple[str, float]]:
    first_m, last_m = run.start_station_m, run.start_station_m + run.line.length
    yield "start", first_m
    yield "end", last_m
    for course in courses(run.line):
        if course.is_curve:
            yield "tangent", first_m + course.start_m
            for station_m in _on_curve(course):
                yield "curve", first_m + station_m
            yield "tangent", first_m + course.end_m
        elif course.start_m > 0:
            yield "tangent", first_m + course.start_m
    numbers = np.arange(np.ceil(first_m / interval_m), np.floor(last_m / interval_m) + 1)
    for station_m in numbers * interval_m:
        yield "regular", float(station_m)


def _on_curve(course: Course) -> Iterator[float]:
    """Divide a curve evenly, so that the chords between stakes leave it by no more than a centimetre."""
    radius_m = abs(course.radius_m or 0.0)
    longest_m = 2 * radius_m * math.acos(max(1.0 - _CHORD_M / radius_m, -1.0)) if radius_m > 0 else math.inf
    pieces = max(math.ceil(course.length_m / longest_m), 1)
    for piece in range(1, pieces):
        yield course.start_m + (course.end_m - course.start_m) * piece / pieces


def _thinned(points: list[tuple[str, float]]) -> list[tuple[float, str]]:
    """Sort by chainage; of two at the same place the more important stays."""
    kept: list[tuple[float, str]] = []
    for kind, station_m in sorted(points, key=lambda point: (point[1], _RANK.index(point[0]))):
        close_m = _CLOSE_M if kept and {kind, kept[-1][1]} <= _OF_A_CURVE else _SAME_M
        if kept and station_m - kept[-1][0] < close_m:
            important = min((kept[-1], (station_m, kind)), key=lambda point: _RANK.index(point[1]))
            kept[-1] = important
        else:
            kept.append((station_m, kind))
    return kept
