"""The reader: a source in, a tidy table out, with every repair said and every fault of the file gathered."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from pyproj import CRS
from shapely import GeometryType

from parcelfence.antimeridian import join_across
from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.coordinates import checked_coordinates
from parcelfence.inputs.doubts import coordinate_step_m, doubts
from parcelfence.inputs.formats import content_hash, read_raw
from parcelfence.inputs.repair import LARGEST_ORDINATE, ROLE_DIMENSIONS, SLIVER, Repaired, repaired
from parcelfence.inputs.source_crs import source_crs
from parcelfence.inputs.table import LeftOut, Record, Table

if TYPE_CHECKING:
    import numpy.typing as npt

    from parcelfence.inputs.raw import RawFeature, RawLayer
    from parcelfence.inputs.source import Source
    from parcelfence.inputs.vector_file import Window

__all__ = ["read_table"]

_REQUIRED_ROLES: Final = frozenset({"parcels"})
_OFF_THE_EARTH: Final = "its coordinates cannot be degrees, which lie within -180 and 180, -90 and 90"
_UNKNOWN: Final = CRS.from_epsg(4326)
"""Stands for the CRS of a file of which nothing can be used."""
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
    pairs = list(zip(layer.features, results, strict=True))
    kept = [(feature, result) for feature, result in pairs if result.geometry is not None]
    left_out = [_left_out(feature, reason=result.fault) for feature, result in pairs if result.geometry is None]
    if not kept and window is None:
        raise InputError(_nothing_usable(left_out, source=source))
    crs = source_crs(layer, source)
    geometries = np.array([result.geometry for _, result in kept], dtype=object)
    geometries, remarks, possible = checked_coordinates(geometries, crs.crs, source=source)
    off = [
        _left_out(feature, reason=_OFF_THE_EARTH) for (feature, _), good in zip(kept, possible, strict=True) if not good
    ]
    step_m = coordinate_step_m(geometries, crs.crs)
    return Table(
        source=source,
        crs=crs.crs,
        records=tuple(
            Record(position=feature.position, geometry=geometry, attributes=feature.attributes, notes=result.notes)
            for (feature, result), geometry, good in zip(kept, geometries, possible, strict=True)
            if good
        ),
        left_out={one.position: one for one in (*off, *left_out)},
        remarks=(*layer.remarks, *crs.remarks, *remarks, *doubts(layer, step_m=step_m, source=source)),
        fields=layer.fields,
        sha256=content_hash(source) if window is None else "",
        crs_origin=crs.origin,
        features=len(layer.features),
        rounded_to_m=step_m,
    )


def _left_out(feature: RawFeature, *, reason: str) -> LeftOut:
    return LeftOut(position=feature.position, attributes=feature.attributes, reason=reason)


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
        remarks=(*layer.remarks, *crs.remarks, fault),
        fields=layer.fields,
        sha256=content_hash(source) if window is None else "",
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


def _nothing_usable(left_out: list[LeftOut], *, source: Source) -> list[Fault]:
    number = len(left_out)
    fault = Fault(
        where=source.name,
        found=f"none of its {number:,} features can be used as {source.role}"
        if number > 1
        else f"its only feature cannot be used as {source.role}",
        remedy="check that it is the right file for this role, and that its geometry was exported",
    )
    return [
        fault,
        *Table(source=source, crs=_UNKNOWN, records=(), left_out={one.position: one for one in left_out}).repairs,
    ]
