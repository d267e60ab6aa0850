"""Surroundings: other people's wires and rights, water, roads, keep-outs, drives."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import shapely

from parcelfence.conflict import Conflict, Severity
from parcelfence.lines import gather
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.site.meaning import surface
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch
    from parcelfence.site.feature import Feature

__all__ = ["RULES"]

_THEME: Final = "surroundings"
_METAL_BESIDE_M: Final = 1.0
"""So near metal is taken to bend the signal (from memory: common advice is a few feet)."""
_NO_METAL: Final = frozenset({"wood", "wooden", "vinyl", "plastic", "pvc", "stone", "brick", "hedge", "rail", "picket"})
"""Words for fences without metal; posts and wire in them may still be metal, but not all along."""


@rule(
    "neighbour-signal",
    theme=_THEME,
    severity="caution",
    summary="The signal stays clear of the reach of a neighbour's wire: where both react, neither is sure.",
    of_signal=True,
)
def neighbour_signal(draft: Draft) -> Iterator[Conflict]:
    """Measure from the signal zone to each other loop; its reach is taken to be as large as ours."""
    words, reach_m, signal = draft.wording, draft.settings.reach_m, draft.zones.signal
    if signal.is_empty:
        return
    for other in draft.site.other_loops:
        free_m = float(signal.distance(other.geometry))
        if free_m >= reach_m - LAYING_TOLERANCE_M:
            continue
        place = nearest_place(draft.loop, other.geometry, twisted=False)
        if place is None:
            continue
        found = f"comes within {words.length(free_m)} of" if free_m > 0 else "reaches over"
        yield Conflict(
            message=f"The signal {found} the other loop {other.id} {words.at(place.run, station_m=place.station_m)}; "
            f"{words.length(reach_m)} is needed if its reach is like ours.",
            remedy="Agree with the neighbour on different signal frequencies, or move the wire away.",
            geometry=shapely.shortest_line(place.run.line, other.geometry),
            station_m=place.station_m,
            measured=free_m,
            limit=reach_m,
            layer="other_loops",
            feature=other.id,
        )


@rule(
    "easement-wire",
    theme=_THEME,
    severity="caution",
    summary="No wire in an easement, where others may dig.",
)
def easement_wire(draft: Draft) -> Iterator[Conflict]:
    """Find wire within each easement."""
    yield from _wire_in(
        draft,
        draft.site.easements,
        layer="easements",
        called="easement",
        clearance_m=0.0,
        remedy="Move the wire out of the easement, or get the written consent of its holder.",
        severity_inside="caution",
    )


@rule(
    "water-wire",
    theme=_THEME,
    severity="caution",
    summary="The wire keeps its clearance from open water.",
)
def water_wire(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance of the wire to each water."""
    yield from _wire_in(
        draft,
        draft.site.water,
        layer="water",
        called="water",
        clearance_m=draft.settings.water_clearance_m,
        remedy="Move the wire away from the water: banks wash out, and a joint under water fails.",
        severity_inside="must_fix",
    )


