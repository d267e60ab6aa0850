"""The take-off: what has to be bought, dug and stuck into the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parcelfence.site.terrain import ground_profile
from parcelfence.takeoff.materials import Material, materials, spool_remark
from parcelfence.takeoff.ties import ties
from parcelfence.takeoff.trench import trenches
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site
    from parcelfence.site.terrain import Terrain
    from parcelfence.takeoff.flags import Flag
    from parcelfence.takeoff.leg import Sequence
    from parcelfence.takeoff.stations import Station
    from parcelfence.takeoff.ties import Tie

__all__ = ["Labour", "TakeOff", "take_off"]


@dataclass(frozen=True, kw_only=True)
class Labour:
    """One kind of work: its hours at the rate of the crew, and their cost where an hourly rate is given."""

    work: str
    hours: float
    cost: float | None = None


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
    labour : tuple of Labour
        Hours by the kind of work, once crew rates were applied.
    remarks : tuple of str
        What a reader may not expect: lengths along sloping ground, how far a spool goes, and what hours and cost leave
        out.
    ties : tuple of Tie
        Bends, crossings, splices and flag rows by two taped distances each.
    """

    sequence: Sequence
    flags: tuple[Flag, ...]
    stations: tuple[Station, ...]
    materials: tuple[Material, ...]
    trench_m_by_surface: tuple[tuple[str, float], ...]
    labour: tuple[Labour, ...] = ()
    remarks: tuple[str, ...] = ()
    ties: tuple[Tie, ...] = ()

    @property
    def hours(self) -> float | None:
        """Hours of all labour; None where no crew rate was given."""
        return sum(one.hours for one in self.labour) if self.labour else None

    @property
    def cost(self) -> float | None:
        """Cost of what has a price, material and labour together; None where nothing has."""
        costs = [*(item.cost for item in self.materials), *(one.cost for one in self.labour)]
        known = [cost for cost in costs if cost is not None]
        return sum(known) if known else None


def take_off(
    loop: Loop,
    site: Site,
    *,
    settings: Settings,
    sequence: Sequence,
    crossings: tuple[Crossing, ...],
    flags: tuple[Flag, ...],
    stations: tuple[Station, ...],
) -> TakeOff:
    """Count everything.

    Parameters
    ----------
    loop, site, settings
        The wire, where it lies, and how it is laid.
    sequence, crossings, flags, stations
        What was derived from it.

    Returns
    -------
    TakeOff
        Without hours and cost: see :func:`parcelfence.takeoff.pricing.priced`.
    """
    said = (
        _along_the_ground(sequence, site.terrain, settings=settings),
        spool_remark(sequence, settings),
    )
    return TakeOff(
        sequence=sequence,
        flags=flags,
        stations=stations,
        materials=materials(sequence, crossings=crossings, flags=len(flags), settings=settings),
        trench_m_by_surface=trenches(loop, site, settings=settings),
        remarks=tuple(sentence for sentence in said if sentence),
        ties=ties(loop, site, crossings=crossings, splices=sequence.splices, flags=flags),
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
