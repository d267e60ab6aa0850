"""Whereabouts: how far things lie from each other on the earth, whatever their CRS."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from pyproj import CRS, Geod, Transformer

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["ELSEWHERE_M", "gap_m", "geodesic_length_m", "plain_way", "width_m"]

_KEPT: Final = 512
"""As many ways as there are systems in memory."""
ELSEWHERE_M: Final = 1000.0
"""Data of the right place may end short of a property, but not by so much (from memory)."""


@lru_cache(maxsize=_KEPT)
def plain_way(source: str, target: str) -> Transformer:
    """Give PROJ's own way between two systems, longitude before latitude: to say where a thing is, not to work by."""
    return Transformer.from_crs(source, target, always_xy=True)


def geodesic_length_m(lon_lat: npt.NDArray[np.float64], *, crs: CRS | None = None) -> float:
    """Length of a polyline on the ellipsoid of `crs` or WGS 84 (Karney 2013), from (n, 2) longitudes and latitudes."""
    ellipsoid = crs.ellipsoid if crs is not None else None
    geod = Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre) if ellipsoid else Geod(ellps="WGS84")
    return float(geod.line_length(lon_lat[:, 0], lon_lat[:, 1]))


def gap_m(own: npt.NDArray[np.float64], others: npt.NDArray[np.float64], *, crs: CRS) -> float:
    """Measure the way along the ellipsoid from a box, (4,), to the nearest of several, (n, 4), all in one CRS."""
    (west, south, east, north), (left, bottom, right, top) = own, others.T
    aside = np.maximum(np.maximum(left - east, west - right), 0.0)
    ahead = np.maximum(np.maximum(bottom - north, south - top), 0.0)
    squeeze = math.cos(math.radians((south + north) / 2)) if crs.is_geographic else 1.0
    nearest = int(np.argmin(np.hypot(aside * squeeze, ahead)))
    here = np.clip((left[nearest], bottom[nearest]), (west, south), (east, north))
    there = np.clip(here, (left[nearest], bottom[nearest]), (right[nearest], top[nearest]))
    return _apart_m(np.array([here, there]), crs=crs)


def width_m(bounds: npt.NDArray[np.float64], *, crs: CRS) -> float:
    """Measure the diagonal of a box, (4,), along the ellipsoid."""
    return _apart_m(bounds.reshape(2, 2), crs=crs)


def _apart_m(ends: npt.NDArray[np.float64], *, crs: CRS) -> float:
    if not crs.is_geographic:
        ends = np.column_stack(plain_way(crs.srs, "EPSG:4326").transform(*ends.T))
    return geodesic_length_m(ends)
