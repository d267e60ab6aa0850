"""The transmitter's place: given, or proposed at a building wall, dry and away from metal."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.layout.loop import Transmitter

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely import LineString, Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["house_of", "transmitter_place"]

_WALL_STEP_M: Final = 1.0
_DRY_M: Final = 3.0
_AT_THE_WALL_M: Final = 0.5
_HOUSE_M2: Final = 20.0
"""Smaller buildings are sheds, where there is seldom power."""


def transmitter_place(outer: LineString, *, site: Site, settings: Settings) -> Transmitter | None:
    """Find the place of the transmitter.

    Parameters
    ----------
    outer : LineString
        The outer loop.
    site : Site
        Buildings, metal, water, and the place that was given, if any.
    settings : Settings
        Distance from metal.

    Returns
    -------
    Transmitter or None
        The given place; else the point of a wall of the largest building from which the way to the loop is shortest,
        among those dry and away from metal; None where no building stands on the property.
    """
    if site.transmitter is not None:
        return Transmitter(point=site.transmitter, given=True, note="place as given")
    house = house_of(site)
    if house is None:
        return None
    wall = house.geometry.boundary.intersection(site.parcel)
    if wall.is_empty:
        return None
    places = _along(wall)
    metal = shapely.union_all([item.geometry for item in site.metal])
    water = shapely.union_all([item.geometry for item in site.water])
    from_metal = shapely.distance(places, metal) if not metal.is_empty else np.full(len(places), np.inf)
    from_water = shapely.distance(places, water) if not water.is_empty else np.full(len(places), np.inf)
    fit = (from_metal >= settings.transmitter_metal_clearance_m) & (from_water >= _DRY_M)
    chosen = places[fit] if fit.any() else places[[int(np.argmax(np.minimum(from_metal, from_water)))]]
    point: Point = chosen[int(np.argmin(np.round(shapely.distance(chosen, outer), 3)))]
    why = "dry and away from metal" if fit.any() else "the least bad place: metal or water is near along the whole wall"
    return Transmitter(
        point=point,
        given=False,
        note=f"proposed at the wall of building {house.id}, {why}, indoors where the way to the loop is short",
    )


def house_of(site: Site) -> Feature | None:
    """Give the house: the building with the transmitter, else the largest one that stands on the property."""
    if site.transmitter is not None:
        for building in site.buildings:
            if building.geometry.dwithin(site.transmitter, _AT_THE_WALL_M) and building.geometry.area >= _HOUSE_M2:
                return building
    own = [building for building in site.buildings if _share(building, site.parcel) > 0.5]  # noqa: PLR2004
    large = [building for building in own if building.geometry.area >= _HOUSE_M2]
    return max(large or own, key=lambda building: round(building.geometry.area, 3), default=None)


def _share(building: Feature, parcel: BaseGeometry) -> float:
    return float(building.geometry.intersection(parcel).area / max(building.geometry.area, 1e-9))


def _along(wall: BaseGeometry) -> npt.NDArray[np.object_]:
    """Middles of equal pieces of every wall: places that do not depend on where the outline begins."""
    places = []
    for line in shapely.get_parts(wall):
        xy = shapely.get_coordinates(line)
        for start, end in pairwise(xy):
            count = max(1, round(float(np.hypot(*(end - start))) / _WALL_STEP_M))
            shares = (np.arange(count) + 0.5) / count
            places.append(start + shares[:, None] * (end - start))
    return np.asarray(shapely.points(np.vstack(places)))
