"""Missing grids: the files that PROJ lacks for a better datum operation, for the place in question."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyproj.transformer import TransformerGroup

__all__ = ["box_holds", "missing_grids"]


def missing_grids(
    group: TransformerGroup, *, lon_lat: tuple[float, float], better_than_m: float = math.inf
) -> tuple[str, ...]:
    """Name the grids of the most accurate operation that cannot be used for want of them.

    Operations state the place that they are made for as a box, and the boxes of neighbours overlap: that of Canada
    holds Vermont.  So the best accuracy decides, then the smaller box, and one operation alone is recommended.

    Parameters
    ----------
    group : TransformerGroup
        All ways between two CRSs.
    lon_lat : tuple of float
        The place in degrees.
    better_than_m : float
        Accuracy of the operation that is used instead; what would be no better is not worth installing.

    Returns
    -------
    tuple of str
        All grids that the operation needs and that are not there; empty if no better operation lacks one.
    """
    fitting = []
    for operation in group.unavailable_operations:
        area = operation.area_of_use
        if 0 <= operation.accuracy < better_than_m and area and box_holds(area.bounds, lon_lat):
            grids = dict.fromkeys(grid.short_name for grid in operation.grids if not grid.available)
            fitting.append((operation.accuracy, _size_deg2(area.bounds), tuple(grids)))
    return min(fitting)[2] if fitting else ()


def box_holds(bounds: tuple[float, float, float, float], lon_lat: tuple[float, float]) -> bool:
    """Whether a box of west, south, east, north holds a place; one over the antimeridian begins east of its end."""
    west, south, east, north = bounds
    longitude, latitude = lon_lat
    over = west > east and (longitude >= west or longitude <= east)
    return (west <= longitude <= east or over) and south <= latitude <= north


def _size_deg2(bounds: tuple[float, float, float, float]) -> float:
    west, south, east, north = bounds
    return ((east - west) % 360.0 or 360.0) * (north - south)
