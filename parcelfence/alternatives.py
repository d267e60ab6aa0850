"""Alternatives: one property planned in several ways, side by side.

The plans share the site and all that was read; each differs by its reach, its layout and what its design leans to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, get_args

import parcelfence
from parcelfence.errors import Fault, NoLoopError, SettingsError, near_matches
from parcelfence.planning import plan
from parcelfence.settings import Settings
from parcelfence.takeoff.trench import BY_HAND
from parcelfence.units import parse_length_m

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from pandas import DataFrame

    from parcelfence.finished_plan import Plan
    from parcelfence.site.site import Site

__all__ = [
    "LAYOUTS",
    "Alternative",
    "Comparison",
    "combinations",
    "compare",
    "compare_settings",
]

LAYOUTS: Final[tuple[str, ...]] = get_args(Settings.model_fields["layout"].annotation)
"""Named layouts."""


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """One way to plan a property.

    Parameters
    ----------
    number : int
        From 1, in the order of the comparison.
    settings : Settings
        What it is planned by.
    plan : Plan or None
        None where there is none.
    reason : str
        Why there is none; empty otherwise.
    free_m2 : float
        Ground on which the animal is free, outside buildings.
    wire_m : float
        Conductor to be bought for it, slack and twist included.
    crossings : int
        Crossings of utilities.
    hand_dug_m, cut_m : float
        Trench dug by hand in tolerance zones; cuts through hard surfaces.
    flags, must_fix, cautions : int
        Counts.
    cost : float or None
        Where prices of material are given.
    beaten : bool
        Whether another one is at least as good in every respect, and better in one; see :func:`compare`.
    """

    number: int
    settings: Settings
    plan: Plan | None = None
    reason: str = ""
    free_m2: float = 0.0
    wire_m: float = 0.0
    crossings: int = 0
    hand_dug_m: float = 0.0
    cut_m: float = 0.0
    flags: int = 0
    must_fix: int = 0
    cautions: int = 0
    cost: float | None = None
    beaten: bool = False

    def beats(self, other: Alternative) -> bool:
        """Tell whether this one is nowhere worse than another, and somewhere better."""
        if self.plan is None or other.plan is None:
            return self.plan is not None
        mine, theirs = self._merits, other._merits
        return mine != theirs and all(a >= b for a, b in zip(mine, theirs, strict=True))

    @property
    def _merits(self) -> tuple[float, ...]:
        """What counts, as numbers of which more is better, no finer than a person would choose by."""
        outlay = self.wire_m if self.cost is None else self.cost
        reach_m = round(self.settings.reach_m, 3)
        return reach_m, round(self.free_m2), -round(outlay), -self.crossings, -self.must_fix


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Alternatives for one property.

    Its methods are the package's public functions of a comparison, written behind a dot.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        What they have in common.
    alternatives : tuple of Alternative
        By layout, then from the largest reach down.
    """

    site: Site
    settings: Settings
    alternatives: tuple[Alternative, ...]

    @property
    def plans(self) -> tuple[Plan, ...]:
        """The plans of those alternatives that have one."""
        return tuple(one.plan for one in self.alternatives if one.plan is not None)

    def table(self) -> DataFrame:
        """Give one row for each alternative: :func:`parcelfence.comparison_table` of this comparison."""
        return parcelfence.comparison_table(self)

    def write(self, directory: Path | str, *, overwrite: bool = False, choose: int | None = None) -> None:
        """Write table and pictures into a folder: :func:`parcelfence.write_comparison` of this comparison."""
        parcelfence.write_comparison(self, directory, overwrite=overwrite, choose=choose)


