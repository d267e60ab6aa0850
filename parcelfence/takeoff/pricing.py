"""Hours and cost of a take-off, by unit prices and crew rates that somebody gives.  No price or rate is assumed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, SettingsError, near_matches
from parcelfence.takeoff.take_off import Labour
from parcelfence.takeoff.trench import BY_HAND, SOIL
from parcelfence.units import FOOT_M

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parcelfence.layout.crossing import Crossing
    from parcelfence.takeoff.materials import Material
    from parcelfence.takeoff.take_off import TakeOff

__all__ = ["CREW", "PRICES", "SAW_CUTS", "checked_crew", "checked_prices", "priced"]

PRICES: Final = {
    "single_wire_per_m": "single wire of the loops, per metre",
    "twisted_pair_per_m": "twisted pair of the lead-ins, per metre of pair",
    "spool": "a spool of wire; instead of both prices by length",
    "splice": "the making of a joint of two wire ends: connector or solder",
    "cap": "a waterproof cap",
    "flag": "a flag",
    "conduit_per_m": "conduit, per metre",
    "saw_cut_per_m": "saw cut where it is contracted, per metre",
}
"""Unit prices, in any currency; names in ``_per_m`` are also understood in ``_per_ft``."""

CREW: Final = {
    "trench_m_per_hour": "metres of trench in soil an hour",
    "hand_dig_m_per_hour": "metres dug by hand in tolerance zones an hour; as in other soil where left out",
    "saw_cut_m_per_hour": "metres of saw cut an hour",
    "wire_m_per_hour": "metres of run laid an hour",
    "flags_per_hour": "flags an hour",
    "joints_per_hour": "joints of two wire ends an hour",
    "crossing_hours": "hours for each crossing of a utility, beyond the digging",
    "setup_hours": "hours for coming, setting up and testing",
    "hourly_rate": "cost of an hour of the whole crew",
}
"""Crew rates; names in ``_m_per_hour`` are also understood in ``_ft_per_hour``."""
SAW_CUTS: Final = "saw cuts"
"""Work of the crew, or material where it is contracted."""
_WORK: Final = {
    "trench_m_per_hour": "trench in soil",
    "hand_dig_m_per_hour": "digging by hand",
    "saw_cut_m_per_hour": SAW_CUTS,
    "wire_m_per_hour": "laying the wire",
    "flags_per_hour": "setting flags",
    "joints_per_hour": "joints",
    "crossing_hours": "crossings of utilities",
    "setup_hours": "coming, setting up, testing",
}
"""What a crew does at each rate."""


def priced(
    counted: TakeOff,
    *,
    crossings: tuple[Crossing, ...],
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
) -> TakeOff:
    """Apply a price list and crew rates to what was counted.

    Parameters
    ----------
    counted : TakeOff
        Quantities, without cost.
    crossings : tuple of Crossing
        Hard surfaces are cut, utilities take their own time.
    prices, crew : mapping of str to float, optional
        By the names of :data:`PRICES` and :data:`CREW`.

    Returns
    -------
    TakeOff
        Hours cover the work for which a rate is given; the cost covers the items that have a price, and the hours if
        an hourly rate is given.  Its remarks say what is covered.

    Raises
    ------
    SettingsError
        If a price or rate is not known or not usable.
    """
    unit_prices, rates = checked_prices(prices), checked_crew(crew)
    items = tuple(_with_cost(item, prices=unit_prices) for item in counted.materials)
    rate = rates.get("hourly_rate")
    labour = tuple(
        Labour(work=_WORK[name], hours=hours, cost=None if rate is None else hours * rate)
        for name, hours in _labour_hours(counted, crossings=crossings, crew=rates).items()
    )
    said = (*counted.remarks, _hours_cover(labour), _cost_covers(items, labour=labour))
    return replace(counted, materials=items, labour=labour, remarks=tuple(sentence for sentence in said if sentence))


def _with_cost(item: Material, *, prices: Mapping[str, float]) -> Material:
    return replace(item, cost=prices[item.price_name] * item.with_spare) if item.price_name in prices else item


def _labour_hours(counted: TakeOff, *, crossings: tuple[Crossing, ...], crew: Mapping[str, float]) -> dict[str, float]:
    """Work out the hours of each kind of work for which a rate is given, by the name of the rate."""
    trench_m = dict(counted.trench_m_by_surface)
    by_hand_m = trench_m.get(BY_HAND, 0.0)
    quick_m = trench_m.get(SOIL, 0.0) + (0.0 if "hand_dig_m_per_hour" in crew else by_hand_m)
    amounts = {
        "trench_m_per_hour": quick_m,
        "hand_dig_m_per_hour": by_hand_m,
        "saw_cut_m_per_hour": sum(crossing.length_m for crossing in crossings if crossing.layer == "hardscape"),
        "wire_m_per_hour": sum(leg.ground_length_m for leg in counted.sequence.legs),
        "flags_per_hour": float(len(counted.flags)),
        "joints_per_hour": float(counted.sequence.joints),
    }
    hours = {name: amount / crew[name] for name, amount in amounts.items() if name in crew}
    if "crossing_hours" in crew:
        count = sum(crossing.layer == "utilities" for crossing in crossings)
        hours["crossing_hours"] = count * crew["crossing_hours"]
    if "setup_hours" in crew:
        hours["setup_hours"] = crew["setup_hours"]
    return hours


def _hours_cover(labour: tuple[Labour, ...]) -> str:
    if not labour:
        return ""
    return f"Hours cover only what a crew rate was given for: {', '.join(one.work for one in labour)}."


def _cost_covers(items: tuple[Material, ...], *, labour: tuple[Labour, ...]) -> str:
    covered = [item.item for item in items if item.cost is not None]
    covered += ["labour"] if any(one.cost is not None for one in labour) else []
    return f"The cost covers only: {', '.join(covered)}." if covered else ""


def checked_prices(given: Mapping[str, float] | None) -> dict[str, float]:
    """Check unit prices.

    Parameters
    ----------
    given : mapping of str to float or None
        By the names of :data:`PRICES`.

    Returns
    -------
    dict of str to float
        Per metre and piece.

    Raises
    ------
    SettingsError
        With all faults: a name that is not known, no finite number of at least 0, or wire that would be paid twice.
    """
    given = given or {}
    by_length = [name for name in given if name.startswith(("single_wire_", "twisted_pair_"))]
    twice = Fault(
        where="prices",
        feature="spool",
        found=f"wire has a price by the spool and by length ({', '.join(by_length)})",
        must="wire is paid once",
        remedy="leave one of them out",
    )
    faults = [twice] if "spool" in given and by_length else []
    return _checked(given, names=PRICES, where="prices", faults=faults)


def checked_crew(given: Mapping[str, float] | None) -> dict[str, float]:
    """Check crew rates, given by the names of :data:`CREW`; metres an hour, hours, cost of an hour.

    Raises
    ------
    SettingsError
        With all faults: a name that is not known, or no finite number above 0.
    """
    given = given or {}
    return _checked(given, names=CREW, where="crew", faults=[])


def _checked(
    given: Mapping[str, float], *, names: Mapping[str, str], where: str, faults: list[Fault]
) -> dict[str, float]:
    known = {name: (name, 1.0) for name in names} | {
        name.replace("_per_m", "_per_ft"): (name, 1 / FOOT_M) for name in names if name.endswith("_per_m")
    }
    known |= {name.replace("_m_per_", "_ft_per_"): (name, FOOT_M) for name in names if "_m_per_" in name}
    faults = [*faults, *_faults(given, known=known, where=where)]
    if faults:
        raise SettingsError(faults)
    return {known[name][0]: value * known[name][1] for name, value in given.items()}


def _faults(given: Mapping[str, float], *, known: Mapping[str, tuple[str, float]], where: str) -> Iterator[Fault]:
    met: dict[str, str] = {}
    for name, value in given.items():
        if name not in known:
            yield Fault(where=where, found=f"there is no entry {name!r}", remedy=near_matches(name, known))
            continue
        rate = "_per_hour" in name
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value < 0:
            yield Fault(where=where, feature=name, found=f"found {value!r}", must="it must be a number of at least 0")
        elif rate and value == 0:
            yield Fault(where=where, feature=name, found="found 0", must="a rate is above 0", remedy="leave it out")
        if (earlier := met.setdefault(known[name][0], name)) != name:
            yield Fault(where=where, feature=name, found=f"{earlier} says the same thing", remedy="leave one out")
