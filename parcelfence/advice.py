"""Advice: why a property has no loop with free ground, and what would do; all of it was tried before it is given."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import NoLoopError, SettingsError
from parcelfence.planning import measure
from parcelfence.rules.registry import find_conflicts
from parcelfence.units import unit_system
from parcelfence.wording import Wording, listing

if TYPE_CHECKING:
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Remedy", "explained", "what_would_do"]

_SMALLER: Final = (0.85, 0.7, 0.55, 0.4, 0.3, 0.2)
"""Shares of the wanted reach that are tried where it leaves no ground, the largest first."""
_HALVINGS: Final = 3
"""Between a share that works and one that does not: within 2 % of the wanted reach."""
_LEAST_REACH_M: Final = 0.3
"""No receiver is set to less (from memory)."""
_IN_THE_WAY: Final = {
    "utilities": "buried lines",
    "easements": "easements",
    "water": "water",
    "roads": "roads",
    "keep_outs": "keep-outs",
    "no_dig": "ground that must not be dug",
    "buildings": "buildings",
}
"""What a site may be thought without, and what to call it."""


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """Something that was tried and works: in words, with its settings and the free ground that it keeps."""

    words: str
    settings: Settings
    free_m2: float


def what_would_do(site: Site, settings: Settings) -> tuple[Remedy, ...]:
    """Try what would do where no loop as wanted keeps any ground free.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        What was wanted.

    Returns
    -------
    tuple of Remedy
        A smaller reach with the layout that was wanted; the back yard, with the house inside or as a side, and its
        reach; each was planned and nothing in it must be fixed; what does not work is not in it.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> remedies = parcelfence.what_would_do(site, parcelfence.Settings(reach_m=12.0))
    >>> all(remedy.settings.reach_m < 12.0 and remedy.free_m2 > 0.0 for remedy in remedies)
    True
    """
    found = [_smaller_reach(site, settings)]
    if settings.layout != "back-yard":
        yard = settings.replaced(layout="back-yard")
        found.append(_tried(site, yard, words="the back yard only") or _smaller_reach(site, yard))
    return tuple(remedy for remedy in found if remedy is not None)


def explained(error: NoLoopError, *, site: Site, settings: Settings) -> NoLoopError:
    """Say of a property without a loop what is in the way, and what would do; what was tried and fails is not advised.

    Parameters
    ----------
    error : NoLoopError
        From :func:`parcelfence.planning.plan`.
    site : Site
        The property.
    settings : Settings
        What was wanted.

    Returns
    -------
    NoLoopError
        The same faults, the first of them with the cause and the advice.
    """
    if not error.faults:
        return error
    first, *others = error.faults
    words = Wording(settings)
    remedies = [
        f"{remedy.words} keeps {words.area(remedy.free_m2)} of ground free" for remedy in what_would_do(site, settings)
    ]
    nothing = (
        f"nothing that was tried keeps ground free without something that must be fixed: neither a reach down to "
        f"{words.length(_least_tried_m(settings))} nor the back yard"
    )
    advice = f"what was tried and works: {'; '.join(remedies)}" if remedies else nothing
    return NoLoopError([replace(first, found=f"{first.found}{_cause(site, settings)}", remedy=advice), *others])


def _least_tried_m(settings: Settings) -> float:
    return max(_LEAST_REACH_M, min(_SMALLER) * settings.reach_m)


def _cause(site: Site, settings: Settings) -> str:
    """Name what is in the way: the kinds of thing without any one of which there would be a loop with free ground."""
    causes = []
    for name, words in _IN_THE_WAY.items():
        there = getattr(site, name)
        if there and _keeps_ground(replace(site, **_without(name)), settings):
            causes.append(f"{words} ({listing([feature.id for feature in there])})")
    return f"; in the way are the {', or the '.join(causes)}: without them there would be room" if causes else ""


def _without(name: str) -> dict[str, Any]:
    return {name: ()}


def _keeps_ground(site: Site, settings: Settings) -> bool:
    try:
        measure(site, settings)
    except (NoLoopError, SettingsError):
        return False
    return True


def _smaller_reach(site: Site, settings: Settings) -> Remedy | None:
    """Find the largest of the reaches that are tried with which the property keeps free ground."""
    too_large = 1.0
    for share in _SMALLER:
        found = _at_share(share, site=site, settings=settings)
        if found is None:
            too_large = share
            continue
        low, high = share, too_large
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            better = _at_share(middle, site=site, settings=settings)
            low, high, found = (middle, high, better) if better is not None else (low, middle, found)
        return found
    return None


def _at_share(share: float, *, site: Site, settings: Settings) -> Remedy | None:
    reach_m = round(share * settings.reach_m, 2)
    if reach_m < _LEAST_REACH_M:
        return None
    where = "the back yard only, with a" if settings.layout == "back-yard" else "a"
    words = f"{where} reach of {unit_system(settings.units).length(reach_m, digits=2)}"
    return _tried(site, settings.replaced(reach_m=reach_m), words=words)


def _tried(site: Site, settings: Settings, *, words: str) -> Remedy | None:
    try:
        measured = measure(site, settings)
    except (NoLoopError, SettingsError):
        return None
    if any(conflict.severity == "must_fix" for conflict in find_conflicts(measured.draft)):
        return None
    return Remedy(words=words, settings=settings, free_m2=float(measured.draft.zones.free_ground.area))
