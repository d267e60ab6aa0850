"""The transmitter's place: given, or proposed at a building wall, dry and away from metal."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.layout.loop import Transmitter

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["FROM_WALL_M", "WallPlaces", "house_of", "wall_places"]

FROM_WALL_M: Final = 0.1
"""A lead-in leaves a wall straight for so far."""

_WALL_STEP_M: Final = 1.0
_DRY_M: Final = 3.0
_AT_THE_WALL_M: Final = 0.5
_BESIDE_M: Final = 10.0
"""A house so near to the wanted area is the house of that area."""
_NOT_THE_HOUSE_M: Final = 30.0
_AT_AN_ENTRY_M: Final = 40.0
"""Prices in metres of plain wire: mains power in a barn is not sure; beside an entry nobody wants to dig."""
_HOUSE_M2: Final = 20.0
"""Smaller buildings are sheds, where there is seldom power."""


@dataclass(frozen=True, kw_only=True)
class WallPlaces:
    """Where a transmitter could hang.

    Parameters
    ----------
    points, outside : ndarray, shape (n, 2)
        Points of walls, and the ground just before each.
    price_m : ndarray, shape (n,)
        What speaks against each, in metres of plain wire.
    buildings : tuple of str
        Building of each.
    why : str
        What holds of all of them.
    """

    points: npt.NDArray[np.float64]
    outside: npt.NDArray[np.float64]
    price_m: npt.NDArray[np.float64]
    buildings: tuple[str, ...]
    why: str

    def transmitter(self, number: int) -> Transmitter:
        """Propose one of the places."""
        return Transmitter(
            point=shapely.Point(self.points[number]),
            given=False,
            note=f"proposed at the wall of building {self.buildings[number]}, {self.why}, where the way to the wire "
            "costs least",
        )


def wall_places(site: Site, *, settings: Settings) -> WallPlaces | None:
    """Find the walls at which a transmitter could hang.

    Parameters
    ----------
    site : Site
        Buildings, metal, water, buried lines.
    settings : Settings
        Distance from metal, separation from buried lines.

    Returns
    -------
    WallPlaces or None
        Points of the walls that stand on the property, of the house and of other large buildings; those dry and away
        from metal, if there are any.  None where no building stands on the property.
    """
    house = house_of(site)
    if house is None:
        return None
    others = [one for one in _own(site) if one is not house and one.geometry.area >= _HOUSE_M2]
    walls = [(one, *_along(one.geometry)) for one in (house, *others)]
    points = np.vstack([at for _, at, _ in walls])
    outside = np.vstack([out for _, _, out in walls])
    names = np.repeat([one.id for one, _, _ in walls], [len(at) for _, at, _ in walls])
    price_m = np.where(names == house.id, 0.0, _NOT_THE_HOUSE_M) + _near_an_entry_m(site, points, settings=settings)
    on_it = np.asarray(shapely.intersects(site.parcel, shapely.points(outside)))
    from_metal = _distances_m(points, site.metal)
    from_water = _distances_m(points, site.water)
    fit = on_it & (from_metal >= settings.transmitter_metal_clearance_m) & (from_water >= _DRY_M)
    if not on_it.any():
        return None
    why = "dry and away from metal" if fit.any() else "the least bad place: metal or water is near along all walls"
    kept = np.flatnonzero(fit)
    if not len(kept):
        least_m = np.where(on_it, np.minimum(from_metal, from_water), -1.0)
        kept = np.flatnonzero(least_m == least_m.max())
    return WallPlaces(
        points=points[kept], outside=outside[kept], price_m=price_m[kept], buildings=tuple(names[kept]), why=why
    )


def _distances_m(points: npt.NDArray[np.float64], features: Sequence[Feature]) -> npt.NDArray[np.float64]:
    there = shapely.union_all([feature.geometry for feature in features])
    if there.is_empty:
        return np.full(len(points), np.inf)
    return np.asarray(shapely.distance(shapely.points(points), there))


def _near_an_entry_m(site: Site, points: npt.NDArray[np.float64], *, settings: Settings) -> npt.NDArray[np.float64]:
    """Price places near which a service enters: full where it does, none from the separation on."""
    walls = shapely.union_all([building.geometry for building in site.buildings])
    entries = shapely.union_all([
        utility.geometry.intersection(walls.buffer(_AT_THE_WALL_M)) for utility in site.utilities
    ])
    if entries.is_empty:
        return np.zeros(len(points))
    share = 1 - shapely.distance(shapely.points(points), entries) / settings.utility_separation_m
    return _AT_AN_ENTRY_M * np.maximum(np.asarray(share), 0.0)


def house_of(site: Site) -> Feature | None:
    """Give the house: the building with the transmitter, else the largest one that stands on the property."""
    if site.transmitter is not None:
        for building in site.buildings:
            if building.geometry.dwithin(site.transmitter, _AT_THE_WALL_M) and building.geometry.area >= _HOUSE_M2:
                return building
    own = _own(site)
    large = [building for building in own if building.geometry.area >= _HOUSE_M2]
    return max(large or own, key=lambda building: round(building.geometry.area, 3), default=None)


def _own(site: Site) -> list[Feature]:
    """Give the buildings that stand on the property, and within the wanted area if any does."""
    own = [building for building in site.buildings if _share(building, site.parcel) > 0.5]  # noqa: PLR2004
    within = [one for one in own if site.wanted_area is None or one.geometry.dwithin(site.wanted_area, _BESIDE_M)]
    return within or own


def _share(building: Feature, parcel: BaseGeometry) -> float:
    return float(building.geometry.intersection(parcel).area / max(building.geometry.area, 1e-9))


def _along(building: BaseGeometry) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Give the middles of equal pieces of every wall, wherever the outline begins, and the ground outside."""
    points, outside = [], []
    for part in shapely.get_parts(shapely.orient_polygons(building)):
        for start, end in pairwise(shapely.get_coordinates(part.exterior)):
            length_m = float(np.hypot(*(end - start)))
            count = max(1, round(length_m / _WALL_STEP_M))
            middles = start + ((np.arange(count) + 0.5) / count)[:, None] * (end - start)
            out = np.array([end[1] - start[1], start[0] - end[0]]) / max(length_m, 1e-9)
            points.append(middles)
            outside.append(middles + FROM_WALL_M * out)
    return np.vstack(points), np.vstack(outside)
