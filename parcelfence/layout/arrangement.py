"""Arrangements: which part of a property is contained, by a named layout, its front and its parts.

Every arrangement is the same site with a narrower wanted area, and sides that stay open; the designer needs to know
no more.  A back yard has two: the wire closes round the house where side yards and walls allow it, or it is doubled
back along the house, which then is a side of the yard.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import Polygon

from parcelfence.conflict import Conflict
from parcelfence.errors import Fault, SettingsError
from parcelfence.layout.front import Front, behind, front_of
from parcelfence.layout.open_side import end_reach_m
from parcelfence.layout.prices import FREE_GROUND
from parcelfence.layout.rounding import parts, whole
from parcelfence.layout.transmitter_place import house_of
from parcelfence.site.feature import Feature
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Arrangement", "arrangements", "encloses_the_house", "followed", "ground_parts", "net_cost_m", "part_remark"]

_ROOM_M: Final = 0.3
"""Room in front of the house beyond the clearance: on its inside a closed loop reaches farther than a straight wire."""
_SEAM_M: Final = 0.02
_BESIDE_THE_HOUSE_M: Final = 5.0
"""So far a back yard reaches forward beside the house at most, and no farther than half of its depth."""
_AT_THE_EDGE_M: Final = 0.5
"""Water nearer to the lot line than this is at the edge of the property, not a pond in it."""
_LEAST_SIDE_M: Final = 3.0
"""Open sides shorter than this are not worth two ends of a doubled wire."""
_WORTH_A_CAUTION: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """One way to contain what was asked for.

    Parameters
    ----------
    site : Site
        The site with its wanted area and open sides.
    clearances : dict
        Settings that the design keeps instead of those that were set: the end of a doubled wire has to come nearer
        to a wall than a closed loop may, for it reaches less far.
    house_inside : bool
        Whether only a loop that encloses the house will do.
    remarks : tuple of Conflict
        What was decided, with its reasons.
    """

    site: Site
    clearances: dict[str, float] = field(default_factory=dict)
    house_inside: bool = False
    remarks: tuple[Conflict, ...] = ()


def arrangements(site: Site, settings: Settings) -> tuple[Arrangement, ...]:
    """Give the ways to lay out a property, the simplest first.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        The layout, the front, the part; clearances.

    Returns
    -------
    tuple of Arrangement
        One, or two for a back yard, of which the cheaper one is wanted.

    Raises
    ------
    SettingsError
        If the layout asks for something that the site does not have: a front, a house, an open side, a part.
    """
    site = _on_its_part(site, settings)
    if settings.layout == "open-side":
        return (_open_side(site),)
    if settings.layout in {"back-yard", "front-excluded"}:
        house = house_of(site)
        if house is None:
            raise SettingsError(
                Fault(
                    where=f"layout {settings.layout}",
                    found="no building stands on the property",
                    must="the house tells front and back apart",
                    remedy="give the buildings, or choose the layout whole-lot with a wanted area",
                )
            )
        front = front_of(site, house=house, settings=settings)
        closed = _behind_the_front(site, settings, house=house, front=front)
        if settings.layout == "front-excluded":
            return (closed,)
        return replace(closed, house_inside=True), _house_as_a_side(site, settings, house=house, front=front)
    return (Arrangement(site=site),)


def followed(site: Site, settings: Settings, *, doubled: bool) -> Arrangement:
    """Give the way to lay out a property that a wire follows which lies there already.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        The layout, the front, the part; clearances.
    doubled : bool
        Whether the wire is doubled back along open sides.

    Raises
    ------
    SettingsError
        As :func:`arrangements`.
    """
    ways = arrangements(site, settings)
    return ways[-1] if doubled else ways[0]


def encloses_the_house(loop: Loop, *, site: Site, settings: Settings) -> bool:
    """Tell whether the house stands within a loop that comes no nearer to its walls than the signal reaches."""
    house = house_of(site)
    if house is None or not loop.enclosed.covers(house.geometry):
        return False
    return bool(house.geometry.distance(shapely.union_all([run.line for run in loop.signal_runs])) >= settings.reach_m)


def net_cost_m(loop: Loop, settings: Settings) -> float:
    """Reckon what a loop costs, less what the free ground in it is worth, in metres of plain wire.

    Free ground in its linear form: what is enclosed, less a reach beside every metre of wire.
    """
    wire_m = sum(run.line.length for run in loop.runs)
    edge_m = sum(run.line.length for run in loop.of_part("loop", "inner_loop"))
    band_m2 = shapely.union_all([run.line for run in loop.of_part("return_run")]).buffer(settings.reach_m).area
    free_m2 = loop.enclosed.area - settings.reach_m * edge_m - band_m2
    return wire_m - FREE_GROUND * max(free_m2, 0.0)


def ground_parts(site: Site, settings: Settings) -> tuple[Polygon, ...]:
    """Give the parts into which setbacks, roads and open water cut the ground, the largest first.

    A part in which no animal could stand clear of the signal does not count.
    """
    apart = shapely.union_all([
        *(road.geometry.buffer(settings.road_clearance_m) for road in site.roads),
        *(water.geometry.buffer(settings.water_clearance_m) for water in site.water),
    ])
    ground = site.parcel.buffer(-settings.lot_line_setback_m).difference(apart)
    return tuple(part for part in parts(whole(ground)) if not part.buffer(-settings.reach_m).is_empty)


def part_remark(loop: Loop, *, site: Site, settings: Settings) -> tuple[Conflict, ...]:
    """Say of a property in several parts which one the loop is on and why, and how the others are planned."""
    found = ground_parts(site, settings)
    if len(found) < 2:  # noqa: PLR2004
        return ()
    units = unit_system(settings.units)
    on = max(range(len(found)), key=lambda number: found[number].intersection(loop.enclosed).area)
    others = [(number, part) for number, part in enumerate(found, start=1) if number != on + 1]
    left_m2 = sum(part.area for _, part in others)
    listed = ", ".join(f"{number} ({units.area(part.area)})" for number, part in others[:4])
    more = f" and {len(others) - 4} smaller ones" if len(others) > 4 else ""  # noqa: PLR2004
    return (
        Conflict(
            rule="lot-parts",
            severity="caution" if left_m2 > _WORTH_A_CAUTION * (left_m2 + found[on].area) else "note",
            message=f"Setbacks, roads and open water leave {len(found)} parts of ground; the loop is on part {on + 1} "
            f"({units.area(found[on].area)}), {_why(found[on], number=on, site=site, settings=settings)}. "
            f"Not contained: part {listed}{more}",
            remedy="plan another part with the setting part, or every part with part = all; a wire from part to part "
            "would have to cross what lies between",
            geometry=shapely.union_all([part for _, part in others]),
            layer="parcels",
            feature=site.parcel_id,
            measured=left_m2,
            limit=0.0,
            unit="m2",
        ),
    )


def _why(part: Polygon, *, number: int, site: Site, settings: Settings) -> str:
    if settings.part:
        return "as was asked for"
    if site.transmitter is not None and part.dwithin(site.transmitter, settings.lot_line_setback_m):
        return "where the transmitter is"
    house = house_of(site)
    if house is not None and part.intersects(house.geometry):
        return "where the house stands"
    return "which is the largest" if number == 0 else "which suits a loop best"


def _on_its_part(site: Site, settings: Settings) -> Site:
    """Narrow the wanted area to the part that was asked for."""
    if not settings.part:
        return site
    found = ground_parts(site, settings)
    if settings.part > len(found):
        raise SettingsError(
            Fault(
                where="part",
                found=f"part {settings.part} was asked for",
                must=f"the property has {len(found)} {'part' if len(found) == 1 else 'parts'} with room for a loop",
                remedy="number 1 is the largest" if found else "try a smaller reach",
            )
        )
    return _wanting(site, found[settings.part - 1].buffer(_SEAM_M, join_style="mitre"))


def _wanting(site: Site, area: BaseGeometry) -> Site:
    """Narrow the wanted area of a site."""
    wanted = whole(area if site.wanted_area is None else site.wanted_area.intersection(area))
    return replace(site, wanted_area=wanted.geoms[0] if len(wanted.geoms) == 1 else wanted)


def _behind_the_front(site: Site, settings: Settings, *, house: Feature, front: Front) -> Arrangement:
    """Contain what lies behind a line in front of the house, the house within."""
    walls = shapely.get_coordinates(house.geometry)
    line_m = float((walls @ front.outwards).max()) + settings.building_clearance_m + _ROOM_M
    wanted = site.parcel.intersection(behind(front, at_m=line_m, around=site.parcel))
    return Arrangement(site=_wanting(site, wanted), remarks=(_front_remark(front, site=site, settings=settings),))


def _house_as_a_side(site: Site, settings: Settings, *, house: Feature, front: Front) -> Arrangement:
    """Contain what lies behind the house, and leave the side along its walls open."""
    depths_m = shapely.get_coordinates(house.geometry) @ front.outwards
    line_m = _rear_m(house, front) + min((depths_m.max() - depths_m.min()) / 2, _BESIDE_THE_HOUSE_M)
    yard = site.parcel.intersection(behind(front, at_m=line_m, around=site.parcel))
    clearance_m = min(settings.building_clearance_m, end_reach_m(settings)) + _SEAM_M
    free = yard.difference(house.geometry.buffer(clearance_m))
    walls = house.geometry.boundary.intersection(yard.buffer(_SEAM_M))
    side = Feature(id=f"wall of {house.id}", kind="house wall", source_id=house.source_id, geometry=_lines(walls))
    alone = not any(other.geometry.intersects(yard) for other in site.buildings if other is not house)
    return Arrangement(
        site=replace(_wanting(site, free), open_sides=(*site.open_sides, side)),
        clearances={"building_clearance_m": clearance_m - _SEAM_M} if alone else {},
        remarks=(_front_remark(front, site=site, settings=settings),),
    )


def _rear_m(house: Feature, front: Front) -> float:
    """How far out the foremost wall lies that looks to the back; a nook beside a wing is yard as well."""
    rear_m = []
    for part in parts(house.geometry):
        xy = shapely.get_coordinates(shapely.orient_polygons(part).exterior)
        ahead = np.diff(xy, axis=0)
        length_m = np.hypot(*ahead.T)
        outwards = np.stack([ahead[:, 1], -ahead[:, 0]], axis=1) / np.maximum(length_m, 1e-9)[:, None]
        looks_back = (outwards @ -front.outwards > _SQUARELY) & (length_m >= _A_WALL_M)
        rear_m += list(((xy[:-1] + xy[1:]) / 2 @ front.outwards)[looks_back])
    return max(rear_m) if rear_m else float((shapely.get_coordinates(house.geometry) @ front.outwards).min())


_SQUARELY: Final = 0.8
"""Cosine: a wall within some 37 degrees of the back looks to the back."""
_A_WALL_M: Final = 1.5
"""Shorter pieces of wall are bays and chimneys."""


def _open_side(site: Site) -> Arrangement:
    """Leave the sides open that are given, else the shores of water at the edge of the property."""
    if site.open_sides:
        return Arrangement(site=site)
    edge = site.parcel.boundary.buffer(_AT_THE_EDGE_M)
    shores = [
        Feature(id=f"shore of {water.id}", kind="shore", source_id=water.source_id, geometry=shore)
        for water in site.water
        if water.geometry.intersects(edge)
        and (shore := _lines(water.geometry.boundary.intersection(site.parcel.buffer(_AT_THE_EDGE_M)))).length
        >= _LEAST_SIDE_M
    ]
    if not shores:
        raise SettingsError(
            Fault(
                where="layout open-side",
                found="no open side is given, and no open water lies at the edge of the property",
                must="an open side ends at water, a wall or a fence that the animal does not pass",
                remedy="give the layer open_sides, a line along that side",
            )
        )
    return Arrangement(site=replace(site, open_sides=tuple(shores)))


def _front_remark(front: Front, *, site: Site, settings: Settings) -> Conflict:
    return Conflict(
        rule="layout-front",
        severity="note",
        message=f"The layout {settings.layout} takes the {front.words} side of the house as its front, {front.why}",
        remedy="state another one with the setting front, such as front = 'south'",
        geometry=site.parcel.representative_point(),
        layer="parcels",
        feature=site.parcel_id,
    )


def _lines(geometry: BaseGeometry) -> BaseGeometry:
    pieces = [part for part in shapely.get_parts(geometry) if part.geom_type == "LineString"]
    return shapely.line_merge(shapely.MultiLineString(pieces))
