"""What the designer had to say about its own work, beside what the rules found."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from parcelfence.rules.place import nearest_place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.conflict import Conflict
    from parcelfence.rules.draft import Draft

__all__ = ["remark_conflicts"]

_SAME_PLACE_M: Final = 1.0
_SITE_WIDE: Final = frozenset({"transmitter-place", "no-roam", "area-limit", "drive-limit"})
_MEASURED_AFRESH: Final = frozenset({("narrow-passage", "parcel")})
"""Ground that stays outside has a rule of its own, which finds by trial what parts it from the rest."""
_BASIS: Final = "design of the loop"


def remark_conflicts(draft: Draft, *, found: Sequence[Conflict]) -> tuple[Conflict, ...]:
    """Give the designer's remarks their place along the wire.

    Parameters
    ----------
    draft : Draft
        Its loop carries the remarks.
    found : sequence of Conflict
        What the rules found; a remark of the same rule, on the same feature and at the same place, is left out, and so
        is one about all of the site that a rule speaks of too.
    """
    fresh = [
        remark
        for remark in draft.loop.remarks
        if (remark.rule, remark.layer) not in _MEASURED_AFRESH and not any(_same(remark, one) for one in found)
    ]
    return tuple(_placed(draft, remark) for remark in fresh)


def _same(remark: Conflict, conflict: Conflict) -> bool:
    if remark.rule != conflict.rule or (remark.feature and conflict.feature and remark.feature != conflict.feature):
        return False
    return remark.rule in _SITE_WIDE or bool(remark.geometry.distance(conflict.geometry) <= _SAME_PLACE_M)


def _placed(draft: Draft, remark: Conflict) -> Conflict:
    place = nearest_place(draft.loop, remark.geometry)
    return replace(remark, basis=remark.basis or _BASIS, station_m=place.station_m if place else None)
