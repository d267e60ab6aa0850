"""Narrow places: how large the reach may be where a wall and the lot line leave too little room, and everywhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import Polygon

from parcelfence.conflict import Conflict
from parcelfence.errors import NoLoopError
from parcelfence.layout.allowed import allowed_land
from parcelfence.layout.rounding import rounded, turnable
from parcelfence.lines import stretch
from parcelfence.units import station_label, unit_system

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Run
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["largest_uniform_reach_m", "narrow_places"]

_SAMPLE_M: Final = 0.5
_TOLERANCE_M: Final = 0.02
_LEAST_REACH_M: Final = 0.3
_HALVINGS: Final = 10
_RULE: Final = "narrow-place"


def narrow_places(run: Run, *, site: Site, settings: Settings) -> tuple[Conflict, ...]:
    """Find where the loop passes a building inside it nearer than the clearance.

    Parameters
    ----------
    run : Run
        The outer loop.
    site : Site
        Its buildings and its lot line.
    settings : Settings
        Setback and clearance.

    Returns
    -------
    tuple of Conflict
        For each building and stretch the largest reach possible there, measured from the gap between wall and lot
        line; and one with the largest reach for all of the property.
    """
    inside = Polygon(run.line)
    short = [
        building
        for building in site.buildings
        if inside.intersects(building.geometry)
        and run.line.dwithin(building.geometry, settings.building_clearance_m - _TOLERANCE_M)
    ]
    found = [remark for building in short for remark in _of_building(building, run=run, site=site, settings=settings)]
    if not found:
        return ()
    uniform_m = largest_uniform_reach_m(site, settings, buildings=short)
    return (*found, _uniform(uniform_m, found=found, settings=settings))


def largest_uniform_reach_m(site: Site, settings: Settings, *, buildings: Sequence[Feature]) -> float | None:
    """Largest reach with which a loop passes behind all of some buildings with all its clearances.

    The reach is found by halving from what the narrowest gap leaves, each time by designing the rounded outline anew:
    it shrinks as the reach grows, so the answer is the only one.

    Parameters
    ----------
    site : Site
        The property.
    settings : Settings
        Setback and clearance follow the reach, unless they were given.
    buildings : sequence of Feature
        Buildings to be inside.

    Returns
    -------
    float or None
        In metres, not above that of the settings; None if no reach worth its name does.
    """
    walls = shapely.union_all([building.geometry for building in buildings])
    gap_m = float(site.parcel.boundary.distance(walls))
    low, high = min(_LEAST_REACH_M, settings.reach_m), settings.reach_m
    for _ in range(_HALVINGS):  # the gap alone, which costs nothing
        middle = (low + high) / 2
        there = settings.replaced(reach_m=middle)
        fits = there.lot_line_setback_m + there.building_clearance_m <= gap_m
        low, high = (middle, high) if fits else (low, middle)
    if low <= _LEAST_REACH_M:
        return None
    if _passes(site, settings.replaced(reach_m=low), walls=walls):
        return low
    low, high = _LEAST_REACH_M, low
    for _ in range(_HALVINGS - 3):
        middle = (low + high) / 2
        passes = _passes(site, settings.replaced(reach_m=middle), walls=walls)
        low, high = (middle, high) if passes else (low, middle)
    return low if low > _LEAST_REACH_M else None


def _passes(site: Site, settings: Settings, *, walls: BaseGeometry) -> bool:
    """Whether the rounded outline, utilities apart, goes round the walls with the clearance."""
    try:
        region = turnable(allowed_land(site, settings).region, settings.bend_radius_m)
    except NoLoopError:
        return False
    return any(
        part.covers(walls) and part.exterior.distance(walls) >= settings.building_clearance_m - 2 * _TOLERANCE_M
        for part in rounded(region, settings.bend_radius_m)
    )


def _of_building(building: Feature, *, run: Run, site: Site, settings: Settings) -> list[Conflict]:
    wall = building.geometry
    count = max(8, int(run.line.length / _SAMPLE_M))
    stations = np.arange(count) * run.line.length / count
    points = shapely.line_interpolate_point(run.line, stations)
    from_wall = shapely.distance(points, wall)
    too_near = np.flatnonzero(from_wall < settings.building_clearance_m - _TOLERANCE_M)
    if not len(too_near):
        return []
    gap_m = from_wall + shapely.distance(points, site.parcel.boundary)
    beyond_m = settings.lot_line_setback_m + settings.building_clearance_m - 2 * settings.reach_m
    remarks = []
    for group in _joined(too_near, count=count):
        fits_m = max(0.0, float((gap_m[group].min() - beyond_m) / 2))
        low_m, high_m = float(stations[group[0]]), float(stations[group[-1]])
        remarks.append(_narrow(building, run=run, span=(low_m, high_m), fits_m=fits_m, settings=settings))
    return remarks


def _joined(indices: np.ndarray, *, count: int) -> list[np.ndarray]:
    """Cut sampled places into connected stretches, over the start of the loop too."""
    groups = np.split(indices, np.flatnonzero(np.diff(indices) > 1) + 1)
    if len(groups) > 1 and groups[0][0] == 0 and groups[-1][-1] == count - 1:
        groups = [np.concatenate([groups[-1], groups[0]]), *groups[1:-1]]
    return groups


def _narrow(building: Feature, *, run: Run, span: tuple[float, float], fits_m: float, settings: Settings) -> Conflict:
    units = unit_system(settings.units)
    first, last = (station_label(run.start_station_m + each, style=settings.station_format) for each in span)
    low_m, high_m = span
    place = run.line.interpolate(low_m) if low_m == high_m else stretch(run.line, start_m=low_m, end_m=high_m)
    at_most = f"reach {units.length(fits_m)} at most" if fits_m >= _LEAST_REACH_M else "room for no usual reach"
    return Conflict(
        rule=_RULE,
        severity="caution",
        message=f"Between stations {first} and {last} the wall of building {building.id} and the lot line leave "
        f"{at_most}; {units.length(settings.reach_m)} is set",
        remedy="lower the reach, leave that side out with a wanted area, or accept signal in the building",
        geometry=place,
        layer="buildings",
        feature=building.id,
        measured=fits_m,
        limit=settings.reach_m,
    )


def _uniform(uniform_m: float | None, *, found: Sequence[Conflict], settings: Settings) -> Conflict:
    units = unit_system(settings.units)
    message = (
        "No reach worth its name keeps all clearances on the whole property"
        if uniform_m is None
        else f"The largest reach that keeps all clearances on the whole property is {units.length(uniform_m, digits=2)}"
    )
    return Conflict(
        rule=_RULE,
        severity="note",
        message=message,
        remedy="plan again with that reach, or leave the narrow side out" if uniform_m else "leave the narrow side out",
        geometry=found[0].geometry,
        measured=uniform_m,
        limit=settings.reach_m,
    )
