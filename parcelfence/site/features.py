"""Features by layer: plain records become identified things on the ground."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence.inputs.doubts import DEGREE_M
from parcelfence.lines import gather
from parcelfence.site.feature import Feature

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from collections.abc import Set as AbstractSet

    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.table import Record, Table
    from parcelfence.site.surroundings import Surroundings

__all__ = [
    "described",
    "distinct",
    "features",
    "identifier",
    "other_parcels",
    "overlapping_pairs",
    "written",
]

_KIND_FIELDS: Final = ("kind", "type", "use", "class")
_ID_FIELDS: Final = ("id", "uid", "fid", "objectid")
_NAME_FIELDS: Final = ("name", "label", "title")
"""What people call a thing; of parcels it may be the owner's name, which is no identifier."""
_NOUNS: Final = {
    "parcels": "parcel",
    "buildings": "building",
    "keep_outs": "keep-out",
    "no_animal": "keep-out",
    "no_dig": "ground not to be dug",
    "fences": "fence",
    "gates": "gate",
    "trees": "tree",
    "passages": "passage",
    "easements": "easement",
    "roads": "road",
    "doors": "door",
    "other_loops": "other loop",
    "open_sides": "open side",
    "wanted_area": "wanted area",
}
_SAME_SHARE: Final = 0.5
"""A parcel that shares so much with the property is a unit of it, or it of that one, and no neighbour."""
_COPY_SHARE: Final = 0.99
"""A parcel that shares so much is the same lot once more."""
_MONSTER: Final = 1_000
"""Vertices from which it pays to cut a parcel down to what lies around another."""
_SLIVER_M2, _SLIVER_M = 1.0, 0.3
"""Lot lines drawn twice differ by less, in area and in width (from memory)."""


def features(surroundings: Iterable[Surroundings], role: str) -> tuple[Feature, ...]:
    """Make the features of one role, with identifiers that are unique within it."""
    return distinct(feature for feature, _ in described(surroundings, role))


def described(surroundings: Iterable[Surroundings], role: str) -> Iterator[tuple[Feature, Mapping[str, Any]]]:
    """Make the features of one role, each with the attributes of its record; identifiers may repeat."""
    for one in surroundings:
        for record, geometry in one.records if one.role == role else ():
            yield (
                Feature(
                    id=identifier(record, one.table),
                    kind=_kind(record, one.table),
                    source_id=_source_id(record, one.table),
                    geometry=geometry,
                ),
                record.attributes,
            )


def other_parcels(
    surroundings: Iterable[Surroundings], *, chosen: AbstractSet[int], ground: BaseGeometry
) -> dict[str, tuple[Feature, ...]]:
    """Sort the other parcels into neighbours, and overlaps: ground of the property that they hold too.

    A second copy of the property (units stacked on one lot) is neither.
    """
    beside, over = [], []
    shapely.prepare(ground)
    for one in surroundings:
        for record, geometry in one.records if one.role == "parcels" else ():
            if record.position in chosen:
                continue
            feature = Feature(
                id=identifier(record, one.table),
                kind="neighbour",
                source_id=_source_id(record, one.table),
                geometry=geometry,
            )
            shared = geometry.intersection(ground)
            if not shared.area > _SAME_SHARE * min(geometry.area, ground.area):
                beside.append(feature)
            if _is_ground(shared) and shared.area < _COPY_SHARE * max(geometry.area, ground.area):
                over.append(replace(feature, kind="overlap", geometry=_areas(shared)))
    return {"neighbours": distinct(beside), "overlaps": distinct(over)}


