"""Narrow places: what presses the wire to a wall, and the reach with which it would keep its clearance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import Polygon

from parcelfence.conflict import Conflict
from parcelfence.errors import NoLoopError, SettingsError
from parcelfence.layout.design import design
from parcelfence.rules.nearness import near_stretches
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.wording import feature_name, listing, utility_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature

__all__ = ["RULES"]

_LOT_LINE: Final = "the lot line"
_PRESSES_M: Final = 0.3
"""What the wire keeps its distance from to within so much is what holds it there; more is room to move."""
_LEAST_REACH_M: Final = 0.3
"""No receiver is set to less (from memory)."""
_LEAST_FREE_M2: Final = 4.0
"""Two metres by two: no animal can live on less (from memory)."""
_SHARES: Final = (1.0, 0.9, 0.8, 0.65, 0.5, 0.35)
"""Shares of what the narrowest place leaves that are tried, the largest first."""
_HALVINGS: Final = 10


@dataclass(frozen=True, kw_only=True)
class _Place:
    """A stretch beside a wall, with what presses the wire there and the reach for which that leaves room."""

    building: Feature
    stretch: Stretch
    pressing: tuple[str, ...]
    fits_m: float


@rule(
    "narrow-place",
    theme="buildings",
    severity="caution",
    summary="Where the wire is pressed to a wall, what presses it is known, and the reach that would do was tried.",
)
def narrow_place(draft: Draft) -> Iterator[Conflict]:
    """Find what holds the wire too near to the walls of buildings inside the loop."""
    found = _places(draft)
    if not found:
        return
    words, set_m = draft.wording, draft.settings.reach_m
    tried_m = _tried_reach_m(draft, found)
    remedy = (
        f"A reach of {words.length(tried_m)} was tried: with it the wire keeps its clearance from these walls."
        if tried_m
        else "No smaller reach that was tried helps: leave that side out with a wanted area, or the building."
    )
    for place in found:
        name, by = feature_name(place.building, kind="building"), listing(list(place.pressing))
        leaves = f"{'leave' if len(place.pressing) > 1 else 'leaves'} it"
        room = (
            f"{leaves} a reach of {words.length(place.fits_m)} at most there; {words.length(set_m)} is set"
            if place.fits_m >= _LEAST_REACH_M
            else f"{leaves} room for no usual reach there"
        )
        if place.fits_m >= set_m:
            room = f"{leaves} room for the clearance there, but not for its bends"
        yield Conflict(
            message=f"The wire is pressed to {name} {words.along(place.stretch)}: {by} {room}.",
            remedy=remedy,
            geometry=place.stretch.line,
            station_m=place.stretch.station_m,
            measured=place.fits_m,
            limit=set_m,
            layer="buildings",
            feature=place.building.id,
        )


def _places(draft: Draft) -> list[_Place]:
    wire, settings = draft.wire, draft.settings
    outer = _outer(draft)
    inside = [building for building in draft.site.buildings if outer.intersects(building.geometry)]
    single = np.array([run.part == "loop" for run in wire.runs], dtype=bool)[wire.run_of] if len(wire.pieces) else None
    if not inside or single is None:
        return []
    within_m = settings.building_clearance_m - LAYING_TOLERANCE_M
    near = near_stretches(wire, [building.geometry for building in inside], within_m=within_m, among=single)
    obstacles = _obstacles(draft)
    places = []
    for building, stretches in zip(inside, near, strict=True):
        for stretch in stretches:
            pressing = _pressing(draft, stretch, wall=building.geometry, obstacles=obstacles)
            if pressing:
                names = tuple(dict.fromkeys(name for name, _ in pressing))
                fits_m = min(room_m for _, room_m in pressing)
                places.append(_Place(building=building, stretch=stretch, pressing=names, fits_m=fits_m))
    return places


def _outer(draft: Draft) -> BaseGeometry:
    return shapely.union_all([Polygon(run.line) for run in draft.loop.of_part("loop")])


def _obstacles(draft: Draft) -> list[tuple[str, BaseGeometry, float]]:
    """Give what wire keeps off: name, geometry, and the distance that it keeps."""
    site, settings = draft.site, draft.settings
    plain = [
        (site.easements, 0.0),
        (site.no_dig, 0.0),
        (site.keep_outs, settings.keep_out_clearance_m or 0.0),
        (site.water, settings.water_clearance_m or 0.0),
        (site.roads, settings.road_clearance_m or 0.0),
    ]
    found = [(feature_name(one), one.geometry, clear_m) for layer, clear_m in plain for one in layer]
    return found + [(utility_name(one), one.geometry, settings.utility_separation_m) for one in site.utilities]


def _pressing(
    draft: Draft, stretch: Stretch, *, wall: BaseGeometry, obstacles: Sequence[tuple[str, BaseGeometry, float]]
) -> list[tuple[str, float]]:
    """Find what the wire lies as near to as it may, where it is nearest to a wall, with the reach that fits between."""
    settings = draft.settings
    point = shapely.get_point(shapely.shortest_line(stretch.line, wall), 0)
    lot_line = draft.site.parcel.boundary
    found = []
    away_m = float(point.distance(lot_line))
    if away_m <= settings.lot_line_setback_m + _PRESSES_M:
        gap_m = away_m + float(point.distance(wall))
        found.append((_LOT_LINE, _reach_in_m(settings, gap_m=gap_m, clear_m=None)))
    for name, geometry, clear_m in obstacles:
        away_m = float(point.distance(geometry))
        if away_m <= clear_m + _PRESSES_M:
            gap_m = away_m + float(point.distance(wall))
            found.append((name, _reach_in_m(settings, gap_m=gap_m, clear_m=clear_m)))
    return found


def _reach_in_m(settings: Settings, *, gap_m: float, clear_m: float | None) -> float:
    """Largest reach whose clearance from the wall fits into a gap beside another one (None: the setback); or 0."""

    def fits(reach_m: float) -> bool:
        there = settings.replaced(reach_m=reach_m)
        own_m = there.lot_line_setback_m if clear_m is None else clear_m
        return own_m + there.building_clearance_m <= gap_m

    low, high = _LEAST_REACH_M, 2.0 * settings.reach_m
    if not fits(low):
        return 0.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _tried_reach_m(draft: Draft, places: Sequence[_Place]) -> float | None:
    """Largest of some reaches with which a loop, designed anew, keeps its clearance from the walls, and free ground."""
    walls = shapely.union_all([place.building.geometry for place in places])
    most_m = min(*(place.fits_m for place in places), draft.settings.reach_m)
    for share in _SHARES:
        reach_m = np.floor(100.0 * share * most_m) / 100.0
        if reach_m >= _LEAST_REACH_M and _keeps_clear(
            draft, draft.settings.replaced(reach_m=float(reach_m)), walls=walls
        ):
            return float(reach_m)
    return None


def _keeps_clear(draft: Draft, settings: Settings, *, walls: BaseGeometry) -> bool:
    try:
        loop = design(draft.site, settings)
    except (NoLoopError, SettingsError):
        return False
    lines = shapely.union_all([run.line for run in loop.signal_runs])
    free = loop.enclosed.buffer(-settings.reach_m).difference(draft.site.roofs)
    return bool(
        loop.enclosed.covers(walls)
        and lines.distance(walls) >= settings.building_clearance_m - LAYING_TOLERANCE_M
        and free.area >= _LEAST_FREE_M2
    )


RULES: Final[tuple[Rule, ...]] = (narrow_place,)
