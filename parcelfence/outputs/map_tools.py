"""Figures that the tools of the map compute with: chainage along the wire, and metres per degree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import Geod

from parcelfence.outputs.escaping import html_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parcelfence.settings import Settings

__all__ = ["metres_per_degree", "station_run", "unit_factors"]

_GEOD = Geod(ellps="WGS84")
_HALF_STEP_DEG = 0.005


def metres_per_degree(longitude: float, latitude: float) -> tuple[float, float]:
    """Measure a degree of longitude and of latitude on the ellipsoid (Karney 2013), at a place.

    Parameters
    ----------
    longitude, latitude : float
        Degrees on WGS 84.

    Returns
    -------
    tuple of float
        Metres per degree eastward and northward.
    """
    west, east = longitude - _HALF_STEP_DEG, longitude + _HALF_STEP_DEG
    south, north = latitude - _HALF_STEP_DEG, latitude + _HALF_STEP_DEG
    eastward = _GEOD.line_length([west, east], [latitude, latitude])
    northward = _GEOD.line_length([longitude, longitude], [south, north])
    return eastward / (2 * _HALF_STEP_DEG), northward / (2 * _HALF_STEP_DEG)


def station_run(record: Mapping[str, Any], *, plan_length_m: float) -> dict[str, Any]:
    """Give the chainage of every vertex of a leg, for the read-out under the pointer.

    Parameters
    ----------
    record : mapping
        A row of the layer ``wire`` on WGS 84, with its ``geometry``.
    plan_length_m : float
        Length of the leg in the working CRS, in which stations are reckoned.

    Returns
    -------
    dict
        ``name`` of the loop, ``twisted``, and ``station``: metres at each vertex, to the millimetre.  Lengths between
        vertices are geodesic, fitted to the plan length of the leg.
    """
    coordinates = shapely.get_coordinates(record["geometry"])
    steps_m = np.asarray(_GEOD.line_lengths(coordinates[:, 0], coordinates[:, 1]))
    along_m = np.concatenate([[0.0], np.cumsum(steps_m)])
    fit = plan_length_m / along_m[-1] if along_m[-1] > 0 else 1.0
    return {
        "name": html_text(record["loop_id"]),
        "twisted": bool(record["twisted"]),
        "station": np.round(float(record["start_station_m"]) + along_m * fit, 3).tolist(),
    }


def unit_factors(settings: Settings) -> dict[str, Any]:
    """Give the names and sizes of the units in which the tools speak."""
    from parcelfence.units import unit_system

    units = unit_system(settings.units)
    return {
        "system": units.name,
        "length": units.length_unit,
        "lengthM": units.length_m,
        "area": units.area_unit,
        "areaM2": units.area_m2,
        "stations": settings.station_format,
    }
