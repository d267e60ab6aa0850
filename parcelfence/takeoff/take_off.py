"""The take-off: what has to be bought, dug and stuck into the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parcelfence.site.terrain import ground_profile
from parcelfence.takeoff.labour import labour_hours
from parcelfence.takeoff.material import Material
from parcelfence.takeoff.materials import materials, spool_remark
from parcelfence.takeoff.price_list import checked_crew, checked_prices
from parcelfence.takeoff.trench import trenches
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site
    from parcelfence.site.terrain import Terrain
    from parcelfence.takeoff.flag import Flag, Station
    from parcelfence.takeoff.leg import Sequence

__all__ = ["Material", "TakeOff", "take_off"]


@dataclass(frozen=True, kw_only=True)
class TakeOff:
    """All counts of a plan.

    Parameters
    ----------
    sequence : Sequence
        The wiring sequence.
    flags, stations : tuple
        Points to set out.
    materials : tuple of Material
        Material list.
    trench_m_by_surface : tuple of (str, float)
        Trench length by surface, ``"soil"`` first.
    hours, cost : float or None
        Labour and total cost, where the project file gives rates and prices.
    remarks : tuple of str
        What a reader may not expect: lengths along sloping ground, how far a spool goes, and what hours and cost leave
        out.
    """

    sequence: Sequence
    flags: tuple[Flag, ...]
    stations: tuple[Station, ...]
    materials: tuple[Material, ...]
    trench_m_by_surface: tuple[tuple[str, float], ...]
    hours: float | None = None
    cost: float | None = None
    remarks: tuple[str, ...] = ()


def take_off(  # noqa: PLR0913
    loop: Loop,
    site: Site,
    *,
    settings: Settings,
    sequence: Sequence,
    crossings: tuple[Crossing, ...],
    flags: tuple[Flag, ...],
    stations: tuple[Station, ...],
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
) -> TakeOff:
    """Count everything.

    Parameters
    ----------
    loop, site, settings
        The wire, where it lies, and how it is laid.
    sequence, crossings, flags, stations
        What was derived from it.
    prices, crew : mapping of str to float, optional
        Unit prices and crew rates by the names of :data:`parcelfence.takeoff.price_list.PRICES` and ``CREW``; none
        is assumed.

    Returns
    -------
    TakeOff
        Hours cover the work for which a rate is given; the cost covers the items that have a price, and the hours if
        an hourly rate is given.

    Raises
    ------
    SettingsError
        If a price or rate is not known or not usable.
    """
    unit_prices, rates = checked_prices(prices), checked_crew(crew)
    items = materials(sequence, crossings=crossings, flags=len(flags), settings=settings, prices=unit_prices)
    trench_m_by_surface = trenches(loop, site, settings=settings)
    worked = labour_hours(trench_m_by_surface, sequence=sequence, crossings=crossings, flags=len(flags), crew=rates)
    hours = sum(worked.values()) if worked else None
    costs = [item.cost for item in items if item.cost is not None]
    if hours is not None and "hourly_rate" in rates:
        costs.append(hours * rates["hourly_rate"])
    said = (
        _along_the_ground(sequence, site.terrain, settings=settings),
        spool_remark(sequence, settings),
        _hours_cover(worked),
        _cost_covers(items, hours=hours, rates=rates),
    )
    return TakeOff(
        sequence=sequence,
        flags=flags,
        stations=stations,
        materials=items,
        trench_m_by_surface=trench_m_by_surface,
        hours=hours,
        cost=sum(costs) if costs else None,
        remarks=tuple(sentence for sentence in said if sentence),
    )


def _along_the_ground(sequence: Sequence, terrain: Terrain | None, *, settings: Settings) -> str:
    if terrain is None:
        return ""
    units = unit_system(settings.units)
    plan_m = sum(leg.line.length for leg in sequence.legs)
    longer_m = sum(leg.ground_length_m for leg in sequence.legs) - plan_m
    unknown_m = sum(ground_profile(leg.line, terrain).unknown_m for leg in sequence.legs)
    text = (
        f"Lengths of wire and trench are along the ground by the elevations of {terrain.name}, the wire "
        f"{units.length(longer_m)} ({longer_m / plan_m:.1%}) longer than on the plan. Stations are those of the plan."
    )
    if unknown_m > 0:
        text += f" {units.length(unknown_m)} of wire lie where no elevation is known, and are taken as flat."
    return text


def _hours_cover(worked: Mapping[str, float]) -> str:
    if not worked:
        return ""
    names = (
        name.removesuffix("_per_hour").removesuffix("_hours").removesuffix("_m").replace("_", " ") for name in worked
    )
    return f"Hours cover only what a crew rate was given for: {', '.join(names)}."


def _cost_covers(items: tuple[Material, ...], *, hours: float | None, rates: Mapping[str, float]) -> str:
    priced = [item.item for item in items if item.cost is not None]
    labour = ["labour"] if hours is not None and "hourly_rate" in rates else []
    if not priced and not labour:
        return ""
    return f"The cost covers only: {', '.join([*priced, *labour])}."