def overlapping_pairs(parcels: NDArray[np.object_], *, crs: CRS) -> list[tuple[int, int, float]]:
    """Find parcels that cover the same ground.

    Parameters
    ----------
    parcels : array of BaseGeometry, shape (n,)
        In `crs`.
    crs : CRS
        Degrees, or any unit of length.

    Returns
    -------
    list of (int, int, float)
        Places of both, and their common ground in square metres (within a percent), the largest first.  Copies of one
        lot and slivers are left out.
    """
    first, second = shapely.STRtree(parcels).query(parcels, predicate="intersects")
    once = first < second
    first, second = first[once], second[once]
    unit_m = DEGREE_M if crs.is_geographic else float(crs.axis_info[0].unit_conversion_factor)
    middle = (shapely.bounds(parcels[first])[:, 1] + shapely.bounds(parcels[first])[:, 3]) / 2.0
    squeeze = np.cos(np.radians(middle)) if crs.is_geographic else np.ones(len(first))
    shared = _shared(parcels[first], parcels[second])
    areas, lengths = shapely.area(shared), np.maximum(shapely.length(shared), 1e-300)
    larger = np.maximum(shapely.area(parcels[first]), shapely.area(parcels[second]))
    areas_m2, wide_m = areas * squeeze * unit_m**2, 2.0 * areas / lengths * squeeze * unit_m
    found = np.flatnonzero((areas_m2 > _SLIVER_M2) & (wide_m > _SLIVER_M) & (areas < _COPY_SHARE * larger))
    return sorted(
        ((int(first[one]), int(second[one]), float(areas_m2[one])) for one in found),
        key=lambda pair: (-pair[2], pair[0], pair[1]),
    )


def _shared(some: NDArray[np.object_], others: NDArray[np.object_]) -> NDArray[np.object_]:
    """Intersect pairs; of a monster, such as the roads of a town, only what lies around the other one is looked at."""
    swapped = shapely.get_num_coordinates(some) < shapely.get_num_coordinates(others)
    large, small = np.where(swapped, others, some), np.where(swapped, some, others)
    for number in np.flatnonzero(shapely.get_num_coordinates(large) > _MONSTER):
        large[number] = shapely.make_valid(shapely.clip_by_rect(large[number], *small[number].bounds))
    shared: NDArray[np.object_] = shapely.intersection(large, small)
    return shared


def _is_ground(shared: BaseGeometry) -> bool:
    """Tell ground from the sliver that lines drawn twice leave between them."""
    return bool(shared.area > _SLIVER_M2 and 2.0 * shared.area / shared.length > _SLIVER_M)


def _areas(shared: BaseGeometry) -> BaseGeometry:
    return gather([part for part in shapely.get_parts(shared) if shapely.get_dimensions(part) == 2])  # noqa: PLR2004


def identifier(record: Record, table: Table) -> str:
    """Name a record by its identifier field, or by its place in the file."""
    usual = _ID_FIELDS if table.source.role == "parcels" else (*_ID_FIELDS, *_NAME_FIELDS)
    wanted = [table.source.id_field.casefold()] if table.source.id_field else usual
    folded = {name.casefold(): value for name, value in record.attributes.items()}
    for field in wanted:
        if folded.get(field) not in {None, ""}:
            return written(folded[field])
    return f"{_noun(table.source.role)} {record.position + 1}"


def _kind(record: Record, table: Table) -> str:
    if table.source.kind:
        return table.source.kind
    folded = {name.casefold(): value for name, value in record.attributes.items()}
    for field in [table.source.kind_field.casefold()] if table.source.kind_field else _KIND_FIELDS:
        value = folded.get(field)
        if isinstance(value, str) and value:
            return value
    return _noun(table.source.role)


def _source_id(record: Record, table: Table) -> str:
    return f"{table.source.name}#{record.position + 1}"


def _noun(role: str) -> str:
    return _NOUNS.get(role, role)


def written(value: Any) -> str:
    """Write an attribute as a person would: a whole number without a decimal point."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def distinct(listed: Iterable[Feature]) -> tuple[Feature, ...]:
    """Tell apart the identifiers that occur more than once."""
    features = tuple(listed)
    counts = Counter(feature.id for feature in features)
    seen: Counter[str] = Counter()
    distinct = []
    for feature in features:
        seen[feature.id] += 1
        repeated = counts[feature.id] > 1
        distinct.append(replace(feature, id=f"{feature.id} ({seen[feature.id]})") if repeated else feature)
    return tuple(distinct)
