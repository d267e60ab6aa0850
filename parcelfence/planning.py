"""The pipeline: a site and settings become a plan.

:func:`plan` designs a loop and assesses it; :func:`assess` does the same for a wire that somebody else drew or laid.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.circuit.circuit import Circuit, circuit, wave_length_m
from parcelfence.circuit.conductor import Conductor
from parcelfence.errors import Fault, NoLoopError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.profile import reach_profiles
from parcelfence.field.retreat import retreat
from parcelfence.field.setting import doubled_spacing_m, reach_for_return_run, reach_for_wanted
from parcelfence.field.zones import signal_tiles, zones
from parcelfence.finished_plan import Plan, PlanOfAnimal
from parcelfence.layout.arrangement import arrangements, encloses_the_house, net_cost_m, part_remark
from parcelfence.layout.crossing import crossings
from parcelfence.layout.design import design
from parcelfence.layout.open_side import ground_beside, pressed_buildings, pressed_remark
from parcelfence.rules.draft import Draft
from parcelfence.rules.registry import find_conflicts
from parcelfence.settings import Settings
from parcelfence.takeoff.flags import flags
from parcelfence.takeoff.pricing import priced
from parcelfence.takeoff.sequence import sequence
from parcelfence.takeoff.stations import stations
from parcelfence.takeoff.take_off import take_off
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.conflict import Conflict
    from parcelfence.layout.loop import Loop
    from parcelfence.site.site import Site
    from parcelfence.takeoff.leg import Sequence as WiringSequence
    from parcelfence.takeoff.leg import Splice

__all__ = ["Measured", "assess", "finish", "measure", "plan"]

_LOG = logging.getLogger(__name__)
_MOST_ROUNDS: Final = 6
_LEAST_SHARE_BESIDE: Final = 0.6
"""Rather a loop that says what is wrong beside a building than one that gives up more of the ground (from memory)."""
_LEAST_FREE_M2: Final = 4.0
"""Two metres by two: no animal can live on less (from memory)."""
_TRY: Final = "'parcelfence plan' of this property alone, or what_would_do() from Python, tries what would do"
"""Stands for advice where nothing was tried, as in a screening; :mod:`parcelfence.advice` puts its own in its place."""


def plan(
    site: Site,
    settings: Settings | None = None,
    *,
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
) -> Plan:
    """Design a loop on a site, and assess it.

    Parameters
    ----------
    site : Site
        From :func:`parcelfence.site.reading.read_site`.
    settings : Settings, optional
        Defaults where left out.
    prices, crew : mapping of str to float, optional
        Unit prices and crew rates, see :mod:`parcelfence.takeoff.pricing`.

    Returns
    -------
    Plan
        Whatever is wrong with the design stands in its conflicts.

    Raises
    ------
    NoLoopError
        If the land leaves no room for any loop; the message says how much is missing.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> [run.part for run in plan.loop.runs]
    ['loop']
    >>> site.parcel.area / 2 < plan.zones.free_ground.area < site.parcel.area
    True
    >>> [conflict.rule for conflict in plan.conflicts if conflict.severity == "must_fix"]
    []
    """
    settings = settings or Settings()
    return finish(measure(site, settings), prices=prices, crew=crew)


def _without_ground(free_m2: float, *, site: Site, settings: Settings) -> Fault:
    units = unit_system(settings.units)
    return Fault(
        where="parcels",
        feature=site.parcel_id,
        found=f"a loop with a reach of {units.length(settings.reach_m)} would leave {free_m2:.1f} m2 of ground free",
        must=f"a loop is worth its wire only where the animal can stand clear of the signal, on {_LEAST_FREE_M2:g} m2 "
        "at least",
        remedy=_TRY,
    )


def assess(
    site: Site,
    settings: Settings,
    *,
    loop: Loop,
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
    splices: tuple[Splice, ...] = (),
) -> Plan:
    """Compute the signal and the circuit of a loop, check it by every rule, and count its material.

    `splices` are those that were made, in place of those that the wiring sequence foresees.
    """
    measured = measure(site, settings, loop=loop)
    made = replace(measured, sequence=replace(measured.sequence, splices=splices)) if splices else measured
    return finish(made, prices=prices, crew=crew)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A loop as the rules see it, with the order in which it is pulled: all of a plan but conflicts and counts."""

    draft: Draft
    sequence: WiringSequence


