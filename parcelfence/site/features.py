"""Features by layer: plain records become identified things on the ground."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from parcelfence.site.feature import Feature

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from collections.abc import Set as AbstractSet

    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.table import Record, Table
    from parcelfence.site.surroundings import Surroundings

__all__ = ["described", "distinct", "features", "identifier", "neighbours", "written"]

_KIND_FIELDS: Final = ("kind", "type", "use", "class")
_ID_FIELDS: Final = ("id", "uid", "fid", "objectid")
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


def neighbours(
    surroundings: Iterable[Surroundings], *, chosen: AbstractSet[int], ground: BaseGeometry
) -> tuple[Feature, ...]:
    """Make the other parcels; a second copy of the property (units stacked on one lot) is no neighbour."""
    return distinct(
        Feature(
            id=identifier(record, one.table),
            kind="neighbour",
            source_id=_source_id(record, one.table),
            geometry=geometry,
        )
        for one in surroundings
        if one.role == "parcels"
        for record, geometry in one.records
        if record.position not in chosen and not _same(geometry, ground)
    )


def identifier(record: Record, table: Table) -> str:
    """Name a record by its identifier field, or by its place in the file."""
    wanted = [table.source.id_field.casefold()] if table.source.id_field else _ID_FIELDS
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


def _same(one: BaseGeometry, other: BaseGeometry) -> bool:
    return bool(one.intersection(other).area > _SAME_SHARE * min(one.area, other.area))


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
