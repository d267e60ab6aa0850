"""Ground that stays outside: how much of the property the loop leaves out, and what truly parts it from the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely
from shapely import Polygon

from parcelfence.conflict import Conflict
from parcelfence.layout.arrangement import ground_parts
from parcelfence.rules.rule import Rule, rule
from parcelfence.wording import feature_name, listing, utility_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.draft import Draft

__all__ = ["RULES"]

_WORTH_SAYING_M2: Final = 50.0
"""A corner of seven metres by seven is missed by whoever owns it; less is not (from memory)."""
_COVERED: Final = 0.6
"""Ground of which an obstacle covers so much is lost to it, whatever else lies about."""
_TOUCH_M: Final = 0.5
_HALVINGS: Final = 11
_QUARTER: Final = 4

_Obstacles = list[tuple[str, "BaseGeometry"]]
"""Things of one kind: name, and the ground that wire keeps off for their sake."""


@rule(
    "ground-outside",
    theme="shape",
    severity="note",
    summary="Ground of the property that stays outside the loop is known, with what parts it from the rest.",
)
def ground_outside(draft: Draft) -> Iterator[Conflict]:
    """Measure what the loop leaves out within the setback, and find by trial what is in the way."""
    within = _within_the_setback(draft)
    pieces = _pieces(draft, within)
    if not pieces:
        return
    kinds = _obstacles(draft)
    for piece in pieces:
        yield Conflict(
            message=f"{draft.wording.area(piece.area)} of the property stay outside the loop: "
            f"{_cause(piece, draft=draft, within=within, kinds=kinds)}.",
            remedy="If that ground is needed, plan it by itself with a wanted area, or clear up what is in the way.",
            geometry=piece,
            measured=float(piece.area),
            unit="m2",
            layer="parcel",
            feature=draft.site.parcel_id,
        )


def _within_the_setback(draft: Draft) -> BaseGeometry:
    """Ground that a loop could have by the lot line alone, on the part of the property that the loop is on."""
    site, settings, enclosed = draft.site, draft.settings, draft.loop.enclosed
    parts = ground_parts(site, settings)
    within: BaseGeometry = (
        max(parts, key=lambda part: part.intersection(enclosed).area)
        if len(parts) > 1
        else site.parcel.buffer(-settings.lot_line_setback_m)
    )
    return within if site.wanted_area is None else within.intersection(site.wanted_area)


def _pieces(draft: Draft, within: BaseGeometry) -> list[Polygon]:
    """Give the pieces outside the loop that are wide enough to turn in, the largest first."""
    if draft.loop.of_part("return_run"):
        return []  # an open side leaves out on purpose
    outer = shapely.union_all([Polygon(run.line) for run in draft.loop.of_part("loop")])
    radius_m = draft.settings.bend_radius_m
    wide = within.difference(outer).buffer(-radius_m, quad_segs=_QUARTER).buffer(radius_m, quad_segs=_QUARTER)
    found = [part for part in shapely.get_parts(wide) if isinstance(part, Polygon) and part.area >= _WORTH_SAYING_M2]
    return sorted(found, key=lambda part: (-round(part.area, 1), part.bounds))


def _obstacles(draft: Draft) -> list[_Obstacles]:
    site, settings = draft.site, draft.settings
    out = [one for one in site.buildings if not draft.loop.enclosed.intersects(one.geometry)]
    plain = [
        (site.easements, 0.0),
        (site.no_dig, 0.0),
        (site.keep_outs, settings.keep_out_clearance_m),
        (site.water, settings.water_clearance_m),
        (site.roads, settings.road_clearance_m),
        (out, settings.building_clearance_m),
    ]
    kinds: list[_Obstacles] = [
        [(feature_name(one), one.geometry.buffer(clear_m)) for one in layer] for layer, clear_m in plain
    ]
    kinds.append([
        (utility_name(one), one.geometry.buffer(settings.utility_separation_m, quad_segs=_QUARTER))
        for one in site.utilities
    ])
    return [kind for kind in kinds if kind]


def _cause(piece: Polygon, *, draft: Draft, within: BaseGeometry, kinds: Sequence[_Obstacles]) -> str:
    enclosed = draft.loop.enclosed
    unions = [shapely.union_all([ground for _, ground in kind]) for kind in kinds]
    for kind, union in zip(kinds, unions, strict=True):
        if piece.intersection(union).area >= _COVERED * piece.area:
            return f"it is taken up by {_named(kind, near=piece)}"
    for kind, union in zip(kinds, unions, strict=True):
        if _apart(piece, enclosed, ground=within.difference(union)):
            named = _named(kind, near=piece)
            return f"{named} {'lie' if ',' in named else 'lies'} between"
    width_m = _neck_m(piece, draft=draft)
    if width_m < 2 * (draft.settings.lot_line_setback_m + draft.settings.bend_radius_m):
        return (
            f"the property is only {draft.wording.length(width_m)} wide where it is joined to the rest, and the "
            f"setback on both sides with a bend takes "
            f"{draft.wording.length(2 * (draft.settings.lot_line_setback_m + draft.settings.bend_radius_m))}"
        )
    radius_m = draft.settings.bend_radius_m
    left = within.difference(shapely.union_all(unions)).buffer(-radius_m, quad_segs=_QUARTER)
    near = [entry for kind in kinds for entry in kind if entry[1].dwithin(piece, draft.settings.lot_line_setback_m)]
    if near and _apart(piece, enclosed, ground=left.buffer(radius_m, quad_segs=_QUARTER)):
        return f"{listing([name for name, _ in near])} and the lot line leave too narrow a way to it"
    return "no wire is led round it, by choice or because the wire would cost more than the ground is worth"


def _named(kind: _Obstacles, *, near: BaseGeometry) -> str:
    """Name the members of a kind that touch a piece; the nearest one if none does."""
    touching = [name for name, ground in kind if ground.dwithin(near, _TOUCH_M)]
    return listing(touching or [min(kind, key=lambda entry: float(entry[1].distance(near)))[0]])


def _apart(piece: BaseGeometry, enclosed: BaseGeometry, *, ground: BaseGeometry) -> bool:
    """Tell whether no connected ground holds some of a piece and some of what is enclosed."""
    least_m2 = 1.0 - _COVERED
    return not any(
        part.intersection(piece).area > least_m2 and part.intersection(enclosed).area > least_m2
        for part in shapely.get_parts(ground)
    )


def _neck_m(piece: Polygon, *, draft: Draft) -> float:
    """Width of the property where it is narrowest between a piece and the loop, by halving."""
    low, high = 0.0, float(shapely.maximum_inscribed_circle(piece).length) + draft.settings.lot_line_setback_m
    parcel, enclosed = draft.site.parcel, draft.loop.enclosed
    for _ in range(_HALVINGS):
        half_m = (low + high) / 2
        apart = _apart(piece, enclosed, ground=parcel.buffer(-half_m, quad_segs=_QUARTER))
        low, high = (low, half_m) if apart else (half_m, high)
    return 2 * high


RULES: Final[tuple[Rule, ...]] = (ground_outside,)
