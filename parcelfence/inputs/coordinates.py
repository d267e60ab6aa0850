"""Whether the coordinates of a source can be what their CRS says."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from parcelfence.antimeridian import lies_beyond
from parcelfence.errors import CrsError, Fault

if TYPE_CHECKING:
    import numpy.typing as npt

    from parcelfence.inputs.source import Source

__all__ = ["checked_coordinates", "could_be_degrees", "crs_code", "plausible_degrees"]

_LARGEST_FEATURE_DEG: Final = 1.0
"""No lot, building or locate mark is a degree (some 100 km) across."""
_NEAR_AREA_DEG: Final = 5.0
"""How far outside the area that a CRS is made for its coordinates are still believed."""
_MOST_WEST_EAST, _MOST_SOUTH_NORTH = 180.0, 90.0
_ANTARCTIC: Final = -60.0


def checked_coordinates(
    geometries: npt.NDArray[np.object_], crs: CRS, *, source: Source
) -> tuple[npt.NDArray[np.object_], tuple[Fault, ...], npt.NDArray[np.bool_]]:
    """Check that coordinates can be what their CRS says, and turn round what was plainly swapped.

    Parameters
    ----------
    geometries : array of BaseGeometry
        Usable geometries of a file, (n,).
    crs : CRS
        Their CRS.
    source : Source
        For messages.

    Returns
    -------
    geometries : array of BaseGeometry
        The same, or with the axes exchanged.
    remarks : tuple of Fault
        What was done.
    possible : array of bool
        Which of them lie on the earth, (n,).

    Raises
    ------
    CrsError
        If most of them cannot be coordinates of that CRS.
    """
    bounds = shapely.bounds(geometries)
    if not len(bounds):
        return geometries, (), np.ones(0, dtype=bool)
    if crs.is_geographic:
        return _checked_degrees(geometries, bounds, source=source, crs=crs)
    _check_projected(bounds, crs=crs, source=source)
    return geometries, (), np.ones(len(geometries), dtype=bool)


def _checked_degrees(
    geometries: npt.NDArray[np.object_], bounds: npt.NDArray[np.float64], *, source: Source, crs: CRS
) -> tuple[npt.NDArray[np.object_], tuple[Fault, ...], npt.NDArray[np.bool_]]:
    west, south, east, north = bounds.T
    possible = _can_be_degrees(bounds)
    small = float(np.median(np.maximum(east - west, north - south))) < _LARGEST_FEATURE_DEG
    if small and _plainly_swapped(bounds):
        remark = Fault(
            where=source.name,
            found="latitude and longitude were swapped in all features; they were exchanged"
            f" (latitude {north.max():.4f} became the longitude)",
            remedy="check on the map that the site lies where it should",
        )
        turned = shapely.transform(geometries, np.fliplr)
        return turned, (remark,), np.ones(len(geometries), dtype=bool)
    if possible.mean() <= 0.5 or not small:  # noqa: PLR2004  (most of them)
        raise CrsError(_not_degrees(bounds, source=source, crs=crs))
    return geometries, (), possible


def _plainly_swapped(bounds: npt.NDArray[np.float64]) -> bool:
    """Tell whether no other reading is left: latitudes beyond the poles, or in the Antarctic, over good longitudes."""
    west, south, east, north = bounds.T
    as_latitude = bool((np.abs([west, east]) <= _MOST_SOUTH_NORTH).all())
    as_longitude = bool((np.abs([south, north]) <= _MOST_WEST_EAST).all())
    off_the_earth = bool((np.minimum(np.abs(south), np.abs(north)) > _MOST_SOUTH_NORTH).all())
    return as_latitude and as_longitude and (off_the_earth or bool((north < _ANTARCTIC).all()))


def _not_degrees(bounds: npt.NDArray[np.float64], *, source: Source, crs: CRS) -> Fault:
    x, y = float(bounds[0, 0]), float(bounds[0, 1])
    reason = (
        "features more than 100 km across, as they come of a local drawing in metres or feet"
        if could_be_degrees(bounds)
        else f"coordinates such as {x:,.1f}, {y:,.1f}, which cannot be degrees; they look like metres or feet"
    )
    return Fault(
        where=source.name,
        found=f"it is taken as {crs.name}, longitude and latitude in degrees, but has {reason}",
        must="longitudes lie within -180 and 180, latitudes within -90 and 90",
        remedy="find out the true CRS (it was lost in an export) and give it with "
        f"{source.crs_argument}, for example {source.crs_argument} EPSG:2229",
    )


def _check_projected(bounds: npt.NDArray[np.float64], *, crs: CRS, source: Source) -> None:
    x, y = (float(value) for value in np.median((bounds[:, :2] + bounds[:, 2:]) / 2, axis=0))
    if could_be_degrees(bounds) and (_within_area(crs, x=x, y=y, margin=0.0) is False or _is_world_wide(crs)):
        reason, remedy = "look like degrees", "give its true CRS; EPSG:4326 if they are WGS 84 degrees"
    elif _within_area(crs, x=x, y=y) is not False:
        return
    elif _within_area(crs, x=y, y=x):
        reason = "fit it only with easting and northing exchanged"
        remedy = "exchange the two columns or axes in the file"
    else:
        reason = "lie far outside the area that it is made for"
        remedy = "check the zone and whether the unit is metres or feet"
    raise CrsError(
        Fault(
            where=source.name,
            found=f"it is taken as {crs.name} ({crs_code(crs)}), but its coordinates ({x:,.1f}, {y:,.1f}) {reason}",
            must="the coordinates and the CRS must belong together",
            remedy=remedy,
        )
    )


def _is_world_wide(crs: CRS) -> bool:
    """Tell a world-wide grid: there, a place within 180 m of the origin is degrees, not the sea off Africa."""
    area = crs.area_of_use
    return area is not None and area.east - area.west > _MOST_WEST_EAST


def _within_area(crs: CRS, *, x: float, y: float, margin: float = _NEAR_AREA_DEG) -> bool | None:
    """Tell whether a place lies in the area of use or within a margin in degrees; None if the CRS states no area."""
    area = crs.area_of_use
    if area is None:
        return None
    try:
        longitude, latitude = _to_degrees(crs).transform(x, y)
    except ProjError:
        return False
    if not (np.isfinite(longitude) and np.isfinite(latitude)):
        return False
    east = area.east + 360.0 * (area.east < area.west)
    across = (longitude - area.west + margin) % 360.0
    return bool(across <= east - area.west + 2 * margin and area.south - margin <= latitude <= area.north + margin)


@cache
def _to_degrees(crs: CRS) -> Transformer:
    base = crs.geodetic_crs
    return Transformer.from_crs(crs, base.to_2d() if base is not None else CRS.from_epsg(4326), always_xy=True)


def could_be_degrees(bounds: npt.NDArray[np.float64]) -> bool:
    """Tell whether all bounds, (n, 4), lie within -180 to 180, or across 180, and within -90 to 90."""
    return bool(_can_be_degrees(bounds).all())


def _can_be_degrees(bounds: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    west, south, east, north = bounds.T
    within: npt.NDArray[np.bool_] = (west >= -_MOST_WEST_EAST) & (east <= _MOST_WEST_EAST)
    within |= lies_beyond(bounds)
    within &= (south >= -_MOST_SOUTH_NORTH) & (north <= _MOST_SOUTH_NORTH)
    return within


def plausible_degrees(bounds: npt.NDArray[np.float64]) -> bool:
    """Tell whether bounds, (n, 4), can be longitudes and latitudes of things on a property."""
    if not len(bounds):
        return True
    extent = np.maximum(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1])
    return could_be_degrees(bounds) and float(np.median(extent)) < _LARGEST_FEATURE_DEG


def crs_code(crs: CRS) -> str:
    """Give the code of a CRS, such as ``EPSG:2229``; its name where it has none."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.name
