"""Connections: from where each run is fed, and the order in which the runs are pulled, read from the lines alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import shapely

if TYPE_CHECKING:
    from shapely import Point

    from parcelfence.layout.loop import Loop, Run

__all__ = ["Connection", "Place", "connections"]

_MEETS_M: Final = 0.1
"""Lines of a design meet where they come so near."""
_DRAWN_M: Final = 1.0
"""Lines that somebody drew or surveyed meet where they come so near and nothing is nearer."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a run begins or ends.

    Parameters
    ----------
    kind : str
        ``"transmitter"``; ``"along"`` or ``"end"`` of the run `on`; ``"open"`` where it meets nothing.
    on : Run or None
        The run that it meets.
    station_m : float
        Chainage along that run.
    """

    kind: Literal["transmitter", "along", "end", "open"]
    on: Run | None = None
    station_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Connection:
    """One run with the places where it begins and ends."""

    run: Run
    start: Place
    end: Place


def connections(loop: Loop) -> tuple[Connection, ...]:
    """Put the runs in the order of pulling.

    Every loop comes after the lead-ins through which it is fed, and every lead-in after what it branches from; beyond
    that the order of the loops is kept.

    Parameters
    ----------
    loop : Loop
        Lead-ins run from the transmitter outwards; they may begin at the transmitter, at or along another lead-in, or
        on a loop.

    Returns
    -------
    tuple of Connection
        Every run once.
    """
    leads = [run for run in loop.runs if run.twisted]
    starts = {id(lead): _start(lead, leads=leads, loop=loop) for lead in leads}
    ends = {id(lead): _end(lead, leads=leads, loop=loop) for lead in leads}
    for ring in loop.signal_runs:
        feed = next((lead for lead in leads if ends[id(lead)].on is ring), None)
        starts[id(ring)] = Place(kind="end", on=feed, station_m=_last_m(feed)) if feed else _unfed(ring, loop=loop)
        ends[id(ring)] = Place(kind="end", on=ring, station_m=_last_m(ring))
    ordered: list[Run] = []
    for run in (*loop.signal_runs, *leads):
        path = _path(run, starts=starts)
        ordered += [one for one in path if not any(one is known for known in ordered)]
    return tuple(Connection(run=run, start=starts[id(run)], end=ends[id(run)]) for run in ordered)


def _path(run: Run, *, starts: dict[int, Place]) -> list[Run]:
    """List the runs through which a run is fed, from the transmitter on, and the run itself."""
    path = [run]
    while (before := starts[id(path[-1])].on) is not None and not any(before is one for one in path):
        path.append(before)
    return path[::-1]


def _start(lead: Run, *, leads: list[Run], loop: Loop) -> Place:
    """Find what a lead-in begins at: the transmitter, else another lead-in, else a loop."""
    point = shapely.get_point(lead.line, 0)
    # lead-ins that begin at the same branch are no beginnings for each other
    others = [run for run in leads if run is not lead and point.distance(shapely.get_point(run.line, 0)) > _MEETS_M]
    for within_m in (_MEETS_M, _DRAWN_M):
        if loop.transmitter is not None and point.distance(loop.transmitter.point) <= within_m:
            return Place(kind="transmitter")
        for hosts in (others, loop.signal_runs):
            near = [run for run in hosts if run.line.distance(point) <= within_m]
            if near:
                return _on(min(near, key=lambda run: float(run.line.distance(point))), point)
    return Place(kind="open")


def _end(lead: Run, *, leads: list[Run], loop: Loop) -> Place:
    """Find what a lead-in ends at: a loop, or the beginning of another lead-in."""
    point = shapely.get_point(lead.line, -1)
    for within_m in (_MEETS_M, _DRAWN_M):
        near = [run for run in loop.signal_runs if run.line.distance(point) <= within_m]
        if near:
            return _on(min(near, key=lambda run: float(run.line.distance(point))), point)
        if any(run is not lead and point.distance(shapely.get_point(run.line, 0)) <= within_m for run in leads):
            return Place(kind="end", on=lead, station_m=_last_m(lead))
    return Place(kind="open")


def _unfed(ring: Run, *, loop: Loop) -> Place:
    start = shapely.get_point(ring.line, 0)
    at_transmitter = loop.transmitter is not None and start.distance(loop.transmitter.point) <= _DRAWN_M
    return Place(kind="transmitter" if at_transmitter else "open")


def _on(run: Run, point: Point) -> Place:
    along_m = float(run.line.project(point))
    if along_m >= run.line.length - _MEETS_M:
        if not run.twisted:  # a closed line ends where it begins
            return Place(kind="along", on=run, station_m=run.start_station_m)
        return Place(kind="end", on=run, station_m=_last_m(run))
    return Place(kind="along", on=run, station_m=run.start_station_m + (along_m if along_m > _MEETS_M else 0.0))


def _last_m(run: Run) -> float:
    return float(run.start_station_m + run.line.length)
