"""Where along the wire something is: the chainage of the nearest run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop, Run

__all__ = ["Place", "greatest_distance_m", "nearest_place", "vertices"]

_APART_M: Final = 0.1
"""Between points so near to each other a distance grows by half of that at most, about what the field is known to."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """The point of the wire that is nearest to something.

    Parameters
    ----------
    run : Run
        Nearest run.
    station_m : float
        Chainage along it.
    point : Point
        The point of the wire.
    distance_m : float
        From there to the thing.
    """

    run: Run
    station_m: float
    point: Point
    distance_m: float


def nearest_place(loop: Loop, geometry: BaseGeometry, *, twisted: bool = True) -> Place | None:
    """Find the nearest point of the wire.

    Parameters
    ----------
    loop : Loop
        Its runs are looked at.
    geometry : BaseGeometry
        What the wire is near to.
    twisted : bool
        Whether twisted pairs count.

    Returns
    -------
    Place or None
        None if there is no wire, or the geometry is empty.
    """
    runs = loop.runs if twisted else loop.signal_runs
    if not runs or geometry.is_empty:
        return None
    distance_m, number = min((float(run.line.distance(geometry)), number) for number, run in enumerate(runs))
    run = runs[number]
    point = shapely.get_point(shapely.shortest_line(run.line, geometry), 0)
    station_m = run.start_station_m + float(run.line.project(point))
    return Place(run=run, station_m=station_m, point=point, distance_m=distance_m)


def greatest_distance_m(start: BaseGeometry, *, over: BaseGeometry) -> float:
    """Measure how far the edge of an area lies from something at most, along its sides and not at its corners alone."""
    points = vertices(shapely.segmentize(over, _APART_M))
    return float(shapely.distance(start, points).max(initial=0.0))


def vertices(geometry: BaseGeometry) -> NDArray[np.object_]:
    """Give all vertices of a geometry as points."""
    return np.asarray(shapely.points(shapely.get_coordinates(geometry)), dtype=object)
