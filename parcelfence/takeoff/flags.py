"""Training flags: on the edge of the signal zone where the animal meets it, evenly, in the order of the wire."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, MultiLineString

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely import LinearRing, Point

    from parcelfence.field.zones import Zones
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings

__all__ = ["Flag", "flags", "removal_round"]

REMOVAL_ROUNDS: Final = 4
"""Flags are thinned out in so many rounds (from memory)."""
_ON_THE_EDGE_M: Final = 0.02


@dataclass(frozen=True, kw_only=True)
class Flag:
    """One training flag, on the edge where the receiver first reacts.

    Parameters
    ----------
    flag : int
        Number, from 1, in the order of the wire.
    point : Point
        Where it is stuck.
    loop_id : str
        Loop whose edge it shows.
    station_m : float
        Chainage of the nearest point of the wire.
    removal_round : int
        Round of flag removal in which it is taken out, from 1.
    """

    flag: int
    point: Point
    loop_id: str
    station_m: float
    removal_round: int


def flags(zones: Zones, loop: Loop, *, settings: Settings) -> tuple[Flag, ...]:
    """Place the flags.

    Each edge of free ground takes the least count of flags whose spacing does not exceed the greatest one; it falls
    below the least one only on edges too short to meet both.  Free ground too small for the animal to turn in gets
    none, and neither does an edge that is a wall and not a signal.

    Parameters
    ----------
    zones : Zones
        Their roam area and signal zone.
    loop : Loop
        Gives order and stations.
    settings : Settings
        Spacing of the flags, and passage width.

    Returns
    -------
    tuple of Flag
        Numbered along the runs in their order.
    """
    if not loop.signal_runs:
        return ()
    chains = [
        _chain(edge, loop=loop, settings=settings)
        for part in shapely.get_parts(zones.roam)
        if 2 * shapely.maximum_inscribed_circle(part).length >= settings.passage_width_m
        for ring in (part.exterior, *part.interiors)
        for edge in _signal_edges(ring, zones=zones)
    ]
    chains.sort(key=lambda chain: (chain.run_number, float(chain.stations_m.min())))
    placed = [place for chain in chains for place in chain.places()]
    return tuple(
        Flag(flag=number, point=point, loop_id=run.loop_id, station_m=station_m, removal_round=taken)
        for number, (point, run, station_m, taken) in enumerate(placed, start=1)
    )


def removal_round(position: int) -> int:
    """Round in which the flag at a position of its edge, from 1, is taken out.

    Every other flag goes in the first round, every other of the rest in the second, and so on (common practice, no
    source); what is left then goes in the last.
    """
    halvings = (position & -position).bit_length()
    return min(halvings, REMOVAL_ROUNDS)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Chain:
    """Flags along one edge, in the order of the wire, with the nearest run and station of each."""

    points: NDArray[np.object_]
    runs: tuple[Run, ...]
    stations_m: NDArray[np.float64]
    run_number: int

    def places(self) -> Iterator[tuple[shapely.Point, Run, float, int]]:
        rows = zip(self.points, self.runs, self.stations_m, strict=True)
        for position, (point, run, station_m) in enumerate(rows, start=1):
            yield point, run, float(station_m), removal_round(position)


def _signal_edges(ring: LinearRing, *, zones: Zones) -> list[LineString]:
    """Parts of a ring at which the signal begins; all of it, closed, in the common case."""
    signal_edge = shapely.boundary(zones.signal)
    shapely.prepare(signal_edge)
    steps = shapely.get_coordinates(ring)
    middles = np.asarray(shapely.points((steps[:-1] + steps[1:]) / 2), dtype=object)
    on_edge = shapely.dwithin(signal_edge, middles, _ON_THE_EDGE_M)
    if on_edge.all():
        return [LineString(steps)]
    merged = shapely.line_merge(MultiLineString(list(np.stack([steps[:-1], steps[1:]], axis=1)[on_edge])))
    return list(shapely.get_parts(merged))


def _chain(edge: LineString, *, loop: Loop, settings: Settings) -> _Chain:
    """Spread flags over an edge; a closed one begins beside the start of its run."""
    count = max(1, math.ceil(edge.length / settings.flag_spacing_max_m - 1e-9))
    numbers = np.arange(count) if edge.is_closed else np.arange(count + 1)
    start_m = _beside_the_start(edge, loop=loop) if edge.is_closed else 0.0
    along_m = start_m + numbers * edge.length / count
    points = shapely.line_interpolate_point(edge, along_m % edge.length if edge.is_closed else along_m)
    run_numbers, stations_m = _nearest(points, runs=loop.signal_runs)
    if _falling(stations_m):
        again = np.append(0, np.arange(count - 1, 0, -1)) if edge.is_closed else numbers[::-1]
        points, run_numbers, stations_m = points[again], run_numbers[again], stations_m[again]
    return _Chain(
        points=points,
        runs=tuple(loop.signal_runs[number] for number in run_numbers),
        stations_m=stations_m,
        run_number=int(np.bincount(run_numbers).argmax()),
    )


def _beside_the_start(edge: LineString, *, loop: Loop) -> float:
    run = min(loop.signal_runs, key=lambda own: float(own.line.distance(edge)))
    return float(edge.project(shapely.get_point(run.line, 0)))


def _nearest(points: NDArray[np.object_], *, runs: tuple[Run, ...]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Nearest run of each point, and the chainage of the nearest point on it."""
    lines = np.array([run.line for run in runs], dtype=object)
    numbers = shapely.distance(lines[:, None], points[None, :]).argmin(axis=0)
    starts_m = np.array([run.start_station_m for run in runs])
    return numbers, starts_m[numbers] + shapely.line_locate_point(lines[numbers], points)


def _falling(stations_m: NDArray[np.float64]) -> bool:
    steps = np.diff(stations_m)
    return bool((steps < 0).sum() > (steps > 0).sum())
