"""The front of a property: which way the house looks, and the ground behind a line across it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import Polygon

from parcelfence.errors import Fault, SettingsError
from parcelfence.settings import COMPASS

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["Front", "behind", "front_of"]

_SHARED_M: Final = 1.0
"""A lot line nearer than this to a neighbour's is shared with it."""
_FRONTAGE_M: Final = 3.0
"""A shorter stretch of lot line without a neighbour is a gap in the drawing."""
_AT_A_WALL_M: Final = 1.0


@dataclass(frozen=True, kw_only=True)
class Front:
    """The way the house looks.

    Parameters
    ----------
    outwards : ndarray, shape (2,)
        Unit vector from the house to its front.
    words : str
        Its point of the compass.
    why : str
        How it is known.
    """

    outwards: npt.NDArray[np.float64]
    words: str
    why: str


def front_of(site: Site, *, house: Feature, settings: Settings) -> Front:
    """Tell which way a house looks: as stated, by its front door, towards the road, or to the side without neighbours.

    Raises
    ------
    SettingsError
        If nothing tells.
    """
    middle = house.geometry.centroid
    if settings.front:
        bearing = math.radians(settings.front_bearing_deg)
        return _front(np.array([math.sin(bearing), math.cos(bearing)]), house=house, why="as stated")
    doors = [
        door
        for door in site.doors
        if "front" in door.kind.casefold() and house.geometry.dwithin(door.geometry, _AT_A_WALL_M)
    ]
    if doors:
        return _towards(doors[0].geometry, house=house, why="where its front door is")
    roads = shapely.union_all([road.geometry for road in site.roads])
    if not roads.is_empty:
        nearest = shapely.get_point(shapely.shortest_line(middle, roads), 1)
        return _towards(nearest, house=house, why="where the road is")
    frontage = _frontage(site)
    if frontage is not None:
        return _towards(frontage.centroid, house=house, why="where no neighbour's lot adjoins")
    raise SettingsError(
        Fault(
            where=f"layout {settings.layout}",
            found="nothing tells front and back apart: no road, front door or neighbouring lots are given",
            must="the layout needs to know which side of the house is its front",
            remedy="give the layer roads, or state the side: front = 'south' (or its bearing in degrees)",
        )
    )


def behind(front: Front, *, at_m: float, around: BaseGeometry) -> Polygon:
    """Give the ground behind a line across the front, at a distance along its direction.

    Parameters
    ----------
    front : Front
        The direction.
    at_m : float
        Place of the line: coordinates times :attr:`Front.outwards` are less behind it.
    around : BaseGeometry
        The ground is large enough to cover this.
    """
    west, south, east, north = around.bounds
    across = np.array([-front.outwards[1], front.outwards[0]])
    middle = np.array([(west + east) / 2, (south + north) / 2])
    far_m = 2 * (east - west + north - south)
    foot = middle + front.outwards * (at_m - float(middle @ front.outwards))
    corners = [
        foot + across * far_m,
        foot + across * far_m - front.outwards * far_m,
        foot - across * far_m - front.outwards * far_m,
        foot - across * far_m,
    ]
    return Polygon(corners)


def _towards(place: BaseGeometry, *, house: Feature, why: str) -> Front:
    middle = house.geometry.centroid
    towards = np.array([place.centroid.x - middle.x, place.centroid.y - middle.y])
    return _front(towards / max(float(np.hypot(*towards)), 1e-9), house=house, why=why)


def _front(wanted: npt.NDArray[np.float64], *, house: Feature, why: str) -> Front:
    """Take the direction square to a wall of the house that is nearest to the wanted one."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(house.geometry))
    along = corners[1] - corners[0]
    along /= max(float(np.hypot(*along)), 1e-9)
    square = np.array([along, [-along[1], along[0]], -along, [along[1], -along[0]]])
    outwards = square[int(np.argmax(np.round(square @ wanted, 9)))]
    bearing_deg = math.degrees(math.atan2(outwards[0], outwards[1])) % 360
    return Front(outwards=outwards, words=COMPASS[round(bearing_deg / 45) % 8], why=why)


def _frontage(site: Site) -> BaseGeometry | None:
    """Give the longest stretch of lot line that no neighbour shares, if there are neighbours and a clear answer."""
    if not site.neighbours:
        return None
    shared = shapely.union_all([one.geometry.buffer(_SHARED_M) for one in site.neighbours])
    own = shapely.get_parts(shapely.line_merge(shapely.difference(site.parcel.boundary, shared)))
    stretches = sorted((line for line in own if line.length >= _FRONTAGE_M), key=lambda line: -line.length)
    return stretches[0] if stretches else None
