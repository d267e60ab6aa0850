"""The designer: the largest loop that a site and its settings allow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.layout.allowed import AllowedLand, allowed_land, no_loop
from parcelfence.layout.buried import buried
from parcelfence.layout.crossable import crossable
from parcelfence.layout.gate import GateLevel
from parcelfence.layout.lead_in import lay_out
from parcelfence.layout.loop import Loop
from parcelfence.layout.open_side import doubled_back
from parcelfence.layout.rounding import FOR_CHORDS, parts, turnable, whole
from parcelfence.layout.wording import crossing_remarks, inner_loop_remarks, left_behind_remarks

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.conflict import Conflict
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["design"]

_WORTH_SAYING_M2: Final = 20.0
_SHARE_FOR_THE_HOUSE: Final = 0.25
_SHARE_OF_TOLERANCE: Final = 0.8
_COMMON_GATE_WALK_M: Final = 20.0
_DRAWN_M: Final = 0.003
"""No wire is laid more exactly; it is within the room that the limits keep back (:data:`rounding.SLACK_M`)."""


def design(site: Site, settings: Settings, *, withheld: BaseGeometry | None = None) -> Loop:
    """Design the loop of a property.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        Clearances, radius, separation.
    withheld : BaseGeometry, optional
        Ground that the loop must keep off besides, such as that from which its signal was seen to leave the property.

    Returns
    -------
    Loop
        One outer loop (counter-clockwise), the inner loops (clockwise), and the lead-ins; with open sides a
        doubled-back loop for each stretch between them.

    Raises
    ------
    NoLoopError
        If the land leaves no room for any loop, with the reason.
    """
    land = allowed_land(site, settings, withheld=withheld)
    outline = _outline(land, site=site, settings=settings)
    doubled = doubled_back(outline.area, site=site, settings=settings)
    runs, transmitter, remarks = lay_out(
        outline.area, doubled=doubled.rings if doubled else (), site=site, settings=settings
    )
    said = (
        *land.remarks,
        *outline.remarks,
        *inner_loop_remarks(runs, site=site, settings=settings),
        *remarks,
    )
    allowed = _bound(land.region, outline=outline.area)
    ground = doubled.ground if doubled else None
    return Loop(runs=runs, transmitter=transmitter, allowed=allowed, remarks=said, ground=ground)


@dataclass(frozen=True, kw_only=True)
class _Outline:
    """The enclosed area, its holes being those of inner loops."""

    area: Polygon
    remarks: tuple[Conflict, ...]


def _outline(land: AllowedLand, *, site: Site, settings: Settings) -> _Outline:
    radius_m = FOR_CHORDS * settings.bend_radius_m
    region = turnable(land.region, radius_m)
    lines = buried(site.utilities, near=region, settings=settings)
    crossed = crossable(region, lines, levels=_levels(settings, radius_m=radius_m), radius_m=radius_m)
    candidates = list(crossed.outlines)
    if not candidates:
        raise no_loop(site, settings, reason="what setbacks and clearances leave is too narrow to turn in")
    kept = _with_the_house(candidates, site=site)
    rest = [part for part in candidates if part is not kept and part.area >= _WORTH_SAYING_M2]
    holes = [ring for ring in kept.interiors if Polygon(ring).intersects(land.kept_out)]
    area = parts(Polygon(kept.exterior, holes).simplify(_DRAWN_M))[0]
    remarks = (
        *crossing_remarks(crossed, area=area, settings=settings),
        *left_behind_remarks(rest, crossed=crossed, settings=settings),
    )
    return _Outline(area=area, remarks=remarks)


def _levels(settings: Settings, *, radius_m: float) -> tuple[GateLevel, ...]:
    """Gates in the order in which a person would try them.

    First one for all lines that lie too near each other for bends between them, then one for each, with its bends
    outside the separation; where there is no room for that, gates whose bends begin at the separation.
    """
    strict = GateLevel(off_square_deg=_SHARE_OF_TOLERANCE * settings.crossing_tolerance_deg, beside_m=radius_m)
    return (
        replace(strict, ahead_m=settings.utility_separation_m + radius_m, walk_m=_COMMON_GATE_WALK_M),
        strict,
        replace(strict, beside_m=0.0),
    )


def _with_the_house(candidates: list[Polygon], *, site: Site) -> Polygon:
    """Choose the part to be fenced: that with the transmitter or the house, unless it is small beside the largest."""
    least = _SHARE_FOR_THE_HOUSE * candidates[0].area
    usable = [part for part in candidates if part.area >= least]
    if site.transmitter is not None:
        for part in usable:
            if part.intersects(site.transmitter):
                return part
    buildings = shapely.union_all([building.geometry for building in site.buildings])
    housed = [round(part.intersection(buildings).area, 1) for part in usable]
    return usable[housed.index(max(housed))]


def _bound(region: MultiPolygon, *, outline: Polygon) -> MultiPolygon:
    """Parts of the allowed land that the loop lies in: what it could enclose at most."""
    return whole(shapely.union_all([part for part in region.geoms if part.intersects(outline)]))
