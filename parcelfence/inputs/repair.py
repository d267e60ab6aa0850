"""Repairs of single geometries: what has one right answer is mended and said, the rest is left out with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import GeometryType

from parcelfence.lines import gather

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["LARGEST_ORDINATE", "ROLE_DIMENSIONS", "SLIVER", "Repaired", "repaired"]

ROLE_DIMENSIONS: Final[dict[str, tuple[int, ...]]] = {
    "parcels": (2,),
    "buildings": (2,),
    "marks": (0, 1, 2),
    "keep_outs": (2,),
    "no_animal": (2,),
    "no_dig": (2,),
    "water": (1, 2),
    "hardscape": (1, 2),
    "easements": (2,),
    "roads": (1, 2),
    "fences": (1,),
    "gates": (0, 1),
    "trees": (0, 2),
    "passages": (1,),
    "doors": (0,),
    "metal": (0, 1, 2),
    "other_loops": (1,),
    "open_sides": (1,),
    "wanted_area": (2,),
    "transmitter": (0,),
}
"""Dimensions of geometry that a role can use: 0 points, 1 lines, 2 areas."""

_DIMENSION_NAMES: Final = {0: "points", 1: "lines", 2: "areas"}
LARGEST_ORDINATE: Final = 1e9
"""No projected system in use reaches so far, in feet or metres."""
SLIVER: Final = 1e-9
"""An area this small against the square of its outline has no width."""
_TELLING_SHARE: Final = 0.001
"""A change of area beyond this share is told with its size."""


@dataclass(frozen=True, kw_only=True)
class Repaired:
    """What became of a geometry.

    Parameters
    ----------
    geometry : BaseGeometry or None
        Valid, two-dimensional, not empty, finite, of a dimension that the role can use; None if there is none.
    notes : tuple of str
        What was mended.
    fault : str
        Why there is none; empty if there is.
    """

    geometry: BaseGeometry | None
    notes: tuple[str, ...] = ()
    fault: str = ""


def repaired(geometry: BaseGeometry | None, *, dimensions: tuple[int, ...]) -> Repaired:
    """Mend a geometry for a role.

    Parameters
    ----------
    geometry : BaseGeometry or None
        As read, in any CRS.
    dimensions : tuple of int
        What the role can use, see :data:`ROLE_DIMENSIONS`.

    Returns
    -------
    Repaired
        Heights are dropped, repeated vertices too; rings that cross themselves are made valid; a collection is cut
        down to what the role can use; a closed line stands for its area, and an area for its outline, where only
        that can be used. A multi-geometry of one part becomes that part, which is no repair and is not noted.
    """
    if geometry is None:
        return Repaired(geometry=None, fault="it has no geometry")
    if geometry.is_empty:
        return Repaired(geometry=None, fault="its geometry is empty")
    if not (np.abs(shapely.get_coordinates(geometry)) < LARGEST_ORDINATE).all():
        return Repaired(geometry=None, fault="it has coordinates that are not finite numbers, or beyond any map")
    notes: list[str] = []
    flat = _flat(geometry, notes)
    fitting = _fitting(flat, notes, dimensions=dimensions)
    if fitting is None:
        wanted = " or ".join(_DIMENSION_NAMES[dimension] for dimension in sorted(dimensions))
        return Repaired(geometry=None, fault=f"it is a {_plain_name(flat)}; this role takes {wanted}")
    usable = _usable(_valid(_without_repeats(fitting, notes), notes), notes, dimensions=dimensions)
    if usable is None:
        return Repaired(geometry=None, fault="nothing is left of it: it has no width, or no length")
    return Repaired(geometry=_single(usable), notes=tuple(dict.fromkeys(notes)))


def _flat(geometry: BaseGeometry, notes: list[str]) -> BaseGeometry:
    if not (shapely.has_z(geometry) or shapely.has_m(geometry)):
        return geometry
    notes.append("heights (Z) dropped" if shapely.has_z(geometry) else "measures (M) dropped")
    return shapely.force_2d(geometry)


def _fitting(geometry: BaseGeometry, notes: list[str], *, dimensions: tuple[int, ...]) -> BaseGeometry | None:
    """Bring a geometry to a dimension that the role can use, if there is one sensible way."""
    parts = [part for part in shapely.get_parts(_deep_parts(geometry)) if not part.is_empty]
    kept = [part for part in parts if shapely.get_dimensions(part) in dimensions]
    if kept:
        highest = max(shapely.get_dimensions(part) for part in kept)
        best = [part for part in kept if shapely.get_dimensions(part) == highest]
        if len(best) < len(parts):
            notes.append(f"only its {_DIMENSION_NAMES[highest]} kept, of a mixed collection")
        return geometry if len(best) == len(parts) and not _is_collection(geometry) else gather(best)
    if 2 in dimensions and all(_encloses(part) for part in parts):  # noqa: PLR2004  (areas)
        notes.append("closed line taken as the area inside it")
        return gather([shapely.Polygon(part.coords) for part in parts])
    if dimensions == (1,) and all(part.geom_type == "Polygon" for part in parts):
        notes.append("outline taken, of an area")
        return gather([shapely.LineString(part.exterior.coords) for part in parts])
    return None


def _deep_parts(geometry: BaseGeometry) -> BaseGeometry:
    """Unfold nested collections and the multi-geometries in them."""
    if not _is_collection(geometry):
        return geometry
    parts = [part for member in shapely.get_parts(geometry) for part in shapely.get_parts(_deep_parts(member))]
    return shapely.GeometryCollection(parts)


def _is_collection(geometry: BaseGeometry) -> bool:
    return bool(shapely.get_type_id(geometry) == GeometryType.GEOMETRYCOLLECTION)


def _encloses(part: BaseGeometry) -> bool:
    return bool(part.geom_type in {"LineString", "LinearRing"} and part.is_closed and shapely.get_num_points(part) > 3)  # noqa: PLR2004


def _without_repeats(geometry: BaseGeometry, notes: list[str]) -> BaseGeometry:
    if shapely.get_dimensions(geometry) == 0 or shapely.length(geometry) == 0:
        return geometry
    fewer = shapely.remove_repeated_points(geometry)
    if fewer.is_empty or shapely.get_num_coordinates(fewer) == shapely.get_num_coordinates(geometry):
        return geometry
    notes.append("repeated vertices dropped")
    return fewer


def _valid(geometry: BaseGeometry, notes: list[str]) -> BaseGeometry:
    if geometry.is_valid or shapely.get_dimensions(geometry) < 2:  # noqa: PLR2004  (a line of no length is told apart later)
        return geometry
    parted, number = _holes_outside_made_parts(geometry)
    if number:
        rings = (
            "1 ring that was written as a hole lies"
            if number == 1
            else f"{number} rings that were written as holes lie"
        )
        notes.append(f"{rings} outside the outline: taken as {'a part' if number == 1 else 'parts'} of the ground")
        if parted.is_valid:
            return parted
    reason = shapely.is_valid_reason(parted).split("[")[0].strip().lower()
    before, parts_before = parted.area, shapely.get_num_geometries(parted)
    valid = shapely.make_valid(parted, method="structure", keep_collapsed=False)
    if not valid.is_valid:  # GEOS may leave two lobes that share an edge
        valid = shapely.union_all(shapely.get_parts(valid))
    telling = []
    if before > 0 and abs(valid.area - before) > _TELLING_SHARE * before:
        telling.append(f"its area changed by {abs(valid.area - before) / before:.1%}")
    if shapely.get_num_geometries(valid) > parts_before:
        telling.append(f"it has {shapely.get_num_geometries(valid)} parts now")
    advice = f"; {' and '.join(telling)}: check it on the map" if telling else ""
    notes.append(f"outline mended ({reason}{advice})")
    return valid


def _holes_outside_made_parts(geometry: BaseGeometry) -> tuple[BaseGeometry, int]:
    """Turn rings written as holes, but lying outside their outline, into the parts that they are, and count them."""
    polygons: list[BaseGeometry] = []
    number = 0
    for polygon in shapely.get_parts(geometry):
        outline = shapely.make_valid(shapely.Polygon(polygon.exterior), method="structure", keep_collapsed=False)
        rings = [shapely.Polygon(ring) for ring in polygon.interiors]
        outside = [ring for ring in rings if not outline.intersects(ring.representative_point())]
        number += len(outside)
        if outside:
            inside = [ring.exterior for ring in rings if ring not in outside]
            polygons += [shapely.Polygon(polygon.exterior, inside), *outside]
        else:
            polygons.append(polygon)
    return (gather(polygons) if number else geometry), number


def _usable(geometry: BaseGeometry, notes: list[str], *, dimensions: tuple[int, ...]) -> BaseGeometry | None:
    """Drop what has no width or length; a line of no length is a point where points are of use."""
    parts = list(shapely.get_parts(geometry))
    usable = [part for part in parts if _has_extent(part)]
    if not usable and 0 in dimensions and shapely.get_dimensions(geometry) == 1:
        notes.append("line of no length taken as a point")
        return shapely.Point(shapely.get_coordinates(geometry)[0])
    if not usable:
        return None
    if len(usable) < len(parts):
        notes.append("parts without width or length dropped")
        return gather(usable)
    return geometry


def _has_extent(part: BaseGeometry) -> bool:
    if part.is_empty:
        return False
    dimension = shapely.get_dimensions(part)
    if dimension == 2:  # noqa: PLR2004  (an area)
        return bool(part.area > SLIVER * part.length**2)
    return bool(dimension == 0 or part.length > 0)


def _single(geometry: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(geometry)
    if len(parts) == 1:
        part: BaseGeometry = parts[0]
        return part
    return geometry


def _plain_name(geometry: BaseGeometry) -> str:
    return {
        "Point": "point",
        "MultiPoint": "set of points",
        "LineString": "line",
        "MultiLineString": "set of lines",
        "LinearRing": "ring",
        "Polygon": "polygon",
        "MultiPolygon": "set of polygons",
        "GeometryCollection": "mixed collection",
    }[geometry.geom_type]
