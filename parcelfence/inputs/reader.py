"""The reader: a source in, a tidy table out, with every repair said and every fault of the file gathered."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import GeometryType

from parcelfence.antimeridian import join_across
from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.coordinates import checked_coordinates
from parcelfence.inputs.files import file_hash
from parcelfence.inputs.formats import read_raw
from parcelfence.inputs.raw import RawFeature, RawLayer, feature_label
from parcelfence.inputs.repair import LARGEST_ORDINATE, ROLE_DIMENSIONS, SLIVER, Repaired, repaired
from parcelfence.inputs.source_crs import source_crs
from parcelfence.inputs.table import Record, Table

if TYPE_CHECKING:
    import numpy.typing as npt

    from parcelfence.inputs.source import Source
    from parcelfence.inputs.vector_file import Window

__all__ = ["read_table"]

_REQUIRED_ROLES: Final = frozenset({"parcels"})
_MOST_NAMED: Final = 5
_ACROSS: Final = "it lies across the antimeridian (longitude 180); its two sides were joined"
_AREA_TYPES: Final = (GeometryType.POLYGON, GeometryType.MULTIPOLYGON)
_MULTI_TYPES: Final = (GeometryType.MULTIPOINT, GeometryType.MULTILINESTRING, GeometryType.MULTIPOLYGON)


def read_table(source: Source, *, window: Window | None = None) -> Table:
    """Read a source.

    Parameters
    ----------
    source : Source
        The file, its role and what the person said about it.
    window : Rows or Box, optional
        Part of the file that is wanted; it may hold nothing usable, and is not hashed.

    Returns
    -------
    Table
        Usable records in the order and the CRS of the file. A broken feature among good ones is left out and told in
        ``repairs``; an empty layer gives an empty table, except for parcels.

    Raises
    ------
    InputError
        If the file cannot be read, or nothing in it is usable; with all its faults.
    CrsError
        If its CRS is missing, or its coordinates cannot be in it.
    """
    layer = _joined(read_raw(source, window=window))
    _check_fields(layer, source=source)
    if not layer.features:
        return _empty_table(layer, source=source, window=window)
    results = _repaired_all(layer, dimensions=ROLE_DIMENSIONS[source.role])
    pairs = zip(layer.features, results, strict=True)
    kept = [(feature, result) for feature, result in pairs if result.geometry is not None]
    if not kept and window is None:
        raise InputError([_nothing_usable(layer, source=source), *_told(layer, results, source=source)])
    crs = source_crs(layer, source)
    geometries = np.array([result.geometry for _, result in kept], dtype=object)
    geometries, remarks, possible = checked_coordinates(geometries, crs.crs, source=source)
    records = tuple(
        Record(position=feature.position, geometry=geometry, attributes=feature.attributes)
        for (feature, _), geometry, good in zip(kept, geometries, possible, strict=True)
        if good
    )
    off = [feature for (feature, _), good in zip(kept, possible, strict=True) if not good]
    return Table(
        source=source,
        crs=crs.crs,
        records=records,
        repairs=(
            *layer.remarks,
            *crs.remarks,
            *remarks,
            *_off_the_earth(off, source=source),
            *_told(layer, results, source=source),
        ),
        fields=layer.fields,
        sha256=file_hash(source.path) if window is None else "",
        crs_origin=crs.origin,
        features=len(layer.features),
        left_out=_left_out(layer, results, off=off),
    )


def _joined(layer: RawLayer) -> RawLayer:
    """Join what lies across the antimeridian, before anything else takes it for a thing as wide as the world."""
    if layer.crs is not None and not layer.crs.is_geographic:
        return layer
    features = tuple(
        feature if whole is None else replace(feature, geometry=whole, notes=(*feature.notes, _ACROSS))
        for feature in layer.features
        for whole in (None if feature.geometry is None else join_across(feature.geometry),)
    )
    return replace(layer, features=features)


def _left_out(layer: RawLayer, results: list[Repaired], *, off: list[RawFeature]) -> dict[int, str]:
    unusable = {
        feature.position: result.fault or "it has no geometry"
        for feature, result in zip(layer.features, results, strict=True)
        if result.geometry is None
    }
    return unusable | {feature.position: "its coordinates cannot be degrees" for feature in off}


def _check_fields(layer: RawLayer, *, source: Source) -> None:
    asked = {"id_field": source.id_field, "kind_field": source.kind_field}
    faults = [
        Fault(
            where=source.name,
            found=f"there is no field {field!r} to take as {name}",
            remedy=near_matches(field, layer.fields),
        )
        for name, field in asked.items()
        if field is not None and layer.features and field not in layer.fields
    ]
    if faults:
        raise InputError(faults)


def _empty_table(layer: RawLayer, *, source: Source, window: Window | None) -> Table:
    fault = Fault(
        where=source.name,
        found="the layer is empty: it holds no features",
        remedy="check the export, or the filter that was set when it was made",
    )
    if source.role in _REQUIRED_ROLES and window is None:
        raise InputError(fault)
    crs = source_crs(layer, source)
    return Table(
        source=source,
        crs=crs.crs,
        records=(),
        repairs=(*layer.remarks, *crs.remarks, fault),
        fields=layer.fields,
        sha256=file_hash(source.path) if window is None else "",
        crs_origin=crs.origin,
    )


def _repaired_all(layer: RawLayer, *, dimensions: tuple[int, ...]) -> list[Repaired]:
    """Repair what needs it; the rest, mostly all, is passed by one look at whole arrays."""
    geometries = np.array([feature.geometry for feature in layer.features], dtype=object)
    single = shapely.get_num_geometries(geometries) == 1
    multi = np.isin(shapely.get_type_id(geometries), _MULTI_TYPES)
    geometries = np.where(single & multi, shapely.get_geometry(geometries, 0), geometries)
    sound = _sound(geometries, dimensions=dimensions)
    return [
        Repaired(geometry=geometry, notes=feature.notes) if good else _repaired_one(feature, dimensions)
        for feature, geometry, good in zip(layer.features, geometries, sound, strict=True)
    ]


def _repaired_one(feature: RawFeature, dimensions: tuple[int, ...]) -> Repaired:
    if feature.fault:
        return Repaired(geometry=None, fault=feature.fault)
    result = repaired(feature.geometry, dimensions=dimensions)
    return Repaired(geometry=result.geometry, notes=(*feature.notes, *result.notes), fault=result.fault)


def _sound(geometries: npt.NDArray[np.object_], *, dimensions: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Tell which geometries a role can use as they are, (n,)."""
    ordinates, owners = shapely.get_coordinates(geometries, return_index=True)
    off_the_map = owners[~(np.abs(ordinates) < LARGEST_ORDINATE).all(axis=1)]
    geometries = geometries.copy()
    geometries[off_the_map] = None  # GEOS refuses some of what follows over them
    fewer = shapely.remove_repeated_points(geometries)
    sound: npt.NDArray[np.bool_] = (
        ~shapely.is_missing(geometries)
        & ~shapely.is_empty(geometries)
        & ~shapely.has_z(geometries)
        & ~shapely.has_m(geometries)
        & np.isin(shapely.get_dimensions(geometries), dimensions)
        & (shapely.get_type_id(geometries) != GeometryType.GEOMETRYCOLLECTION)
        & (shapely.get_num_coordinates(fewer) == shapely.get_num_coordinates(geometries))
        & shapely.is_valid(geometries)
        & (~_is_area(geometries) | (shapely.area(geometries) > SLIVER * shapely.length(geometries) ** 2))
    )
    return sound


