"""Lot lines: the wire keeps its setback, and the signal stays on the property."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.rules.place import greatest_distance_m, nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch

__all__ = ["RULES"]

_THEME: Final = "lot lines"


@rule(
    "lot-line-wire",
    theme=_THEME,
    severity="must_fix",
    summary="The wire lies on the property, and its signal-carrying runs keep the setback from every lot line.",
)
def lot_line_wire(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance of every piece of wire to the lot line, negative outside the property."""
    wire, setback_m = draft.wire, draft.settings.lot_line_setback_m
    if not len(wire.pieces):
        return
    depth_m = _depth_m(draft, within_m=setback_m)
    # a twisted pair has no signal that could leave the property; it must only lie on it
    needed_m = np.where(wire.twisted, 0.0, setback_m)
    short = np.flatnonzero(depth_m < needed_m - LAYING_TOLERANCE_M)
    for stretch in wire.stretches(short, values=depth_m[short]):
        yield _too_near(draft, stretch)


def _depth_m(draft: Draft, *, within_m: float) -> NDArray[np.float64]:
    """Distance of each piece to the lot line; at least `within_m` where not measured, negative outside."""
    pieces, parcel = draft.wire.pieces, draft.site.parcel
    lot_line = parcel.boundary
    shapely.prepare(parcel)
    shapely.prepare(lot_line)
    depth_m = np.full(len(pieces), np.inf)
    lines = np.array([run.line for run in draft.wire.runs], dtype=object)
    close = shapely.dwithin(lot_line, lines, within_m - LAYING_TOLERANCE_M) | ~shapely.covers(parcel, lines)
    suspects = np.flatnonzero(close[draft.wire.run_of])
    near = suspects[shapely.dwithin(lot_line, pieces[suspects], within_m - LAYING_TOLERANCE_M)]
    depth_m[near] = shapely.distance(lot_line, pieces[near])
    outside = suspects[~shapely.covers(parcel, pieces[suspects])]
    ends = shapely.get_point(pieces[outside], np.array([[0], [1]]))
    depth_m[outside] = -shapely.distance(parcel, ends).max(axis=0)
    return depth_m


def _too_near(draft: Draft, stretch: Stretch) -> Conflict:
    words, needed_m = draft.wording, 0.0 if stretch.run.twisted else draft.settings.lot_line_setback_m
    name = "The lead-in" if stretch.run.twisted else "The wire"
    if stretch.measured < 0:
        found = f"{name} lies up to {words.length(-stretch.measured)} outside the property"
    else:
        found = f"{name} comes within {words.length(stretch.measured)} of the lot line"
    rule_says = f"; {words.length(needed_m)} is required" if needed_m else ""
    return Conflict(
        message=f"{found} {words.along(stretch)}{rule_says}.",
        remedy="Move the wire inwards there"
        + ("." if stretch.run.twisted else ", or choose a smaller reach and the setback that goes with it."),
        geometry=stretch.line,
        station_m=stretch.station_m,
        measured=stretch.measured,
        limit=needed_m,
        layer="parcel",
        feature=draft.site.parcel_id,
    )


@rule(
    "lot-line-signal",
    theme=_THEME,
    severity="must_fix",
    summary="The signal zone ends at the lot line: nobody else's animal or ground is reached.",
    of_signal=True,
)
def lot_line_signal(draft: Draft) -> Iterator[Conflict]:
    """Find every part of the signal zone that lies over the lot line, and how far it reaches."""
    parcel = draft.site.parcel
    shapely.prepare(parcel)
    if parcel.covers(draft.zones.signal):
        return
    over = shapely.difference(draft.zones.signal, parcel)
    for part in shapely.get_parts(over):
        depth_m = greatest_distance_m(parcel, over=part)
        if depth_m > LAYING_TOLERANCE_M:
            yield _over_the_line(draft, part, depth_m=depth_m)


def _over_the_line(draft: Draft, part: BaseGeometry, *, depth_m: float) -> Conflict:
    words, place = draft.wording, nearest_place(draft.loop, part, twisted=False)
    neighbours = [neighbour for neighbour in draft.site.neighbours if neighbour.geometry.intersection(part).area > 0]
    whose = f" onto {', '.join(sorted(neighbour.id for neighbour in neighbours))}" if neighbours else ""
    where = f" {words.at(place.run, station_m=place.station_m)}" if place else ""
    return Conflict(
        message=f"The signal reaches {words.length(depth_m)} over the lot line{whose}{where}.",
        remedy="Move the wire inwards there, or choose a smaller reach.",
        geometry=part,
        station_m=place.station_m if place else None,
        measured=depth_m,
        limit=0.0,
        layer="neighbours" if neighbours else "parcel",
        feature=neighbours[0].id if neighbours else draft.site.parcel_id,
    )


@rule(
    "parcel-overlap",
    theme=_THEME,
    severity="caution",
    summary="No other parcel of the file covers ground of the property.",
)
def parcel_overlap(draft: Draft) -> Iterator[Conflict]:
    """Name the parcels that overlap the property: one of the two lot lines is wrong, or both are."""
    words, parcel = draft.wording, draft.site.parcel
    for other in draft.site.overlaps:
        area_m2 = float(other.geometry.area)
        place = nearest_place(draft.loop, other.geometry, twisted=False)
        yield Conflict(
            message=f"Parcel {other.id} of the same file covers {words.area(area_m2)} of the property "
            f"({area_m2 / parcel.area:.0%}): whose ground that is the file does not tell.",
            remedy="Ask which line holds before wire is laid there, or leave that ground out with a wanted area.",
            geometry=other.geometry,
            station_m=place.station_m if place else None,
            measured=area_m2,
            limit=0.0,
            unit="m2",
            layer="parcel",
            feature=other.id,
        )


RULES: Final[tuple[Rule, ...]] = (lot_line_wire, lot_line_signal, parcel_overlap)
