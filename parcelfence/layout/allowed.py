"""Allowed land: where wire may lie and what it may enclose, by setbacks and clearances alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.conflict import Conflict
from parcelfence.errors import Fault, NoLoopError
from parcelfence.layout.open_ground import AT_A_BARRIER_M
from parcelfence.layout.rounding import FOR_CHORDS, QUAD_SEGS, SLACK_M, grown, inset, opened, parts, ringed, whole
from parcelfence.text import begin_sentence
from parcelfence.units import unit_system
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["AllowedLand", "allowed_land", "land_or_reason", "no_loop"]

_LEAST_AREA_M2: Final = 1.0
_LEAST_REACH_M: Final = 0.3
_HALVINGS: Final = 6
_TRIED_M: Final = 0.05
"""No level is set more exactly."""
_BEHIND_A_WALL_M: Final = 0.1
_MANY_VERTICES: Final = 200


@dataclass(frozen=True, kw_only=True)
class AllowedLand:
    """What the setbacks leave.

    Parameters
    ----------
    region : MultiPolygon
        The loop's outline and the inner loops lie on its edge or within it; its holes are what has to be kept out of.
    kept_out : BaseGeometry
        The ground of keep-outs and of enclaves in the parcel, with their clearances.
    left_out : tuple of Feature
        Buildings that cannot stand inside the loop, because there is no room for wire behind them.
    remarks : tuple of Conflict
        What was decided on the way.
    """

    region: MultiPolygon
    kept_out: BaseGeometry
    left_out: tuple[Feature, ...]
    remarks: tuple[Conflict, ...]


def land_or_reason(site: Site, settings: Settings, *, withheld: BaseGeometry | None = None) -> AllowedLand | str:
    """Find the land that a loop may enclose.

    The property (or the wanted area within it), no nearer to the lot line than the setback, less easements, water,
    roads and keep-outs with their clearances.  Buildings stay inside if wire fits behind them; one that stands across
    the setback line is passed on its inner side with the building clearance.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        Setback and clearances.
    withheld : BaseGeometry, optional
        Ground to keep off besides.

    Returns
    -------
    AllowedLand or str
        In words what leaves nothing, where nothing is left.
    """
    lot = _lot(site, settings)
    if withheld is not None:
        lot = whole(lot.difference(withheld))
    if lot.is_empty:
        return "the setback from the lot line leaves nothing"
    ground = _filled(lot.difference(_wire_obstacles(site, settings)), lot=lot)
    if ground.is_empty:
        return "easements, water and roads leave nothing within the setback"
    ground, left_out = _past_buildings(ground, lot=lot, site=site, settings=settings)
    rings = [
        ringed(feature.geometry, settings.keep_out_clearance_m + SLACK_M, radius_m=FOR_CHORDS * settings.bend_radius_m)
        for feature in site.keep_outs
        if feature.geometry.dwithin(ground, settings.keep_out_clearance_m)
    ]
    kept_out = shapely.union_all([*rings, _holes(lot)])
    region, swallowed = _kept_apart(whole(ground.difference(kept_out)), kept_out=kept_out, settings=settings)
    if region.area < _LEAST_AREA_M2:
        return "buildings and keep-outs leave nothing within the setback"
    remarks = (*_left_out_remarks(left_out, site=site, settings=settings), *swallowed)
    return AllowedLand(region=region, kept_out=kept_out, left_out=left_out, remarks=remarks)


def allowed_land(site: Site, settings: Settings, *, withheld: BaseGeometry | None = None) -> AllowedLand:
    """Find the land that a loop may enclose; as :func:`land_or_reason`, but for the error.

    Raises
    ------
    NoLoopError
        If nothing is left, with the width of the land and the reach that would fit.
    """
    land = land_or_reason(site, settings, withheld=withheld)
    if isinstance(land, str):
        error = no_loop(site, settings, reason=land)
        raise error
    return land


def no_loop(site: Site, settings: Settings, *, reason: str) -> NoLoopError:
    """Say why there is no loop: how wide the land is, what the setback takes, which reach would fit."""
    units = unit_system(settings.units)
    widest_m = 2 * float(shapely.maximum_inscribed_circle(_simple(site.parcel), tolerance=0.05).length)
    needed_m = 2 * (settings.lot_line_setback_m + settings.bend_radius_m)
    clearance = units.length(settings.building_clearance_m)
    walls = f", and buildings a clearance of {clearance}" if site.buildings else ""
    fits_m = _reach_that_fits(site, settings)
    return NoLoopError(
        Fault(
            where="parcels",
            feature=site.parcel_id,
            found=f"no loop fits: {reason}; at its roomiest the property holds a circle {units.length(widest_m)} "
            "across",
            must=f"the setback of {units.length(settings.lot_line_setback_m)} on both sides and a bend of radius "
            f"{units.length(settings.bend_radius_m)} take {units.length(needed_m)} of that{walls}",
            remedy=f"a reach of {units.length(fits_m, digits=2)}, with the clearances that follow it, leaves room for "
            "a small loop"
            if fits_m
            else "no usual reach leaves room for a buried loop here; choose a larger parcel or join several",
        )
    )


def _reach_that_fits(site: Site, settings: Settings) -> float | None:
    """Largest reach that leaves room for a loop as wide as two bends, by halving; None if it is below any usual one."""
    low, high = min(_LEAST_REACH_M, settings.reach_m), settings.reach_m
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        land = land_or_reason(site, settings.replaced(reach_m=middle))
        fits = not isinstance(land, str) and not land.region.buffer(-FOR_CHORDS * settings.bend_radius_m).is_empty
        low, high = (middle, high) if fits else (low, middle)
    return low if low > _LEAST_REACH_M else None


def _lot(site: Site, settings: Settings) -> MultiPolygon:
    lot = inset(site.parcel, settings.lot_line_setback_m)
    if site.wanted_area is None:
        return lot
    return whole(lot.intersection(inset(site.wanted_area, 0.0)))


def _wire_obstacles(site: Site, settings: Settings) -> BaseGeometry:
    """Ground that wire must not lie on; inside the loop it is no obstacle."""
    return shapely.union_all([
        _grown_union(site.easements, 0.0),
        _grown_union(site.water, settings.water_clearance_m),
        _grown_union(site.roads, settings.road_clearance_m),
    ])


def _past_buildings(
    ground: MultiPolygon, *, lot: MultiPolygon, site: Site, settings: Settings
) -> tuple[MultiPolygon, tuple[Feature, ...]]:
    """Take from the ground the buildings that cannot stand inside, with their clearance.

    What is taken for one may cut into the ground on which another one stood, so it is done until no more are met.
    """
    left_out: tuple[Feature, ...] = ()
    while True:
        roomy = opened(ground, FOR_CHORDS * settings.bend_radius_m).buffer(-_BEHIND_A_WALL_M)
        met = tuple(
            building
            for building in site.buildings
            if building not in left_out and _in_the_way(building, ground=ground, roomy=roomy, settings=settings)
        )
        if not met or ground.is_empty:
            return ground, left_out
        left_out += met
        ground = _filled(ground.difference(_grown_union(met, settings.building_clearance_m)), lot=lot)


def _in_the_way(building: Feature, *, ground: BaseGeometry, roomy: BaseGeometry, settings: Settings) -> bool:
    """Whether a building must be left outside: no wire would pass behind it, but it is near enough to count."""
    if roomy.covers(building.geometry):
        return False
    return bool(ground.dwithin(building.geometry, settings.building_clearance_m))


def _kept_apart(
    region: MultiPolygon, *, kept_out: BaseGeometry, settings: Settings
) -> tuple[MultiPolygon, tuple[Conflict, ...]]:
    """Give up passages beside keep-outs that two signal zones would close, so that their wires merge."""
    if kept_out.is_empty:
        return region, ()
    apart_m = 2 * settings.reach_m + settings.passage_width_m
    too_narrow = region.difference(opened(region, apart_m / 2).buffer(SLACK_M, quad_segs=2))
    beside = too_narrow.intersection(kept_out.buffer(apart_m, quad_segs=QUAD_SEGS))
    passages = [part for part in parts(beside) if part.dwithin(kept_out, SLACK_M)]
    if not passages:
        return region, ()
    taken = shapely.union_all(passages).buffer(SLACK_M, quad_segs=2)
    remaining = whole(region.difference(taken))
    return remaining, (
        Conflict(
            rule="narrow-passage",
            severity="note",
            message=f"Passages beside keep-outs that are narrower than {unit_system(settings.units).length(apart_m)} "
            f"would be closed by two signal zones; the wire takes them out ({len(passages)})",
            remedy="lower the reach if the passage is needed",
            geometry=taken,
            layer="keep_outs",
            limit=apart_m,
        ),
    )


def _left_out_remarks(buildings: Iterable[Feature], *, site: Site, settings: Settings) -> list[Conflict]:
    """Say of each building of the property why it stands outside.

    Nobody expects a neighbour's inside, nor the house of which a wall is a side of the yard.
    """
    units = unit_system(settings.units)
    remarks = []
    for building in buildings:
        if building.geometry.intersection(site.parcel).area < building.geometry.area / 2:
            continue
        if any(building.geometry.dwithin(side.geometry, AT_A_BARRIER_M) for side in site.open_sides):
            continue
        gap_m = float(site.parcel.boundary.distance(building.geometry))
        if gap_m >= settings.lot_line_setback_m + settings.building_clearance_m:
            why, remedy = "across the edge of what may be enclosed", "accept it, or draw that edge round the building"
        else:
            why = f"{units.length(gap_m)} from the lot line, and no wire with its setback fits behind it"
            fits_m = _reach_behind(building, gap_m=gap_m, site=site, settings=settings)
            remedy = (
                f"a reach of {units.length(fits_m, digits=2)} lets the wire pass behind it; or accept it"
                if fits_m
                else "no usual reach lets the wire pass behind it; accept it, or contain only part of the property"
            )
        named = feature_name(building, kind="building")
        remarks.append(
            Conflict(
                rule="building-clearance",
                severity="caution",
                message=f"{begin_sentence(named)} stands {why}; the loop leaves it outside",
                remedy=remedy,
                geometry=building.geometry,
                layer="buildings",
                feature=building.id,
                measured=gap_m,
                limit=settings.lot_line_setback_m,
            )
        )
    return remarks


def _reach_behind(building: Feature, *, gap_m: float, site: Site, settings: Settings) -> float | None:
    """Find by trial the largest reach with which a building stands inside, its clearance kept; None below any usual."""
    least = round(_LEAST_REACH_M / _TRIED_M)
    low, high = least - 1, int(settings.reach_m / _TRIED_M)
    while high - low > 1:
        middle = (low + high) // 2
        smaller = settings.replaced(reach_m=middle * _TRIED_M)
        lot = _lot(site, smaller)
        ground = _filled(lot.difference(_wire_obstacles(site, smaller)), lot=lot)
        _, left_out = _past_buildings(ground, lot=lot, site=site, settings=smaller)
        fits = gap_m >= smaller.lot_line_setback_m + smaller.building_clearance_m and building not in left_out
        low, high = (middle, high) if fits else (low, middle)
    return low * _TRIED_M if low >= least else None


def _grown_union(features: Iterable[Feature], distance_m: float) -> BaseGeometry:
    return shapely.union_all([grown(feature.geometry, distance_m + SLACK_M) for feature in features])


def _filled(area: BaseGeometry, *, lot: MultiPolygon) -> MultiPolygon:
    """Fill holes in which there is no reason to keep anything out: wire does not lie inside the loop."""
    outlines = shapely.union_all([Polygon(part.exterior) for part in parts(area)])
    return whole(outlines.intersection(lot))


def _holes(area: MultiPolygon) -> BaseGeometry:
    return shapely.union_all([Polygon(ring) for part in area.geoms for ring in part.interiors])


def _simple(area: BaseGeometry) -> Polygon:
    """Give a shape fit for the inscribed circle: its cost grows with the vertices."""
    part = parts(area)[0]
    return parts(part.simplify(0.05))[0] if len(part.exterior.coords) > _MANY_VERTICES else part
