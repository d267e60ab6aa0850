"""Materials: what has to be bought for a wire.

All practices here (a spare margin, conduit that stands out at both sides, one waterproof cap for each joint) are common
practice, no source.  The names of prices are those of :data:`parcelfence.takeoff.pricing.PRICES`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from parcelfence.takeoff.sequence import conductor_per_metre
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from parcelfence.layout.crossing import Crossing
    from parcelfence.settings import Settings
    from parcelfence.takeoff.leg import Sequence

__all__ = ["CONDUIT_BEYOND_M", "Material", "materials", "spool_remark"]

CONDUIT_BEYOND_M: Final = 0.3
"""Conduit stands out of a hard surface so far on each side."""
_NUMBERS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, kw_only=True)
class Material:
    """One line of the material list.

    Parameters
    ----------
    item : str
        What it is, in plain words.
    quantity : float
        Needed quantity, without spare.
    with_spare : float
        Quantity to buy.
    unit : str
        ``"m"`` or ``"pieces"``.
    note : str
        How it was counted.
    price_name : str
        Name of its unit price in :data:`parcelfence.takeoff.pricing.PRICES`.
    cost : float or None
        Cost of the quantity to buy, once a unit price was applied.
    """

    item: str
    quantity: float
    with_spare: float
    unit: str
    note: str = ""
    price_name: str = ""
    cost: float | None = None


def materials(
    sequence: Sequence,
    *,
    crossings: tuple[Crossing, ...],
    flags: int,
    settings: Settings,
) -> tuple[Material, ...]:
    """Count the material.

    Parameters
    ----------
    sequence : Sequence
        Legs and splices.
    crossings : tuple of Crossing
        Those of hard surfaces get a saw cut and conduit.
    flags : int
        Number of flags.
    settings : Settings
        Slack, twist, length of a spool, spare margin.

    Returns
    -------
    tuple of Material
        What occurs, in the order of the work.
    """
    surfaces = [crossing.length_m for crossing in crossings if crossing.layer == "hardscape"]
    conduit_m = sum(surfaces) + 2 * CONDUIT_BEYOND_M * len(surfaces)
    beyond = unit_system(settings.units).length(CONDUIT_BEYOND_M)
    rows = [
        *_wire(sequence, settings=settings),
        _pieces(
            "joints of two wire ends",
            sequence.joints,
            note=f"at {_count(len(sequence.splices), 'splice')}: where runs meet, and at the ends of spools",
            settings=settings,
            price_name="splice",
        ),
        _pieces("waterproof caps", sequence.joints, note="one for each joint", settings=settings, price_name="cap"),
        _pieces(
            "flags",
            flags,
            note="on the edge where the receiver first reacts",
            settings=settings,
            price_name="flag",
        ),
        _metres(
            "conduit",
            conduit_m,
            note=f"{_count(len(surfaces), 'crossing')} of hard surfaces, and {beyond} beyond each edge",
            settings=settings,
            price_name="conduit_per_m",
        ),
        _saw_cut(surfaces, price_name="saw_cut_per_m"),
    ]
    return tuple(row for row in rows if row.quantity > 0)


def spool_remark(sequence: Sequence, settings: Settings) -> str:
    """Say what remains of the spools that the bare loops need, for lead-in and slack.

    Parameters
    ----------
    sequence : Sequence
        The wiring sequence.
    settings : Settings
        Length of a spool, twist, units.

    Returns
    -------
    str
        Whole sentences; the length of pair is what the remainder yields with nothing kept for slack.
    """
    units, spool_m = unit_system(settings.units), settings.spool_length_m
    loops_m = sum(leg.ground_length_m for leg in sequence.legs if not leg.twisted)
    if not loops_m:
        return ""
    count = max(1, math.ceil(loops_m / spool_m - 1e-9))
    left_m, needed_m = max(count * spool_m - loops_m, 0.0), sequence.conductor_length_m - loops_m
    factor = conductor_per_metre(settings, twisted=True) / conductor_per_metre(settings, twisted=False)
    digits = 0 if settings.units == "us" else 1
    step_m = units.length_m / 10**digits
    under = units.length((math.floor(left_m / factor / step_m) + 1) * step_m, digits=digits)
    opening = "One spool" if count == 1 else f"{_word(count).capitalize()} spools"
    verb = "leaves" if count == 1 else "leave"
    first = (
        f"{opening} of {units.length(spool_m, digits=0)} {verb} {units.length(left_m, digits=digits)} beyond the loops "
        f"for lead-in and slack: under {under} of twisted pair if nothing is kept for slack."
    )
    asked = f"this plan takes {units.length(needed_m, digits=digits)} for them"
    if sequence.spools <= count:
        return f"{first} It is enough: {asked}."
    return f"{first} It is not enough: {asked}, so that {_word(sequence.spools)} spools are opened."


def _wire(sequence: Sequence, *, settings: Settings) -> list[Material]:
    units = unit_system(settings.units)
    single_m = sum(leg.conductor_length_m for leg in sequence.legs if not leg.twisted)
    paired_m = sum(leg.conductor_length_m for leg in sequence.legs if leg.twisted)
    slack = 1 + settings.slack_percent / 100
    pair_m = slack * sum(leg.ground_length_m for leg in sequence.legs if leg.twisted)
    whole_m = (single_m + paired_m) * _spare(settings)
    to_buy = max(sequence.spools, math.ceil(whole_m / settings.spool_length_m - 1e-9))
    return [
        _metres(
            f"single wire, {settings.wire_gauge_awg} AWG",
            single_m,
            note=f"loops, with {settings.slack_percent:g} % slack",
            settings=settings,
            price_name="single_wire_per_m",
        ),
        _metres(
            f"twisted pair, 2 x {settings.wire_gauge_awg} AWG",
            pair_m,
            note=f"lead-ins, along the pair with {settings.slack_percent:g} % slack; twisted on the spot at "
            f"{settings.twists_per_foot:g} turns per foot it takes {units.length(paired_m)} of single wire",
            settings=settings,
            price_name="twisted_pair_per_m",
        ),
        Material(
            item=f"spools of {units.length(settings.spool_length_m, digits=0)}",
            quantity=float(sequence.spools),
            with_spare=float(to_buy),
            unit="pieces",
            note="hold all of the wire above, pairs twisted on the spot; not in addition to it",
            price_name="spool",
        ),
    ]


def _saw_cut(surfaces: list[float], *, price_name: str) -> Material:
    cut_m = sum(surfaces)
    note = "from edge to edge where there is no joint to use; loose surfaces are trenched"
    return Material(item="saw cut", quantity=cut_m, with_spare=cut_m, unit="m", note=note, price_name=price_name)


def _metres(item: str, length_m: float, *, note: str, settings: Settings, price_name: str) -> Material:
    to_buy = length_m * _spare(settings)
    return Material(item=item, quantity=length_m, with_spare=to_buy, unit="m", note=note, price_name=price_name)


def _pieces(item: str, count: int, *, note: str, settings: Settings, price_name: str) -> Material:
    to_buy = float(math.ceil(count * _spare(settings) - 1e-9))
    return Material(
        item=item, quantity=float(count), with_spare=to_buy, unit="pieces", note=note, price_name=price_name
    )


def _spare(settings: Settings) -> float:
    return 1 + settings.spare_percent / 100


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _word(number: int) -> str:
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)
