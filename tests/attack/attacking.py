"""The attack: an invented property is planned, an invented wire is checked, and every wrong must have its row."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import shapely

from parcelfence import planning
from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.wire_file import DrawnLine
from parcelfence.layout.drawn import drawn_loop
from parcelfence.settings import Settings
from tests.attack.inventing import Property, Wire, invent_property, invent_wire
from tests.attack.measuring import Limits, Wrong, wrongs
from tests.rules import sites

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.conflict import Conflict
    from parcelfence.finished_plan import Plan
    from parcelfence.site.site import Site

NEAR_M = 3.0
"""A row answers a wrong that lies no farther from its geometry: stretches are told as a whole."""


@dataclass
class Outcome:
    """What became of one attack: ``"sound"``, ``"told"``, ``"refused"``, ``"silent"`` or ``"exception"``."""

    kind: str
    seed: int
    digitised: str = ""
    silent: list[Wrong] = field(default_factory=list)
    reason: str = ""


def site_of(made: Property) -> Site:
    """Turn an invented property into a site."""
    return sites.site(
        parcel=made.parcel,
        buildings=tuple(sites.feature(house, id=f"B{n}", kind="building") for n, house in enumerate(made.buildings)),
        utilities=tuple(sites.utility(line, id=f"U{n}") for n, line in enumerate(made.utilities)),
        keep_outs=tuple(sites.feature(pond, id=f"K{n}", kind="garden") for n, pond in enumerate(made.keep_outs)),
        transmitter=made.transmitter,
    )


def attack_plan(seed: int) -> Outcome:
    """Plan an invented property and measure the plan."""
    made = invent_property(seed)
    try:
        plan = planning.plan(site_of(made), Settings())
    except ParcelFenceError as error:
        return Outcome("refused", seed, reason=str(error))
    except Exception as error:  # noqa: BLE001  (that is what is looked for)
        return Outcome("exception", seed, reason=f"{type(error).__name__}: {error}")
    return _judged(made, plan, seed=seed)


def attack_check(seed: int) -> Outcome | None:
    """Check an invented wire on an invented property; None where there is no room to draw one."""
    made = invent_property(seed)
    wire = invent_wire(made, seed=seed)
    if wire is None:
        return None
    try:
        site = site_of(made)
        loop = drawn_loop(_drawn(wire), site=site, settings=Settings())
        plan = planning.assess(site, Settings(), loop=loop)
    except ParcelFenceError as error:
        return Outcome("refused", seed, digitised=wire.digitised, reason=str(error))
    except Exception as error:  # noqa: BLE001  (as above)
        return Outcome("exception", seed, digitised=wire.digitised, reason=f"{type(error).__name__}: {error}")
    outcome = _judged(made, plan, seed=seed, wire=wire)
    outcome.digitised = wire.digitised
    return outcome


def _drawn(wire: Wire) -> list[DrawnLine]:
    lines = [("loop" if number == 0 else "", ring) for number, ring in enumerate(wire.rings)]
    lines += [("lead_in", lead) for lead in wire.leads]
    drawn = [DrawnLine(line=line, part=part if wire.words else "") for part, line in lines]
    if wire.digitised != "pieces":
        return drawn
    ring = wire.rings[0]
    cuts = [0.0, 0.3, 0.7, 1.0]
    pieces = [shapely.ops.substring(ring, low, high, normalized=True) for low, high in pairwise(cuts)]
    pieces[1] = pieces[1].reverse()
    return [*(DrawnLine(line=piece, part="loop" if wire.words else "") for piece in pieces), *drawn[1:]]


def _judged(made: Property, plan: Plan, *, seed: int, wire: Wire | None = None) -> Outcome:
    """Measure what was drawn, not what became of it; of a plan its own lines."""
    runs = plan.loop.signal_runs
    found = wrongs(
        made,
        [run.line for run in runs],
        [run.line for run in plan.loop.runs if run.twisted] if wire is None else wire.leads,
        limits=Limits(),
        receiver_reach_m=plan.zones.receiver.reach_m,
        receiver_height_m=plan.zones.receiver.height_m,
        flags=[flag.point for flag in plan.take_off.flags],
        zones={"signal": plan.zones.signal},
        transmitter=plan.loop.transmitter.point if plan.loop.transmitter else None,
        currents=[run.current for run in runs],
        seed=seed,
    )
    silent = [wrong for wrong in found if not _told(wrong, plan.conflicts)]
    return Outcome("silent" if silent else "told" if found else "sound", seed, silent=silent)


def _told(wrong: Wrong, conflicts: Sequence[Conflict]) -> bool:
    rows = [row for row in conflicts if row.rule in wrong.rules]
    if math.isnan(wrong.x):
        return bool(rows)
    place = shapely.Point(wrong.x, wrong.y)
    return any(row.geometry.distance(place) < NEAR_M for row in rows)
