"""Grid and ground: how a distance on the ground differs from the one in a projected CRS."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from pyproj import CRS, Proj

__all__ = ["MEAN_RADIUS_M", "Scale", "elevation_factor", "grid_scale", "scale_at"]

MEAN_RADIUS_M: Final = 6_372_000.0
"""Mean radius for elevation factors (Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5)."""
_SAME_SCALE: Final = 1e-6


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Factors at one place.

    Parameters
    ----------
    grid : float
        Grid distance over ellipsoid distance.
    elevation : float
        Ellipsoid distance over ground distance.
    """

    grid: float
    elevation: float

    @property
    def combined(self) -> float:
        """Grid distance over ground distance."""
        return self.grid * self.elevation


def elevation_factor(height_m: float, *, radius_m: float = MEAN_RADIUS_M) -> float:
    """Ellipsoid distance over ground distance at a height above the ellipsoid: R / (R + h)."""
    return radius_m / (radius_m + height_m)


def grid_scale(crs: CRS, *, lon_lat: tuple[float, float]) -> float:
    """Point scale of a conformal projection.

    Parameters
    ----------
    crs : CRS
        Projected.
    lon_lat : tuple of float
        Place in degrees, on the datum of the CRS.

    Returns
    -------
    float
        Not a number where it depends on the direction, as in a Web Mercator.
    """
    if crs.coordinate_operation and "Pseudo" in crs.coordinate_operation.method_name:
        return math.nan  # PROJ gives the factors on a sphere
    factors = Proj(crs).get_factors(*lon_lat)
    along, across = float(factors.meridional_scale), float(factors.parallel_scale)
    return along if math.isclose(along, across, rel_tol=_SAME_SCALE) else math.nan


def scale_at(crs: CRS, *, lon_lat: tuple[float, float], height_m: float = 0.0) -> Scale:
    """Give both factors at a place; `height_m` is above the ellipsoid."""
    return Scale(grid=grid_scale(crs, lon_lat=lon_lat), elevation=elevation_factor(height_m))
