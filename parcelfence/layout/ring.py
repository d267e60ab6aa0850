"""Closed lines: turning them to another start, and cutting stretches out of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import LineString
from shapely.ops import substring

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely import Point

__all__ = ["started_at", "stretch"]


def started_at(ring: LineString, point: Point) -> LineString:
    """Turn a closed line so that it begins and ends at a point on it, which becomes a vertex."""
    at = ring.project(point)
    if at in {0.0, ring.length}:
        return ring
    xy = np.vstack([_xy(ring, span=(at, ring.length)), _xy(ring, span=(0.0, at))[1:]])
    xy[0] = xy[-1] = point.x, point.y
    return LineString(xy)


def stretch(ring: LineString, *, start_m: float, end_m: float) -> LineString:
    """Cut a stretch out of a closed line; over its start, where the end does not lie beyond the start."""
    if start_m < end_m:
        return LineString(_xy(ring, span=(start_m, end_m)))
    return LineString(np.vstack([_xy(ring, span=(start_m, ring.length)), _xy(ring, span=(0.0, end_m))[1:]]))


def _xy(ring: LineString, *, span: tuple[float, float]) -> npt.NDArray[np.float64]:
    return np.asarray(shapely.get_coordinates(substring(ring, *span)))
