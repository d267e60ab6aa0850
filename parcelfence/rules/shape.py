"""Shape: no sharp corners, no runs that weaken each other, room to walk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.field.current import CurrentLoop
from parcelfence.field.setting import doubled_spacing_m, reach_beside_return_run
from parcelfence.lines import gather
from parcelfence.rules.bends import bend_radii
from parcelfence.rules.passage import narrow_passages
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule, rule

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Run
    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch

__all__ = ["RULES"]

_THEME: Final = "shape"
_RADIUS_SHARE: Final = 0.9
"""A radius smaller by a tenth moves the apex of a right-angled bend of 1 m by 4 cm, about what laying by hand does."""
_SAME_BEND_M: Final = 1.0
_SLIVER_M2: Final = 0.05


@rule(
    "sharp-bend",
    theme=_THEME,
    severity="caution",
    summary="No bend of signal-carrying wire is tighter than the bend radius: at a corner the signal is uneven.",
)
def sharp_bend(draft: Draft) -> Iterator[Conflict]:
    """Measure the radius of every bend, and report the tightest place of each."""
    words, least_m = draft.wording, draft.settings.bend_radius_m
    for run in draft.loop.signal_runs:
        stations, radii = bend_radii(run.line, window_m=least_m / 4)
        tight = np.flatnonzero(radii < least_m * _RADIUS_SHARE)
        for station_m, radius_m in _tightest(run, stations[tight], radii=radii[tight]):
            at = words.at(run, station_m=run.start_station_m + station_m)
            radius = f"a radius of {words.length(radius_m)}" if radius_m > least_m / 3 else "a sharp corner"
            yield Conflict(
                message=f"The wire bends with {radius} {at}; {words.length(least_m)} is required.",
                remedy="Round the corner: the signal is weak outside a sharp corner and reaches far inside it.",
                geometry=run.line.interpolate(station_m),
                station_m=run.start_station_m + station_m,
                measured=radius_m,
                limit=least_m,
            )


def _tightest(run: Run, stations: NDArray[np.float64], *, radii: NDArray[np.float64]) -> Iterator[tuple[float, float]]:
    """One place for each bend: the middle of its tightest windows."""
    if run.line.is_closed and len(stations):
        inside = (stations >= 0) & (stations < run.line.length)
        stations, radii = stations[inside], radii[inside]
    cuts = np.flatnonzero(np.diff(stations) > _SAME_BEND_M) + 1
    places = []
    for own_m, own_radii in zip(np.split(stations, cuts), np.split(radii, cuts), strict=True):
        if len(own_m):
            least = own_radii.min()
            places.append((float(own_m[own_radii <= least * 1.001].mean()), float(least)))
    over_start = len(places) > 1 and run.line.is_closed
    if over_start and places[0][0] + run.line.length - places[-1][0] < _SAME_BEND_M:
        (first_m, first), (last_m, last) = places[0], places[-1]
        middle_m = (first_m + last_m - run.line.length) / 2 % run.line.length
        places = [(middle_m, min(first, last)), *places[1:-1]]
    yield from places


@rule(
    "facing-runs",
    theme=_THEME,
    severity="caution",
    summary="Runs with opposite currents are at least two reaches apart, or each takes the signal from the other.",
    basis="superposition of two long wires with opposite currents (Biot and Savart)",
)
def facing_runs(draft: Draft) -> Iterator[Conflict]:
    """Find signal-carrying wire that faces wire with the opposite current, and how near."""
    receiver, least_m = draft.zones.receiver, draft.facing_spacing_m
    open_sides = shapely.union_all([side.geometry for side in draft.site.open_sides])
    told: list[Stretch] = []
    for stretch in draft.facing:
        if any(_faces(stretch, other, least_m=least_m) for other in told):
            continue
        told.append(stretch)
        meant = _meant(stretch, open_sides=open_sides, draft=draft)
        words, spacing_m = draft.wording, stretch.measured
        outside_m = reach_beside_return_run(receiver.reach_m, spacing_m=spacing_m, height_m=receiver.height_m)
        yield Conflict(
            message=f"Two runs with opposite currents lie {words.length(spacing_m)} apart {words.along(stretch)}: "
            f"outside them the receiver, set to {words.length(receiver.reach_m)} beside a single straight wire, reacts "
            f"at about {words.length(outside_m)}.",
            remedy="This is the return run of an open side; set the level there by walking."
            if meant
            else "Move the runs apart, or join the two stretches into one.",
            geometry=stretch.line,
            severity="note" if meant else None,
            station_m=stretch.station_m,
            measured=stretch.measured,
            limit=least_m,
        )


def _faces(stretch: Stretch, other: Stretch, *, least_m: float) -> bool:
    """Whether a stretch is the other side of one that was told already."""
    return bool(shapely.hausdorff_distance(stretch.line, other.line) <= 2 * least_m) and bool(
        stretch.line.distance(other.line) < least_m
    )


def _meant(stretch: Stretch, *, open_sides: BaseGeometry, draft: Draft) -> bool:
    near_m = draft.settings.lot_line_setback_m + 2 * draft.settings.return_run_spacing_m
    doubled = draft.loop.of_part("return_run")
    by_part = any(run.line.distance(stretch.line) < near_m for run in doubled)
    return by_part or (not open_sides.is_empty and bool(open_sides.distance(stretch.line) < near_m))


@rule(
    "open-side",
    theme=_THEME,
    severity="note",
    summary="Where the wire is doubled back along open sides, the level that this needs is known.",
    basis="superposition of two long wires with opposite currents (Biot and Savart)",
)
def open_side(draft: Draft) -> Iterator[Conflict]:
    """Say what the receiver is set to, from the spacing at which the runs really lie."""
    doubled = draft.loop.of_part("return_run")
    if doubled:
        words, receiver = draft.wording, draft.zones.receiver
        spacing_m = doubled_spacing_m([CurrentLoop.from_line(run.line) for run in doubled])
        yield Conflict(
            message=f"Along the open side there is no wire. On the other sides the wire is doubled back at "
            f"{words.length(spacing_m)}; for a reach of {words.length(draft.settings.reach_m)} beside it the receiver "
            f"is set as for {words.length(receiver.reach_m)} beside a single straight wire.",
            remedy="Walk the signal from outside and adjust the level to what is found.",
            geometry=gather([run.line for run in doubled]),
            measured=receiver.reach_m,
            limit=draft.settings.reach_m,
            layer="open_sides",
        )


@rule(
    "narrow-passage",
    theme=_THEME,
    severity="caution",
    summary="Between signal zones, and between signal and walls, the animal has a way wide enough to walk.",
    of_signal=True,
)
def narrow_passage(draft: Draft) -> Iterator[Conflict]:
    """Find necks of the free ground that are narrower than the passage width."""
    words, width_m = draft.wording, draft.settings.passage_width_m
    for neck in narrow_passages(draft.zones.free_ground.geoms, width_m=width_m):
        place = nearest_place(draft.loop, neck.geometry, twisted=False)
        at = f" near station {words.station(place.station_m)}" if place else ""
        yield Conflict(
            message=f"The free way{at} is only {words.length(neck.width_m)} wide; {words.length(width_m)} is needed.",
            remedy="Move the wire apart there, choose a smaller reach, or close the passage on purpose.",
            geometry=neck.geometry,
            station_m=place.station_m if place else None,
            measured=neck.width_m,
            limit=width_m,
            layer="zones",
        )


@rule(
    "roam-pocket",
    theme=_THEME,
    severity="caution",
    summary="The animal's free ground is of one piece.",
    of_signal=True,
)
def roam_pocket(draft: Draft) -> Iterator[Conflict]:
    """Report pieces of free ground that are cut off from the largest one of their loop."""
    words, least_m2 = draft.wording, draft.settings.passage_width_m**2
    for loop in shapely.get_parts(draft.loop.enclosed):
        parts = [part for part in draft.zones.free_ground.geoms if loop.covers(part.representative_point())]
        for part in sorted(parts, key=lambda own: own.area)[:-1]:
            if part.area < _SLIVER_M2:
                continue
            place = nearest_place(draft.loop, part, twisted=False)
            at = f" near station {words.station(place.station_m)}" if place else ""
            tiny = part.area < least_m2
            yield Conflict(
                message=f"A pocket of {words.area(part.area)}{at} is free of signal but cut off from the rest.",
                remedy="Nothing walks there; leave it."
                if tiny
                else "Widen the way to it, or lead the wire around it: an animal can be shut in there.",
                geometry=part,
                severity="note" if tiny else None,
                station_m=place.station_m if place else None,
                measured=float(part.area),
                limit=least_m2,
                unit="m2",
                layer="zones",
            )


@rule(
    "no-roam",
    theme=_THEME,
    severity="must_fix",
    summary="Inside every loop there is free ground on which the animal can turn.",
    of_signal=True,
)
def no_roam(draft: Draft) -> Iterator[Conflict]:
    """Look for the widest circle of free ground in each loop."""
    words, width_m = draft.wording, draft.settings.passage_width_m
    for loop in shapely.get_parts(draft.loop.enclosed):
        parts = [part for part in draft.zones.free_ground.geoms if loop.covers(part.representative_point())]
        widest_m = max((2 * float(shapely.maximum_inscribed_circle(part).length) for part in parts), default=0.0)
        if widest_m < width_m:
            free = f"is only {words.length(widest_m)} wide" if parts else "does not exist: all of it reacts"
            yield Conflict(
                message=f"The free ground inside the loop {free}; {words.length(width_m)} is needed.",
                remedy="Choose a smaller reach or a larger loop: an animal that finds no free spot suffers.",
                geometry=loop,
                measured=widest_m,
                limit=width_m,
                layer="zones",
            )


RULES: Final[tuple[Rule, ...]] = (sharp_bend, facing_runs, open_side, narrow_passage, roam_pocket, no_roam)
