"""Joints: how the conductors are joined where runs meet, so that all of them lie in series.

Conductor A of a pair carries the current outwards, conductor B brings it back.  Where current runs along the line of a
loop, it enters at its beginning, else at its end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from parcelfence.takeoff.leg import Splice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.layout.loop import Run
    from parcelfence.takeoff.connection import Connection

__all__ = ["named", "start_joints"]

_WORDS = {"loop": "loop", "inner_loop": "inner loop", "return_run": "return run", "lead_in": "lead-in"}
_CAPPED = "a waterproof cap on each joint"


def named(run: Run) -> str:
    """Name a run in plain words, such as ``"lead-in T1"``."""
    return f"{_WORDS[run.part]} {run.loop_id}"


def start_joints(connection: Connection, *, chain: Sequence[Connection]) -> list[Splice]:
    """List the joints that are made when a run is begun.

    Parameters
    ----------
    connection : Connection
        The run and where it begins.
    chain : sequence of Connection
        All runs in the order of pulling.

    Returns
    -------
    list of Splice
        None or one, not yet numbered.  Where several runs begin at the end of one lead-in, all is joined when the last
        of them is there; at the transmitter each is joined to the one before it.
    """
    run, start = connection.run, connection.start
    if start.on is not None and start.kind == "along":
        note, joints = _cut_in(run, start.on), 2
        return [_splice(run, on=start.on, station_m=start.station_m, note=note, joints=joints)]
    here = [other.run for other in chain if other.start.kind == start.kind and other.start.on is start.on]
    place = next(number for number, other in enumerate(here) if other is run)
    if start.kind == "transmitter" and place > 0:
        note = f"at the transmitter: join {_out_of(here[place - 1])} to {_into(run)}; {_CAPPED}"
        return [_splice(run, on=run, station_m=run.start_station_m, note=note, joints=1)]
    if start.kind == "end" and start.on is not None and place == len(here) - 1:
        return [_at_end_of(start.on, here, station_m=start.station_m)]
    return []


def _at_end_of(lead: Run, begun: list[Run], *, station_m: float) -> Splice:
    """Join all runs that begin at the end of a lead-in: n runs need n + 1 joints."""
    ends = [_into(lead), *(end for run in begun for end in (_into(run), _out_of(run))), _out_of(lead)]
    joined = [f"{one} to {other}" for one, other in zip(ends[::2], ends[1::2], strict=True)]
    ring = next((run for run in begun if not run.twisted), None)
    note = f"join {', '.join(joined[:-1])} and {joined[-1]}; {_CAPPED}"
    if ring is None:
        return _splice(begun[0], on=lead, station_m=station_m, note=note, joints=len(joined))
    return _splice(ring, on=ring, station_m=ring.start_station_m, note=note, joints=len(joined))


def _into(run: Run) -> str:
    """Name the end of wire by which the current enters a run."""
    if run.twisted:
        return f"conductor A of {run.loop_id}"
    return f"the {'beginning' if run.current >= 0 else 'end'} of {run.loop_id}"


def _out_of(run: Run) -> str:
    if run.twisted:
        return f"conductor B of {run.loop_id}"
    return f"the {'end' if run.current >= 0 else 'beginning'} of {run.loop_id}"


def _cut_in(run: Run, host: Run) -> str:
    """Say how a branch is put in series with the wire that it leaves on its way."""
    if host.twisted:
        cut, into, onward = f"conductor A of {host.loop_id}", "the side of the transmitter", "the other side"
    else:
        cut, into, onward = f"the wire of {host.loop_id}", "the side of its beginning", "the side of its end"
        if host.current < 0:
            into, onward = onward, into
    return f"cut {cut} here: join {into} to conductor A of {run.loop_id}, {onward} to its conductor B; {_CAPPED}"


def _splice(run: Run, *, on: Run, station_m: float, note: str, joints: int) -> Splice:
    point = shapely.get_point(run.line, 0)
    return Splice(id="", point=point, loop_id=on.loop_id, station_m=station_m, note=note, joints=joints)
