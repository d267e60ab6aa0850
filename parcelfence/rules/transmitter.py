"""The transmitter: in a dry place, away from large metal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.conflict import Conflict
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parcelfence.rules.draft import Draft

__all__ = ["RULES"]

_THEME: Final = "transmitter"
_AT_A_WALL_M: Final = 0.5


@rule(
    "transmitter-metal",
    theme=_THEME,
    severity="caution",
    summary="The transmitter hangs clear of large metal objects.",
)
def transmitter_metal(draft: Draft) -> Iterator[Conflict]:
    """Measure from the transmitter to each large metal object."""
    transmitter, least_m = draft.loop.transmitter, draft.settings.transmitter_metal_clearance_m
    if transmitter is None:
        return
    for metal in draft.site.metal:
        free_m = float(metal.geometry.distance(transmitter.point))
        if free_m < least_m - LAYING_TOLERANCE_M:
            yield Conflict(
                message=f"The transmitter is {draft.wording.length(free_m)} from {feature_name(metal)}; "
                f"{draft.wording.length(least_m)} is required.",
                remedy="Hang the transmitter farther from the metal.",
                geometry=transmitter.point,
                measured=free_m,
                limit=least_m,
                layer="metal",
                feature=metal.id,
            )


@rule(
    "transmitter-place",
    theme=_THEME,
    severity="caution",
    summary="The transmitter hangs on the property, in a dry place at a building.",
)
def transmitter_place(draft: Draft) -> Iterator[Conflict]:
    """Check where the transmitter is."""
    transmitter, site, words = draft.loop.transmitter, draft.site, draft.wording
    if transmitter is None:
        yield Conflict(
            message="Where the transmitter hangs is not known.",
            remedy="Give its place, so that the lead-in and the clearance from metal can be checked.",
            geometry=draft.loop.runs[0].line.interpolate(0) if draft.loop.runs else site.parcel.representative_point(),
            severity="note",
            station_m=draft.loop.runs[0].start_station_m if draft.loop.runs else None,
            layer="transmitter",
        )
        return
    point = transmitter.point
    if not site.parcel.covers(point):
        yield Conflict(
            message=f"The transmitter lies {words.length(site.parcel.distance(point))} outside the property.",
            remedy="Hang it on the property.",
            geometry=point,
            severity="must_fix",
            measured=float(site.parcel.distance(point)),
            limit=0.0,
            layer="transmitter",
        )
    walls = [building.geometry for building in site.buildings]
    wall_m = float(shapely.distance(point, walls).min()) if walls else float("inf")
    if wall_m > _AT_A_WALL_M:
        found = f"{words.length(wall_m)} from the nearest building" if walls else "on a property without a building"
        yield Conflict(
            message=f"The transmitter hangs {found}: no dry place with mains power is known there.",
            remedy="Hang it in or at a building, dry, on an outlet that a licensed electrician has checked.",
            geometry=point,
            measured=wall_m if walls else None,
            limit=_AT_A_WALL_M,
            layer="transmitter",
        )


RULES: Final[tuple[Rule, ...]] = (transmitter_metal, transmitter_place)