@rule(
    "road-wire",
    theme=_THEME,
    severity="caution",
    summary="The wire keeps its clearance from roads, and never lies in one.",
)
def road_wire(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance of the wire to each road."""
    yield from _wire_in(
        draft,
        draft.site.roads,
        layer="roads",
        called="road",
        clearance_m=draft.settings.road_clearance_m,
        remedy="Move the wire away from the road; a road is opened only with the consent of its owner.",
        severity_inside="must_fix",
    )


@rule(
    "keep-out-wire",
    theme=_THEME,
    severity="caution",
    summary="The wire keeps its clearance from keep-outs.",
)
def keep_out_wire(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance of the signal-carrying wire to each keep-out."""
    yield from _wire_in(
        draft,
        draft.site.keep_outs,
        layer="keep_outs",
        called="keep-out",
        clearance_m=draft.settings.keep_out_clearance_m,
        remedy="Move the wire away from the keep-out.",
        severity_inside="caution",
    )


@rule(
    "keep-out-open",
    theme=_THEME,
    severity="caution",
    summary="The animal cannot walk into a keep-out.",
    of_signal=True,
)
def keep_out_open(draft: Draft) -> Iterator[Conflict]:
    """Find free ground inside each keep-out."""
    for feature in draft.site.keep_outs:
        free = shapely.intersection(draft.zones.roam, feature.geometry)
        if free.area <= LAYING_TOLERANCE_M:
            continue
        place = nearest_place(draft.loop, free, twisted=False)
        yield Conflict(
            message=f"{draft.wording.area(free.area)} of keep-out {feature.id} is open to the animal.",
            remedy="Lead an inner loop around the keep-out, or the outer loop past it.",
            geometry=free,
            station_m=place.station_m if place else None,
            measured=float(free.area),
            limit=0.0,
            unit="m2",
            layer="keep_outs",
            feature=feature.id,
        )


@rule(
    "metal-near-wire",
    theme=_THEME,
    severity="caution",
    summary="No metal fence, pipe or other large metal lies along or across the wire, where it bends the signal.",
)
def metal_near_wire(draft: Draft) -> Iterator[Conflict]:
    """Find signal-carrying wire beside and across fences and large metal; a fence is metal unless it says otherwise."""
    fences = [(fence, "fences") for fence in draft.site.fences if not _without_metal(fence.kind)]
    listed = [*fences, *((metal, "metal") for metal in draft.site.metal)]
    near = draft.near([feature.geometry for feature, _ in listed], within_m=_METAL_BESIDE_M, among=~draft.wire.twisted)
    for (feature, layer), stretches in zip(listed, near, strict=True):
        if not stretches:
            continue
        nearest = min(stretches, key=lambda stretch: (stretch.measured, stretch.station_m))
        others = len(stretches) - 1
        places = f", and at {others} more place{'s' if others > 1 else ''}" if others else ""
        met = "crosses" if nearest.measured <= LAYING_TOLERANCE_M else "runs beside"
        yield Conflict(
            message=f"The wire {met} {feature_name(feature)} {draft.wording.along(nearest)}{places}: metal there "
            "strengthens, weakens or carries off the signal, which the zones leave out.",
            remedy="Cross it square, keep a few feet beside it, and walk the signal there and along the metal.",
            geometry=gather([stretch.line for stretch in stretches]),
            station_m=nearest.station_m,
            measured=nearest.measured,
            limit=_METAL_BESIDE_M,
            layer=layer,
            feature=feature.id,
        )


def _without_metal(kind: str) -> bool:
    return not _NO_METAL.isdisjoint(re.findall(r"[a-z]+", kind.casefold()))


@rule(
    "hardscape-cut",
    theme=_THEME,
    severity="note",
    summary="Every cut through a drive, walk or patio is known beforehand, and a pool surround is not cut.",
)
def hardscape_cut(draft: Draft) -> Iterator[Conflict]:
    """Measure the length of wire in each hard surface."""
    for feature, stretch, cut_m in _lengths_in(draft, draft.site.hardscape):
        cut = f"{draft.wording.length(cut_m)} of {feature_name(feature)} must be cut {draft.wording.along(stretch)}."
        if surface(feature) == "pool surround":
            finding = Conflict(
                message=f"{cut} The ground about a pool may be bonded to its metal parts.",
                remedy="Lead the wire round the surround; where that cannot be, ask a licensed electrician first.",
                geometry=stretch.line,
                severity="caution",
            )
        else:
            finding = Conflict(
                message=cut,
                remedy="Use an expansion joint where there is one, or a slot with conduit; seal it afterwards.",
                geometry=stretch.line,
            )
        yield replace(finding, **_measured(stretch, cut_m), layer="hardscape", feature=feature.id)


@rule(
    "no-dig-wire",
    theme=_THEME,
    severity="must_fix",
    summary="No wire is buried in ground that must not be dug.",
)
def no_dig_wire(draft: Draft) -> Iterator[Conflict]:
    """Measure the length of wire in each such ground."""
    for feature, stretch, inside_m in _lengths_in(draft, draft.site.no_dig):
        finding = Conflict(
            message=f"{draft.wording.length(inside_m)} of wire lie in {feature_name(feature)}, which must not be dug, "
            f"{draft.wording.along(stretch)}.",
            remedy="Lead the wire around it; the animal may walk there.",
            geometry=stretch.line,
        )
        yield replace(finding, **_measured(stretch, inside_m), layer="no_dig", feature=feature.id)


@rule(
    "watercourse-crossing",
    theme=_THEME,
    severity="caution",
    summary="A creek or ditch is crossed by a short way, and its crossing is planned.",
)
def watercourse_crossing(draft: Draft) -> Iterator[Conflict]:
    """Measure the length of wire between the banks of each creek or ditch."""
    for feature, stretch, inside_m in _lengths_in(draft, draft.site.watercourses):
        finding = Conflict(
            message=f"The wire crosses {feature_name(feature)} over {draft.wording.length(inside_m)} "
            f"{draft.wording.along(stretch)}.",
            remedy="Lay it in conduit below the bed, without a joint between the banks; an animal may wade along the "
            "bed, so walk the signal there. Ask first who may consent to work in the course.",
            geometry=stretch.line,
        )
        yield replace(finding, **_measured(stretch, inside_m), layer="watercourses", feature=feature.id)


@rule(
    "tree-roots",
    theme=_THEME,
    severity="note",
    summary="Wire among the roots of a tree is dug in by hand.",
)
def tree_roots(draft: Draft) -> Iterator[Conflict]:
    """Measure the length of wire in the ground of the roots of each tree."""
    for feature, stretch, inside_m in _lengths_in(draft, draft.site.trees):
        finding = Conflict(
            message=f"{draft.wording.length(inside_m)} of wire lie among the roots of {feature_name(feature)} "
            f"{draft.wording.along(stretch)}.",
            remedy="Dig by hand there, and cut no root thicker than a thumb.",
            geometry=stretch.line,
        )
        yield replace(finding, **_measured(stretch, inside_m), layer="trees", feature=feature.id)


def _lengths_in(draft: Draft, features: Sequence[Feature]) -> Iterator[tuple[Feature, Stretch, float]]:
    """Find the stretches of wire that lie in each of some areas, with their length in it."""
    near = draft.near([feature.geometry for feature in features], within_m=1e-6)
    for feature, stretches in zip(features, near, strict=True):
        for near_by in stretches:
            stretch = near_by.within(feature.geometry)
            inside_m = float(shapely.intersection(stretch.line, feature.geometry).length)
            if inside_m > LAYING_TOLERANCE_M:
                yield feature, stretch, inside_m


def _measured(stretch: Stretch, inside_m: float) -> dict[str, Any]:
    return {"station_m": stretch.station_m, "measured": inside_m, "limit": 0.0}


def _wire_in(
    draft: Draft,
    features: Sequence[Feature],
    *,
    layer: str,
    called: str,
    clearance_m: float,
    remedy: str,
    severity_inside: Severity,
) -> Iterator[Conflict]:
    """Find wire in, or too near to, each of some features."""
    words = draft.wording
    within_m = max(clearance_m - LAYING_TOLERANCE_M, 1e-6)
    near = draft.near([feature.geometry for feature in features], within_m=within_m)
    for feature, stretches in zip(features, near, strict=True):
        for near_by in stretches:
            inside = near_by.measured <= 0
            if inside and not clearance_m and _only_touches(near_by.line, feature):
                continue
            stretch = near_by if clearance_m else near_by.within(feature.geometry)
            needed = f"; {words.length(clearance_m)} is required" if clearance_m else ""
            extent = "lies in" if inside else f"comes within {words.length(stretch.measured)} of"
            name = "lead-in" if stretch.run.twisted else "wire"
            yield Conflict(
                message=f"The {name} {extent} {called} {feature.id} {words.along(stretch)}{needed}.",
                remedy=remedy,
                geometry=stretch.line,
                severity=severity_inside if inside else "caution",
                station_m=stretch.station_m,
                measured=stretch.measured,
                limit=clearance_m,
                layer=layer,
                feature=feature.id,
            )


def _only_touches(line: shapely.Geometry, feature: Feature) -> bool:
    inner = shapely.buffer(feature.geometry, -LAYING_TOLERANCE_M)
    return not bool(shapely.intersects(line, inner)) if not inner.is_empty else False


RULES: Final[tuple[Rule, ...]] = (
    neighbour_signal,
    easement_wire,
    water_wire,
    road_wire,
    keep_out_wire,
    keep_out_open,
    hardscape_cut,
    metal_near_wire,
    no_dig_wire,
    watercourse_crossing,
    tree_roots,
)
