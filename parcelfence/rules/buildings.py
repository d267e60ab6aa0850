"""Buildings: the signal passes through walls, and the animal must get out of its door."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.rules.nearness import near_stretches
from parcelfence.rules.place import greatest_distance_m, nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.text import begin_sentence
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parcelfence.conflict import Severity
    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch
    from parcelfence.site.feature import Feature

__all__ = ["RULES"]

_THEME: Final = "buildings"


@rule(
    "building-clearance",
    theme=_THEME,
    severity="must_fix",
    summary="Signal-carrying wire keeps its clearance from every building, for the signal passes through walls.",
)
def building_clearance(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance of the signal-carrying wire to each building."""
    buildings, wire = draft.site.buildings, draft.wire
    near = near_stretches(
        wire,
        [building.geometry for building in buildings],
        within_m=draft.settings.building_clearance_m - LAYING_TOLERANCE_M,
        among=~wire.twisted,
    )
    for building, stretches in zip(buildings, near, strict=True):
        for stretch in stretches:
            yield _too_near(draft, building, stretch=stretch)


def _too_near(draft: Draft, building: Feature, *, stretch: Stretch) -> Conflict:
    words, settings = draft.wording, draft.settings
    under = stretch.measured <= 0
    clear = not under and not draft.zones.signal.intersects(building.geometry)
    found = "runs into" if under else f"comes within {words.length(stretch.measured)} of"
    return Conflict(
        message=f"The wire {found} {feature_name(building, kind='building')} {words.along(stretch)}; "
        f"{words.length(settings.building_clearance_m)} is required.",
        remedy="Lead the wire farther from the wall, or choose a reach small enough for the space between them.",
        geometry=stretch.line,
        severity=_severity(draft, stretch, clear=clear),
        station_m=stretch.station_m,
        measured=stretch.measured,
        limit=settings.building_clearance_m,
        layer="buildings",
        feature=building.id,
    )


def _severity(draft: Draft, stretch: Stretch, *, clear: bool) -> Severity:
    """Judge by the signal: the end of a doubled wire reaches less far, and has to come near to close the gap."""
    if clear and stretch.run.part == "return_run":
        return "note"
    # beyond the reach only the margin is used up: the walls are still free of the signal
    return "must_fix" if stretch.measured < draft.settings.reach_m else "caution"


@rule(
    "building-signal",
    theme=_THEME,
    severity="must_fix",
    summary="No signal inside a building: an animal indoors must never be reached.",
    of_signal=True,
)
def building_signal(draft: Draft) -> Iterator[Conflict]:
    """Measure how far the signal zone reaches into each building, from its walls."""
    signal = draft.zones.signal
    shapely.prepare(signal)
    for building in draft.site.buildings:
        if not signal.intersects(building.geometry):
            continue
        inside = shapely.intersection(signal, building.geometry)
        depth_m = greatest_distance_m(building.geometry.boundary, over=inside)
        covered = signal.covers(building.geometry)
        if covered or depth_m > LAYING_TOLERANCE_M:
            words, place = draft.wording, nearest_place(draft.loop, inside, twisted=False)
            named = feature_name(building, kind="building")
            extent = "fills" if covered else f"reaches {words.length(depth_m)} into"
            where = f" {words.at(place.run, station_m=place.station_m)}" if place else ""
            yield Conflict(
                message=f"The signal {extent} {named}{where} and passes through its walls.",
                remedy="Lead the wire farther from the building, choose a smaller reach, or take the building out of "
                "the loop if no animal is ever in it.",
                geometry=inside,
                station_m=place.station_m if place else None,
                measured=depth_m,
                limit=0.0,
                layer="buildings",
                feature=building.id,
            )


@rule(
    "door-blocked",
    theme=_THEME,
    severity="caution",
    summary="Every door that the animal uses opens on ground inside the loop, with a free way between door and signal.",
    of_signal=True,
)
def door_blocked(draft: Draft) -> Iterator[Conflict]:
    """Measure from each door to the signal zone, and whether it opens on the inside of the loop."""
    words, needed_m, zones = draft.wording, draft.settings.passage_width_m, draft.zones
    for door in draft.site.doors:
        free_m = float(zones.signal.distance(door.geometry)) if not zones.signal.is_empty else np.inf
        outside_m = float(draft.loop.enclosed.distance(door.geometry))
        if free_m >= needed_m - LAYING_TOLERANCE_M and outside_m <= 0:
            continue
        place = nearest_place(draft.loop, door.geometry, twisted=False)
        named = feature_name(door, kind="door")
        if free_m <= 0:
            found = f"{begin_sentence(named)} lies in the signal: the animal is reached as soon as it steps out"
        elif outside_m > 0:
            found = f"{begin_sentence(named)} opens outside the loop: who leaves by it is not contained"
        else:
            found = f"The signal begins {words.length(free_m)} from {named}; {words.length(needed_m)} is needed"
        yield Conflict(
            message=f"{found}.",
            remedy="Lead the wire farther from the door, or let the animal use another one.",
            geometry=door.geometry,
            severity="must_fix" if free_m <= 0 else "caution",
            station_m=place.station_m if place else None,
            measured=free_m if np.isfinite(free_m) else None,
            limit=needed_m,
            layer="doors",
            feature=door.id,
        )


RULES: Final[tuple[Rule, ...]] = (building_clearance, building_signal, door_blocked)