def measure(site: Site, settings: Settings, *, loop: Loop | None = None) -> Measured:
    """Measure a loop, or the one that is designed here, as far as the rules ask; nothing is counted yet.

    Raises
    ------
    NoLoopError
        If no loop is given and the land leaves no room for any.
    """
    arranged, laid = (site, loop) if loop is not None else _arranged(site, settings)
    signal = _signal(laid)
    receiver = _receiver(signal, loop=laid, settings=settings)
    tiles = signal_tiles(signal, receiver)
    measured = crossings(laid, arranged, settings=settings)
    pulled = sequence(laid, arranged, settings=settings, crossings=measured)
    draft = Draft(
        site=arranged,
        settings=settings,
        loop=laid,
        crossings=measured,
        zones=zones(signal, receiver, inside=laid.enclosed, roofs=arranged.roofs, tiles=tiles),
        profiles=reach_profiles(signal, receiver, tiles=tiles),
        circuit=_circuit(signal, pulled, settings=settings),
    )
    free_m2 = float(draft.zones.free_ground.area)
    if loop is None and free_m2 < _LEAST_FREE_M2:
        raise NoLoopError(_without_ground(free_m2, site=site, settings=settings))
    return Measured(draft=draft, sequence=pulled)


def finish(
    measured: Measured, *, prices: Mapping[str, float] | None = None, crew: Mapping[str, float] | None = None
) -> Plan:
    """Check a measured loop by every rule, and count its material."""
    draft, settings = measured.draft, measured.draft.settings
    counted = take_off(
        draft.loop,
        draft.site,
        settings=settings,
        sequence=measured.sequence,
        crossings=draft.crossings,
        flags=flags(draft.zones, draft.loop, settings=settings),
        stations=stations(draft.loop, draft.crossings, settings=settings),
    )
    met = {animal.name: _as_met(draft, settings.of_animal(animal)) for animal in settings.animals}
    return Plan(
        site=draft.site,
        settings=settings,
        loop=draft.loop,
        crossings=draft.crossings,
        zones=draft.zones,
        profiles=draft.profiles,
        circuit=draft.circuit,
        conflicts=find_conflicts(draft, animals=met),
        take_off=priced(counted, crossings=draft.crossings, prices=prices, crew=crew),
        animals=tuple(
            PlanOfAnimal(animal=animal, settings=own.settings, zones=own.zones, profiles=own.profiles)
            for animal, own in zip(settings.animals, met.values(), strict=True)
        ),
    )


def _as_met(draft: Draft, own: Settings) -> Draft:
    """Give a draft as one animal meets it: the same wire at the same level, another receiver."""
    signal = _signal(draft.loop)
    receiver = _receiver(signal, loop=draft.loop, settings=own)
    if receiver == draft.zones.receiver:
        return replace(draft, settings=own)
    tiles = signal_tiles(signal, receiver)
    zones_of_it = zones(signal, receiver, inside=draft.loop.enclosed, roofs=draft.site.roofs, tiles=tiles)
    return replace(draft, settings=own, zones=zones_of_it, profiles=reach_profiles(signal, receiver, tiles=tiles))


def _arranged(site: Site, settings: Settings) -> tuple[Site, Loop]:
    """Lay out the property as its named layout wants it, in the way that costs less where there are two."""
    ways: list[tuple[float, Site, Loop]] = []
    refused: NoLoopError | None = None
    for arrangement in arrangements(site, settings):
        try:
            loop = _settled(arrangement.site, settings.replaced(**arrangement.clearances))
        except NoLoopError as error:
            refused = refused or NoLoopError([replace(fault, remedy=_TRY) for fault in error.faults])
            continue
        if arrangement.house_inside and not encloses_the_house(loop, site=site, settings=settings):
            continue
        remarks = (*arrangement.remarks, *part_remark(loop, site=site, settings=settings))
        ways.append((net_cost_m(loop, settings), arrangement.site, replace(loop, remarks=(*loop.remarks, *remarks))))
    if ways:
        _, arranged, loop = min(ways, key=itemgetter(0))
        return arranged, loop
    raise refused or NoLoopError(
        Fault(
            where=f"layout {settings.layout}",
            feature=site.parcel_id,
            found="neither a loop round the house nor one doubled back along it fits",
            remedy=_TRY,
        )
    )


def _settled(site: Site, settings: Settings) -> Loop:
    """Design a loop; two runs that do not fit behind a building pass it on its inner side, if that leaves ground."""
    loop, withheld = _drawn_in(site, settings), None
    said: list[Conflict] = []
    while pressed := pressed_buildings(loop, site=site, settings=settings):
        beside = ground_beside(pressed, loop=loop, site=site, settings=settings)
        withheld = beside if withheld is None else withheld.union(beside)
        try:
            other = _drawn_in(site, settings, withheld=withheld)
            left_m2 = _clear_m2(other, settings)
        except NoLoopError:
            other, left_m2 = loop, 0.0
        kept = left_m2 >= _LEAST_SHARE_BESIDE * _clear_m2(loop, settings) and len(said) < len(site.buildings)
        told = None if kept else left_m2
        said += [pressed_remark(one, settings=settings, left_m2=told) for one in pressed]
        if not kept:
            break
        loop = other
    return replace(loop, remarks=(*loop.remarks, *said))