def compare(
    site: Site,
    settings: Settings | None = None,
    *,
    reaches: Iterable[float | str] = (),
    layouts: Iterable[str] = (),
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
) -> Comparison:
    """Plan a property in several ways.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings, optional
        What all have in common.
    reaches : iterable of float or str
        Metres, or lengths with a unit; that of the settings where left out.
    layouts : iterable of str
        Named layouts; that of the settings where left out.
    prices, crew : mapping of str to float, optional
        As for :func:`parcelfence.plan`.

    Returns
    -------
    Comparison
        One alternative for every combination, with a plan or the reason why there is none.  One is beaten if another
        has at least its reach and its free ground, takes no more wire (or money, where prices are given), crossings
        and things to be fixed, and is better in one of these.

    Raises
    ------
    SettingsError
        If a reach or a layout is none.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> comparison = parcelfence.compare(site, reaches=["4 ft", "6 ft"])
    >>> [round(one.plan.settings.reach_m, 2) for one in comparison.alternatives]
    [1.83, 1.22]
    >>> larger, smaller = comparison.plans
    >>> larger.zones.free_ground.area < smaller.zones.free_ground.area
    True
    """
    settings = settings or Settings()
    wanted = combinations(settings, reaches=reaches, layouts=layouts)
    return compare_settings(site, wanted, settings=settings, prices=prices, crew=crew)


def combinations(
    settings: Settings, *, reaches: Iterable[float | str] = (), layouts: Iterable[str] = ()
) -> tuple[Settings, ...]:
    """Give the settings of every alternative; parameters and errors as for :func:`compare`."""
    return tuple(
        settings.replaced(layout=layout, reach_m=reach_m)
        for layout in _layouts(layouts, settings=settings)
        for reach_m in _reaches_m(reaches, settings=settings)
    )


def compare_settings(
    site: Site,
    wanted: Sequence[Settings],
    *,
    settings: Settings,
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
    planned: Callable[[], None] = lambda: None,
) -> Comparison:
    """Plan a property by each of some settings; `planned` is called after each.  See :func:`compare`."""
    made = []
    for number, one in enumerate(wanted, start=1):
        made.append(_alternative(site, one, number=number, prices=prices, crew=crew))
        planned()
    beaten = [any(other.beats(one) for other in made) for one in made]
    alternatives = tuple(replace(one, beaten=lost) for one, lost in zip(made, beaten, strict=True))
    return Comparison(site=site, settings=settings, alternatives=alternatives)


def _layouts(given: Iterable[str], *, settings: Settings) -> list[str]:
    """Check the layouts, and give each once, in the order in which they are known."""
    asked = set(given) or {settings.layout}
    faults = [
        Fault(where="layouts", found=f"there is no layout {name!r}", remedy=near_matches(name, LAYOUTS))
        for name in sorted(asked - set(LAYOUTS))
    ]
    if faults:
        raise SettingsError(faults)
    return [name for name in LAYOUTS if name in asked]


def _reaches_m(given: Iterable[float | str], *, settings: Settings) -> list[float]:
    """Read the reaches, and give each once, the largest first."""
    reaches_m = {parse_length_m(reach) for reach in given} or {settings.reach_m}
    if min(reaches_m) <= 0:
        raise SettingsError(Fault(where="reaches", found=f"{min(reaches_m):g} m", must="a reach is more than nothing"))
    return sorted(reaches_m, reverse=True)


def _alternative(
    site: Site,
    settings: Settings,
    *,
    number: int,
    prices: Mapping[str, float] | None,
    crew: Mapping[str, float] | None,
) -> Alternative:
    try:
        finished = plan(site, settings, prices=prices, crew=crew)
    except (NoLoopError, SettingsError) as error:
        reason = error.faults[0].found if error.faults else str(error)
        return Alternative(number=number, settings=settings, reason=f"{reason[:1].upper()}{reason[1:]}.")
    counts = [conflict.severity for conflict in finished.conflicts]
    surfaces = [crossing for crossing in finished.crossings if crossing.layer == "hardscape"]
    return Alternative(
        number=number,
        settings=settings,
        plan=finished,
        free_m2=float(finished.zones.free_ground.area),
        wire_m=finished.take_off.sequence.conductor_length_m,
        crossings=sum(crossing.layer == "utilities" for crossing in finished.crossings),
        hand_dug_m=dict(finished.take_off.trench_m_by_surface).get(BY_HAND, 0.0),
        cut_m=sum(crossing.length_m for crossing in surfaces),
        flags=len(finished.take_off.flags),
        must_fix=counts.count("must_fix"),
        cautions=counts.count("caution"),
        cost=finished.take_off.cost,
    )