def _is_area(geometries: npt.NDArray[np.object_]) -> npt.NDArray[np.bool_]:
    areas: npt.NDArray[np.bool_] = np.isin(shapely.get_type_id(geometries), _AREA_TYPES)
    return areas


def _told(layer: RawLayer, results: list[Repaired], *, source: Source) -> tuple[Fault, ...]:
    """Tell the repairs and the omissions, alike ones together, naming the first few features of each."""
    groups: defaultdict[tuple[str, str], list[RawFeature]] = defaultdict(list)
    for feature, result in zip(layer.features, results, strict=True):
        if result.fault:
            groups[result.fault, "left out"].append(feature)
        for note in result.notes if not result.fault else ():
            groups[note, ""].append(feature)
    return tuple(
        Fault(
            where=source.name,
            feature=_named(features, source=source),
            found=f"{found} ({_count_of(len(features), omitted)})" if len(features) > 1 or omitted else found,
            remedy="see to the source if it matters" if omitted else "",
        )
        for (found, omitted), features in groups.items()
    )


def _count_of(number: int, omitted: str) -> str:
    features = f"{number:,} feature{'s' if number != 1 else ''}"
    return f"{features} {omitted}".strip()


def _named(features: list[RawFeature], *, source: Source) -> str:
    labels = [feature_label(feature, id_field=source.id_field) for feature in features[:_MOST_NAMED]]
    more = f" and {len(features) - _MOST_NAMED:,} more" if len(features) > _MOST_NAMED else ""
    return ", ".join(labels) + more


def _off_the_earth(features: list[RawFeature], *, source: Source) -> tuple[Fault, ...]:
    if not features:
        return ()
    return (
        Fault(
            where=source.name,
            feature=_named(features, source=source),
            found=f"its coordinates cannot be degrees ({_count_of(len(features), 'left out')})",
            must="longitudes lie within -180 and 180, latitudes within -90 and 90",
        ),
    )


def _nothing_usable(layer: RawLayer, *, source: Source) -> Fault:
    number = len(layer.features)
    return Fault(
        where=source.name,
        found=f"none of its {number:,} features can be used as {source.role}"
        if number > 1
        else f"its only feature cannot be used as {source.role}",
        remedy="check that it is the right file for this role, and that its geometry was exported",
    )
