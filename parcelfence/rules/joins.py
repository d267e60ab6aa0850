"""Joins: all wire hangs together from the transmitter on, and no run touches another where nothing is to be joined."""

from __future__ import annotations

from itertools import combinations
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from parcelfence.conflict import Conflict
from parcelfence.lines import gather
from parcelfence.rules.rule import Rule, rule
from parcelfence.wording import run_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Run
    from parcelfence.rules.draft import Draft

__all__ = ["RULES"]

_THEME: Final = "wiring"
_JOINED_M: Final = 0.02
"""Lines that come so near are drawn as joined: a splice is larger."""
_DRAWN_APART_M: Final = 0.3
"""A drawing, or a point taken by hand, may leave such a gap where the wire has none (from memory)."""
_AT_THE_TRANSMITTER_M: Final = 0.5


@rule(
    "unjoined-wire",
    theme=_THEME,
    severity="must_fix",
    summary="All wire hangs together: from the transmitter a lead-in, and from it every loop.",
    basis="a circuit must be closed",
)
def unjoined_wire(draft: Draft) -> Iterator[Conflict]:
    """Follow the wiring from the transmitter on, and report what it does not reach."""
    runs, leads = draft.loop.runs, draft.loop.of_part("lead_in")
    yield from _transmitter_end(draft)
    groups = _groups(draft)
    if len(groups) < 2:  # noqa: PLR2004
        return
    fed = _fed(draft, groups)
    whole = gather([runs[number].line for number in fed])
    for group in groups:
        if group is fed:
            continue
        own = gather([runs[number].line for number in group])
        gap_m = float(own.distance(whole))
        first = min((runs[number] for number in group), key=lambda run: (run.twisted, run.start_station_m))
        near = shapely.get_point(shapely.shortest_line(first.line, whole), 0)
        station_m = first.start_station_m + float(first.line.project(near))
        names = " and ".join(sorted({run_name(runs[number]) for number in group}))
        verb = "is" if len(group) == 1 else "are"
        apart = draft.wording.length(gap_m)
        found = f"The {names} {verb} joined to nothing: the nearest other wire is {apart} away"
        yield Conflict(
            message=f"{found}, and no lead-in is drawn." if not leads else f"{found}.",
            remedy="Splice it to a lead-in, and test with the receiver that it carries a signal."
            if leads
            else "Draw the lead-ins, too: how these loops are fed cannot be checked without them.",
            geometry=own,
            severity="must_fix" if leads and gap_m > _DRAWN_APART_M else "caution",
            station_m=station_m,
            measured=gap_m,
            limit=0.0,
            layer="wire",
            feature=first.loop_id,
        )


def _transmitter_end(draft: Draft) -> Iterator[Conflict]:
    """Check that a lead-in begins where the transmitter is known to hang."""
    transmitter, leads = draft.loop.transmitter, draft.loop.of_part("lead_in")
    if transmitter is None or not draft.loop.runs:
        return
    if not leads:
        if any(run.line.dwithin(transmitter.point, _AT_THE_TRANSMITTER_M) for run in draft.loop.runs):
            return
        yield Conflict(
            message="No lead-in is drawn from the transmitter to the loop.",
            remedy="Draw it, too: its crossings, its length and its splices cannot be checked without it.",
            geometry=transmitter.point,
            severity="note",
            layer="transmitter",
        )
        return
    away_m, lead = min(((float(lead.line.distance(transmitter.point)), lead) for lead in leads), key=itemgetter(0))
    if away_m > _AT_THE_TRANSMITTER_M:
        yield Conflict(
            message=f"The nearest lead-in, {lead.loop_id}, ends {draft.wording.length(away_m)} from the transmitter.",
            remedy="Lead the twisted pair to the transmitter, or correct its place.",
            geometry=transmitter.point,
            station_m=lead.start_station_m,
            measured=away_m,
            limit=_AT_THE_TRANSMITTER_M,
            layer="wire",
            feature=lead.loop_id,
        )


def _groups(draft: Draft) -> list[list[int]]:
    """Numbers of the runs that hang together, group by group."""
    lines = np.array([run.line for run in draft.loop.runs], dtype=object)
    if not len(lines):
        return []
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_JOINED_M)
    count, label = connected_components(coo_array((np.ones(len(one)), (one, other)), shape=(len(lines),) * 2))
    return [np.flatnonzero(label == number).tolist() for number in range(count)]


def _fed(draft: Draft, groups: list[list[int]]) -> list[int]:
    """Choose the group that the transmitter feeds; without lead-ins the longest one."""
    runs, transmitter = draft.loop.runs, draft.loop.transmitter

    def order(group: list[int]) -> tuple[bool, float, float]:
        leads = [runs[number].line for number in group if runs[number].twisted]
        away_m = min((float(line.distance(transmitter.point)) for line in leads), default=0.0) if transmitter else 0.0
        return not leads, away_m, -sum(runs[number].line.length for number in group if not runs[number].twisted)

    return min(groups, key=order)


@rule(
    "touching-runs",
    theme=_THEME,
    severity="caution",
    summary="Signal-carrying runs neither touch nor cross: where they do, one takes the signal from the other.",
)
def touching_runs(draft: Draft) -> Iterator[Conflict]:
    """Find the places where two runs of single wire meet."""
    for one, other in combinations(draft.loop.signal_runs, 2):
        if not one.line.dwithin(other.line, _JOINED_M):
            continue
        for place in _meetings(one, other):
            point = place.representative_point()
            station_m = one.start_station_m + float(one.line.project(point))
            yield Conflict(
                message=f"The {run_name(one)} and the {run_name(other)} touch or cross "
                f"{draft.wording.at(one, station_m=station_m)}.",
                remedy="Move them apart, or join them into one loop; the signal there is not what either would give.",
                geometry=place,
                station_m=station_m,
                measured=float(one.line.distance(other.line)),
                limit=_JOINED_M,
                layer="wire",
                feature=one.loop_id,
            )


def _meetings(one: Run, other: Run) -> NDArray[np.object_]:
    """Give the places where two runs come together, each as a stretch of the first."""
    shared: BaseGeometry = shapely.intersection(one.line, shapely.buffer(other.line, _JOINED_M, quad_segs=4))
    merged = shapely.line_merge(shared) if shared.geom_type == "MultiLineString" else shared
    parts: NDArray[np.object_] = shapely.get_parts(merged)
    return parts


RULES: Final[tuple[Rule, ...]] = (unjoined_wire, touching_runs)
