"""Gaps in the signal: those that an open side leaves beside water or a wall, and those that a passage needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.conflict import Conflict
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.text import begin_sentence
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely import Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.draft import Draft

__all__ = ["RULES"]

_THEME: Final = "shape"
_NEAR_M: Final = 6.0
"""What stands farther from the end of the signal than this closes no gap there."""
_AT_A_SIDE_M: Final = 0.5
"""An open side that lies so near to water or a wall is that water or wall."""
_SAME_PLACE_M: Final = 1.0
_TOUCH_M: Final = 0.01
_WIDE: Final = 2.5
"""A gap that many times wider than an animal needs is no matter of setting the level."""


@rule(
    "open-side-gap",
    theme=_THEME,
    severity="caution",
    summary="At the ends of an open side no animal walks round the signal: it reaches the water or the wall there.",
    of_signal=True,
)
def open_side_gap(draft: Draft) -> Iterator[Conflict]:
    """Measure from each end of the signal to the water, wall or line at which the open side ends."""
    words, widest_m = draft.wording, draft.settings.gap_width_m
    barrier = _barrier(draft)
    for end in _ends(draft):
        around = end.buffer(_NEAR_M)
        signal, behind = draft.zones.signal.intersection(around), barrier.intersection(around)
        gap_m = float(signal.distance(behind)) if not behind.is_empty else 2 * _NEAR_M
        if gap_m <= widest_m:
            continue
        place = nearest_place(draft.loop, end, twisted=False)
        at = words.at(place.run, station_m=place.station_m) if place else ""
        found = f"a gap of {words.length(gap_m)}" if not behind.is_empty else "a wide gap"
        what = _named(draft, end)
        yield Conflict(
            message=f"At the end of the open side {at} the signal leaves {found} to {what}; an animal walks through a "
            f"gap wider than {words.length(widest_m)}.",
            remedy=f"Close it with a piece of fence {words.length(gap_m)} long, or lead the end of the wire nearer to "
            f"{what}; then walk the signal there.",
            geometry=end if behind.is_empty else shapely.shortest_line(signal, behind),
            severity="must_fix" if gap_m > _WIDE * widest_m else None,
            station_m=place.station_m if place else None,
            measured=gap_m,
            limit=widest_m,
            layer="open_sides",
        )


@rule(
    "passage-blocked",
    theme=_THEME,
    severity="caution",
    summary="A passage is free of signal over its whole width.",
    of_signal=True,
)
def passage_blocked(draft: Draft) -> Iterator[Conflict]:
    """Measure the free width along each passage."""
    words, width_m = draft.wording, draft.settings.passage_width_m
    for passage in draft.site.passages:
        free_m = 2 * float(draft.zones.signal.distance(passage.geometry))
        if free_m >= width_m - _TOUCH_M or draft.zones.signal.is_empty:
            continue
        blocked = draft.zones.signal.intersection(passage.geometry.buffer(width_m / 2))
        place = nearest_place(draft.loop, blocked, twisted=False)
        found = f"is only {words.length(free_m)} wide" if free_m > 0 else "is crossed by the signal"
        at = f" {words.at(place.run, station_m=place.station_m)}" if place else ""
        named = feature_name(passage, kind="passage")
        yield Conflict(
            message=f"{begin_sentence(named)} {found}{at}; {words.length(width_m)} is needed.",
            remedy="Move the passage to where the wire runs straight, or choose a smaller reach.",
            geometry=blocked,
            station_m=place.station_m if place else None,
            measured=free_m,
            limit=width_m,
            layer="passages",
            feature=passage.id,
        )


def _barrier(draft: Draft) -> BaseGeometry:
    """Give what the animal does not pass: water, walls, and sides that are left open along anything else."""
    solid = shapely.union_all([feature.geometry for feature in (*draft.site.water, *draft.site.buildings)])
    others = [side.geometry for side in draft.site.open_sides if not solid.dwithin(side.geometry, _AT_A_SIDE_M)]
    return shapely.union_all([solid, *others])


def _ends(draft: Draft) -> list[Point]:
    """Find where the edge of the contained ground leaves the signal towards an open side."""
    if draft.loop.ground is None or not draft.site.open_sides:
        return []
    sides = shapely.union_all([side.geometry for side in draft.site.open_sides])
    edge = shapely.union_all([part.exterior for part in shapely.get_parts(draft.loop.enclosed)])
    silent = shapely.get_parts(shapely.line_merge(edge.difference(draft.zones.signal.buffer(_TOUCH_M))))
    ends: list[Point] = []
    for line in silent:
        if line.is_empty or line.is_closed or not line.dwithin(sides, _NEAR_M):
            continue
        for end in (shapely.get_point(line, 0), shapely.get_point(line, -1)):
            passage = any(end.dwithin(one.geometry, _NEAR_M) for one in draft.site.passages)
            if not passage and not any(end.dwithin(other, _SAME_PLACE_M) for other in ends):
                ends.append(end)
    return ends


def _named(draft: Draft, end: Point) -> str:
    """Name what the open side ends at."""
    walls = shapely.union_all([building.geometry for building in draft.site.buildings])
    water = shapely.union_all([one.geometry for one in draft.site.water])
    from_m = {
        name: float(shape.distance(end))
        for name, shape in (("the wall", walls), ("the water", water))
        if not shape.is_empty
    }
    nearest = min(from_m, key=lambda name: from_m[name], default="")
    return nearest if nearest and from_m[nearest] <= _NEAR_M else "the side that is open"


RULES: Final[tuple[Rule, ...]] = (open_side_gap, passage_blocked)
