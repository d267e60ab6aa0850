"""What the designer had to say about its own work, as conflict rows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parcelfence.conflict import Conflict
from parcelfence.rules.place import nearest_place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.layout.loop import Remark
    from parcelfence.rules.draft import Draft

__all__ = ["remark_conflicts"]

_SAME_PLACE_M: Final = 1.0
_SITE_WIDE: Final = frozenset({"transmitter-place", "no-roam", "area-limit", "drive-limit"})
_BASIS: Final = "design of the loop"


def remark_conflicts(draft: Draft, *, found: Sequence[Conflict]) -> tuple[Conflict, ...]:
    """Turn the designer's remarks into conflicts.

    Parameters
    ----------
    draft : Draft
        Its loop carries the remarks.
    found : sequence of Conflict
        What the rules found; a remark of the same rule, on the same feature and at the same place, is left out, and so
        is one about all of the site that a rule speaks of too.
    """
    fresh = [remark for remark in draft.loop.remarks if not any(_same(remark, conflict) for conflict in found)]
    return tuple(_conflict(draft, remark) for remark in fresh)


def _same(remark: Remark, conflict: Conflict) -> bool:
    if remark.rule != conflict.rule or (remark.feature and conflict.feature and remark.feature != conflict.feature):
        return False
    return remark.rule in _SITE_WIDE or bool(remark.geometry.distance(conflict.geometry) <= _SAME_PLACE_M)


def _conflict(draft: Draft, remark: Remark) -> Conflict:
    place = nearest_place(draft.loop, remark.geometry)
    return Conflict(
        rule=remark.rule,
        severity=remark.severity,
        message=remark.message,
        remedy=remark.remedy,
        geometry=remark.geometry,
        basis=_BASIS,
        station_m=place.station_m if place else None,
        measured=remark.measured,
        limit=remark.limit,
        unit=remark.unit,
        layer=remark.layer,
        feature=remark.feature,
    )