def _clear_m2(loop: Loop, settings: Settings) -> float:
    """Reckon the ground inside a loop that is farther from its wire than the reach, and not between its two runs."""
    near = shapely.union_all([run.line for run in loop.signal_runs]).buffer(settings.reach_m)
    between = shapely.union_all([shapely.Polygon(run.line) for run in loop.of_part("return_run")])
    return float(loop.enclosed.difference(near.union(between)).area)


def _drawn_in(site: Site, settings: Settings, *, withheld: BaseGeometry | None = None) -> Loop:
    """Design a loop, and draw it in where its signal would leave the property or enter a building beside it."""
    loop = design(site, settings, withheld=withheld)
    _refuse_a_network(loop, site=site, settings=settings)
    for _ in range(_MOST_ROUNDS):
        signal = _signal(loop)
        given_up = retreat(_watched(site, loop), signal, receiver=_receiver(signal, loop=loop, settings=settings))
        if given_up is None:
            break
        withheld = given_up if withheld is None else withheld.union(given_up)
        _LOG.info("drawing the loop in: its signal leaves the ground that it may have")
        try:
            loop = design(site, settings, withheld=withheld)
        except NoLoopError:
            break  # rather a loop with a conflict that says where its signal goes
    return loop


def _watched(site: Site, loop: Loop) -> BaseGeometry:
    """Give the lines that no signal is to cross: the lot line, and the walls of buildings that the loop leaves out."""
    outside = [
        building.geometry.boundary
        for building in site.buildings
        if not loop.enclosed.intersects(building.geometry.representative_point())
    ]
    return shapely.MultiLineString([
        line for wall in (site.parcel.boundary, *outside) for line in shapely.get_parts(wall)
    ])


def _refuse_a_network(loop: Loop, *, site: Site, settings: Settings) -> None:
    """Refuse the loops of parcels that are no yards, such as a town's roads drawn as one; raises NoLoopError."""
    # From half a wave on, places of a loop carry no current.  The wave is an estimate, with the soil as a perfect
    # conductor: at a whole wave that holds even if the jacket had a quarter of the capacitance.
    length_m = sum(run.line.length for run in loop.signal_runs)
    wave_m = wave_length_m(_conductor(settings), frequency_hz=settings.frequency_hz, loop_length_m=length_m)
    if length_m > wave_m:
        raise NoLoopError(
            Fault(
                where="parcels",
                feature=site.parcel_id,
                found=f"a loop here would be {length_m / 1000:,.1f} km long, and no transmitter drives it: a signal of "
                f"{settings.frequency_hz / 1000:g} kHz has a wave of about {wave_m / 1000:,.1f} km on buried wire, so "
                "that parts of the loop would carry no current",
                must="a loop is shorter than the wave of its signal",
                remedy="check that the parcel is no road or railway, or plan a wanted area within it",
            )
        )


def _signal(loop: Loop) -> list[CurrentLoop]:
    return [CurrentLoop.from_line(run.line, run.current) for run in loop.signal_runs]


def _receiver(signal: Sequence[CurrentLoop], *, loop: Loop, settings: Settings) -> Receiver:
    """Set the receiver so that the wanted reach comes out where it is to be seen."""
    height_m = settings.height_above_wire_m
    if loop.of_part("return_run"):
        spacing_m = doubled_spacing_m([CurrentLoop.from_line(run.line) for run in loop.of_part("return_run")])
        reach_m = reach_for_return_run(settings.reach_m, spacing_m=spacing_m, height_m=height_m)
    else:
        reach_m = reach_for_wanted(signal, settings.reach_m, seen_from=settings.reach_seen_from, height_m=height_m)
    return Receiver(reach_m=reach_m, height_m=height_m, core_ratio=settings.core_ratio)


def _circuit(signal: Sequence[CurrentLoop], pulled: WiringSequence, *, settings: Settings) -> Circuit:
    """Compute the circuit of the conductor that is really pulled, slopes, slack and twist included."""
    in_series = circuit(
        signal,
        loop_length_m=sum(leg.ground_length_m for leg in pulled.legs if not leg.twisted),
        lead_in_lengths_m=[leg.ground_length_m for leg in pulled.legs if leg.twisted],
        conductor=_conductor(settings),
        frequency_hz=settings.frequency_hz,
        twists_per_foot=settings.twists_per_foot,
        slack_percent=settings.slack_percent,
    )
    return replace(in_series, soil_resistivity_ohm_m=settings.soil_resistivity_ohm_m)


def _conductor(settings: Settings) -> Conductor:
    return Conductor(
        gauge_awg=settings.wire_gauge_awg,
        temperature_c=settings.wire_temperature_c,
        insulation_thickness_m=settings.insulation_thickness_m,
    )
