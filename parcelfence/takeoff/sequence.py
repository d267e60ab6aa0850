"""The wiring sequence: the one order in which the wire is really pulled, with every splice."""

from __future__ import annotations

from dataclasses import replace
from operator import itemgetter
from typing import TYPE_CHECKING

from parcelfence.circuit.conductor import Conductor
from parcelfence.circuit.twisted_pair import conductor_per_ground
from parcelfence.site.terrain import ground_profile
from parcelfence.takeoff.connection import connections
from parcelfence.takeoff.joint import named, start_joints
from parcelfence.takeoff.leg import Leg, Sequence, Splice
from parcelfence.takeoff.spool import Pull, no_splice_stretches
from parcelfence.units import station_label, unit_system

if TYPE_CHECKING:
    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site
    from parcelfence.site.terrain import GroundProfile
    from parcelfence.takeoff.connection import Connection, Place
    from parcelfence.takeoff.spool import SpoolEnd

__all__ = ["conductor_per_metre", "sequence"]

_WORTH_SAYING_M = 0.05


def sequence(loop: Loop, site: Site, *, settings: Settings, crossings: tuple[Crossing, ...]) -> Sequence:
    """Put the wire in the order in which it is pulled.

    The lead-in comes first, then the loop that it feeds, then each further feed with its loop.  The two conductors of a
    pair are cut from the same spools as the loops, conductor A first, and twisted on the spot: so a spool may end in
    either of them.

    Where the site has terrain, wire is counted along the ground, slopes included: the lengths of legs and conductors,
    and so the ends of spools.  Chainage, of legs as of splices, stays measured on the plan.

    Parameters
    ----------
    loop : Loop
        Designed, drawn or surveyed.
    site : Site
        Its terrain.
    settings : Settings
        Slack, twist, length of a spool, how stations are written.
    crossings : tuple of Crossing
        Crossings of utilities and hard surfaces, of which splices keep clear.

    Returns
    -------
    Sequence
        One leg per run; a loop is one closed line.
    """
    chain = connections(loop)
    pull = Pull(spool_length_m=settings.spool_length_m)
    legs: list[Leg] = []
    splices: list[Splice] = []
    for number, connection in enumerate(chain):
        splices += start_joints(connection, chain=chain)
        stretches = no_splice_stretches(connection.run, crossings=crossings)
        ground = ground_profile(connection.run.line, site.terrain)
        splices += _spool_joints(connection.run, ground=ground, pull=pull, stretches=stretches, settings=settings)
        total_m = legs[-1].running_total_m if legs else 0.0
        legs.append(
            _leg(
                connection,
                number=number + 1,
                length_m=ground.length_m,
                total_m=total_m,
                spool=pull.spool,
                settings=settings,
            )
        )
    numbered = (replace(splice, id=f"S{number}") for number, splice in enumerate(splices, start=1))
    return Sequence(legs=tuple(legs), splices=tuple(numbered))


def conductor_per_metre(settings: Settings, *, twisted: bool) -> float:
    """Length of single conductor for each metre along the ground, by the settings."""
    wire = Conductor(gauge_awg=settings.wire_gauge_awg, insulation_thickness_m=settings.insulation_thickness_m)
    return conductor_per_ground(
        wire, twists_per_foot=settings.twists_per_foot, slack_percent=settings.slack_percent, twisted=twisted
    )


def _spool_joints(
    run: Run, *, ground: GroundProfile, pull: Pull, stretches: list[tuple[float, float]], settings: Settings
) -> list[Splice]:
    """Pull the conductors of a run along the ground, and list the joints between spools in the order of the run."""
    conductors = ("A", "B") if run.twisted else ("",)
    take_up = conductor_per_metre(settings, twisted=run.twisted) / len(conductors)
    kept_clear = [(ground.along_ground(low_m), ground.along_ground(high_m)) for low_m, high_m in stretches]
    ends = [
        (ground.on_plan(end.along_m), end, conductor)
        for conductor in conductors
        for end in pull.strand(ground.length_m, take_up=take_up, stretches=kept_clear)
    ]
    ends.sort(key=itemgetter(0))
    return [
        Splice(
            id="",
            point=run.line.interpolate(along_m),
            loop_id=run.loop_id,
            station_m=run.start_station_m + along_m,
            note=_spool_note(end, conductor=conductor, settings=settings),
        )
        for along_m, end, conductor in ends
    ]


def _spool_note(end: SpoolEnd, *, conductor: str, settings: Settings) -> str:
    which = f" in conductor {conductor}" if conductor else ""
    moved = ""
    if end.moved_m > _WORTH_SAYING_M:
        back = unit_system(settings.units).length(end.moved_m)
        moved = f"; {back} before the wire runs out, to keep clear of a crossing, bend, hard surface or joint"
    return f"join the end of spool {end.spool} to spool {end.spool + 1}{which}; waterproof cap{moved}"


def _leg(
    connection: Connection, *, number: int, length_m: float, total_m: float, spool: int, settings: Settings
) -> Leg:
    run = connection.run
    conductor_m = length_m * conductor_per_metre(settings, twisted=run.twisted)
    return Leg(
        leg=number,
        part=run.part,
        loop_id=run.loop_id,
        start=_start_words(connection.start, run=run, settings=settings),
        end=_end_words(connection.end, run=run, settings=settings),
        line=run.line,
        start_station_m=run.start_station_m,
        ground_length_m=length_m,
        conductor_length_m=conductor_m,
        running_total_m=total_m + conductor_m,
        twisted=run.twisted,
        spool=spool,
    )


def _start_words(start: Place, *, run: Run, settings: Settings) -> str:
    if start.kind == "transmitter":
        return "transmitter"
    if start.on is None:
        return f"{_at(run, station_m=run.start_station_m, settings=settings)}, where nothing leads to yet"
    if start.kind == "end":
        return f"{named(start.on)} at its end"
    return _at(start.on, station_m=start.station_m, settings=settings)


def _end_words(end: Place, *, run: Run, settings: Settings) -> str:
    if not run.twisted:
        return f"back at the beginning of {_at(run, station_m=end.station_m, settings=settings)}"
    if end.on is None:
        return "its open end, which meets no loop"
    if end.on is run:
        return "where the next lead-ins begin"
    return _at(end.on, station_m=end.station_m, settings=settings)


def _at(run: Run, *, station_m: float, settings: Settings) -> str:
    return f"{named(run)} at {station_label(station_m, style=settings.station_format)}"
