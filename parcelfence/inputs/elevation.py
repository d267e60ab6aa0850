"""Elevations: the part of a raster around a property, in metres."""

from __future__ import annotations

import math
import re
import struct
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from pyproj import CRS

from parcelfence.errors import CrsError, Fault, InputError, MissingExtraError
from parcelfence.inputs.elevation_unit import unit_of_elevations
from parcelfence.inputs.files import check_file, check_signature
from parcelfence.inputs.raw import library_faults
from parcelfence.inputs.source_crs import check_definition, check_definition_within, crs_from_words, horizontal_crs

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.source import ElevationSource

__all__ = [
    "BEYOND_CELLS",
    "ElevationGrid",
    "ElevationRaster",
    "cells_of",
    "elevation_grid",
    "elevation_raster",
]

_MOST_CELLS: Final = 4_000_000
"""More are not held: of a larger part every second or every tenth row and column is taken as one, averaged."""
_ON_EARTH_M: Final = (-500.0, 9000.0)
"""No dry land lies lower or higher (shore of the Dead Sea -430 m, Everest 8849 m, from memory)."""
_CACHE_MB: Final = 64
"""Blocks of the file that are kept while reading; by default that would be a twentieth of the memory."""
_WHOLE: Final = 1.0 - 1e-6
_KINDS: Final = "elevations are read from a GeoTIFF"
_WHOLE_FILE: Final = "check that it is the right file, and whole; another kind of raster is converted with rio convert"
_BIG_TIFF: Final = 43
_ASCII: Final = 2
_MOST_TAGS: Final = 1_000
_LONGEST_TEXT: Final = 1 << 20
_WORLD_FILES: Final = (".tfw", ".tifw", ".wld")
_LARGEST_WORLD_FILE: Final = 1_000
_NUMBER: Final = re.compile(r"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?")
BEYOND_CELLS: Final = 0.5
"""The outer cells hold so far beyond the edge: what is cut to a property seldom ends exactly on its lot lines."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ElevationRaster:
    """What a raster says of itself.

    Parameters
    ----------
    source : ElevationSource
        The file.
    crs : CRS
        Its horizontal CRS.
    crs_origin : str
        How that is known.
    unit_m : float
        Size of the unit of its elevations.
    affine : ndarray, shape (2, 3)
        Takes column and row, counted from the outer corner of the first cell, to x and y.
    columns, rows : int
        Its size.
    remarks : tuple of str
        What was assumed.
    """

    source: ElevationSource
    crs: CRS
    crs_origin: str
    unit_m: float
    affine: NDArray[np.float64]
    columns: int
    rows: int
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class ElevationGrid:
    """The part of a raster around a property.

    Parameters
    ----------
    heights_m : ndarray, shape (rows, columns)
        Elevation of each cell; nan where the raster has none.
    affine : ndarray, shape (2, 3)
        As for :class:`ElevationRaster`, of this part.
    remarks : tuple of str
        What had to be left out.
    """

    heights_m: NDArray[np.float64]
    affine: NDArray[np.float64]
    remarks: tuple[str, ...] = ()


def elevation_raster(source: ElevationSource) -> ElevationRaster:
    """Read what a raster says of itself.

    Raises
    ------
    InputError
        If it is no raster of elevations, lies nowhere, or does not say its CRS or unit.
    MissingExtraError
        If rasterio is not installed.
    """
    with _opened(source) as dataset:
        _check_elevations(dataset, name=source.name)
        stated = _stated_crs(dataset, name=source.name)
        crs = horizontal_crs(stated, where=source.name) if stated is not None else _given_crs(source)
        affine = _affine(dataset, source=source)
        unit_m, remarks = unit_of_elevations(
            stated or crs, band_unit=dataset.units[0] or "", given=source.unit, where=source.name
        )
        if dataset.count > 1:
            remarks += (f"{source.name} has {dataset.count} bands: the first is taken as elevations",)
        return ElevationRaster(
            source=source,
            crs=crs,
            crs_origin="file" if stated is not None else "given",
            unit_m=unit_m,
            affine=affine,
            columns=dataset.width,
            rows=dataset.height,
            remarks=remarks,
        )


def elevation_grid(raster: ElevationRaster, *, ground: BaseGeometry, around: BaseGeometry) -> ElevationGrid:
    """Read the part of a raster around a property, and no more of it.

    Parameters
    ----------
    raster : ElevationRaster
        From :func:`elevation_raster`.
    ground : BaseGeometry
        The property, in the CRS of the raster.
    around : BaseGeometry
        What is to be read, as far as the raster reaches.

    Raises
    ------
    InputError
        If the raster does not cover the property, or has no elevation on it.
    """
    name = raster.source.name
    cells = shapely.transform(ground, lambda xy: cells_of(xy, affine=raster.affine))
    extent = shapely.box(0, 0, raster.columns, raster.rows)
    if cells.intersection(extent.buffer(BEYOND_CELLS, join_style="mitre")).area < _WHOLE * cells.area:
        found = f"it covers {_percent_below(cells.intersection(extent).area / cells.area)} of the property"
        must, remedy = "it must cover all of it", "join it with the neighbouring rasters, or check its CRS"
        raise InputError(Fault(where=name, found=found, must=must, remedy=remedy))
    first, last = np.reshape(shapely.transform(around, lambda xy: cells_of(xy, affine=raster.affine)).bounds, (2, 2))
    first = np.maximum(np.floor(first) - 1, 0).astype(int)
    last = np.minimum(np.ceil(last) + 1, [raster.columns, raster.rows]).astype(int)
    heights_m, remarks = _part(raster, first=first, last=last)
    scale = np.diag((last - first) / heights_m.shape[::-1])
    affine = np.column_stack([raster.affine[:, :2] @ scale, raster.affine @ [*first, 1.0]])
    missing = _missing_share(heights_m, ground=shapely.transform(ground, lambda xy: cells_of(xy, affine=affine)))
    if missing > 0:
        remarks += (f"{name} has no elevation on {missing:.1%} of the property: wire there is taken as lying flat",)
    if missing >= _WHOLE:
        raise InputError(Fault(where=name, found="it has no elevation on the property", remedy="give another raster"))
    return ElevationGrid(heights_m=heights_m, affine=affine, remarks=remarks)


def cells_of(xy: NDArray[np.float64], *, affine: NDArray[np.float64]) -> NDArray[np.float64]:
    """Column and row, (n, 2), of places given by x and y, (n, 2), counted from the outer corner of the first cell."""
    return np.asarray((xy - affine[:, 2]) @ np.linalg.inv(affine[:, :2]).T)


def _part(
    raster: ElevationRaster, *, first: NDArray[np.int_], last: NDArray[np.int_]
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Read a part, from a column and row up to another, in metres; nan where no elevation, or none on earth, stands."""
    from rasterio.enums import Resampling
    from rasterio.windows import Window

    (left, top), (columns, rows) = first.tolist(), (last - first).tolist()
    step = max(1, math.ceil(math.sqrt(columns * rows / _MOST_CELLS)))
    with _opened(raster.source) as dataset:
        band = dataset.read(
            1,
            window=Window(left, top, columns, rows),
            out_shape=(math.ceil(rows / step), math.ceil(columns / step)),
            out_dtype="float64",
            masked=True,
            resampling=Resampling.average if step > 1 else Resampling.nearest,
        )
        heights_m = (band.filled(np.nan) * dataset.scales[0] + dataset.offsets[0]) * raster.unit_m
    low, high = _ON_EARTH_M
    wrong = ~np.isnan(heights_m) & ~((heights_m >= low) & (heights_m <= high))
    heights_m[wrong] = np.nan
    remarks: tuple[str, ...] = ()
    if step > 1:
        remarks += (f"{raster.source.name} is finer than is needed: {step} by {step} cells are averaged to one",)
    if wrong.any():
        remarks += (f"{raster.source.name}: {wrong.sum()} cells hold no elevation on earth, and are left out",)
    return heights_m, remarks


def _missing_share(heights_m: NDArray[np.float64], *, ground: BaseGeometry) -> float:
    """Share of a property, given in cells, on which there is no elevation."""
    row, column = np.nonzero(np.isnan(heights_m))
    shapely.prepare(ground)
    return min(1.0, np.count_nonzero(shapely.contains_xy(ground, column + 0.5, row + 0.5)) / ground.area)


def _check_elevations(dataset: Any, *, name: str) -> None:
    if not dataset.count:
        found, remedy = "it holds several rasters, none of its own", "take the one of elevations out into a file"
    elif dataset.colorinterp[0].name in {"red", "palette"}:
        found, remedy = "it is a picture", "give the raster of elevations itself, not a shaded or coloured one"
    else:
        return
    raise InputError(Fault(where=name, found=found, must="its first band must hold elevations", remedy=remedy))


def _given_crs(source: ElevationSource) -> CRS:
    if source.crs_if_missing:
        return crs_from_words(source.crs_if_missing)
    raise CrsError(
        Fault(
            where=source.name,
            found="the raster does not say in which coordinate reference system it is",
            must="it must be known; it is never guessed",
            remedy='give it as the maker of the data states it, in SITE.toml as elevation = { path = "FILE", '
            'crs = "EPSG:6535" }',
        )
    )


def _stated_crs(dataset: Any, *, name: str) -> CRS | None:
    if not dataset.crs:
        return None
    wkt = dataset.crs.to_wkt()
    check_definition(wkt, where=name)
    return CRS.from_wkt(wkt)


def _affine(dataset: Any, *, source: ElevationSource) -> NDArray[np.float64]:
    """Give the place of the cells as the raster states it, or the world file of six numbers beside it."""
    stated = np.array(dataset.transform[:6], dtype=np.float64).reshape(2, 3)
    if not dataset.transform.is_identity:
        return stated
    for suffix in _WORLD_FILES:
        path = source.path.with_suffix(suffix)
        if path.is_file() and path.stat().st_size < _LARGEST_WORLD_FILE:
            words = path.read_text(encoding="ascii", errors="replace").split()
            numbers = [float(word) for word in words if _NUMBER.fullmatch(word)]
            if len(numbers) == len(words) == stated.size:
                a, d, b, e, c, f = numbers  # in the order of the file; c and f are the middle of the first cell
                return np.array([[a, b, c - (a + b) / 2], [d, e, f - (d + e) / 2]])
    found, remedy = "it does not say where on the ground its cells lie", "give a georeferenced raster"
    raise InputError(Fault(where=source.name, found=found, remedy=remedy))


def _texts_of_tiff(path: Path) -> bytes:
    """Give the texts in the first directory of a TIFF (TIFF 6.0, section 2; BigTIFF): one of them may hold a CRS."""
    with path.open("rb") as stream:
        head = stream.read(16)
        order = "<" if head[:2] == b"II" else ">"
        big = struct.unpack(order + "H", head[2:4])[0] == _BIG_TIFF
        at, entry, count_code = (8, "HHQQ", "Q") if big else (4, "HHII", "H")
        offset_code = "Q" if big else "I"
        (first,) = struct.unpack_from(order + offset_code, head, at)
        stream.seek(first)
        (count,) = struct.unpack(order + count_code, stream.read(struct.calcsize(order + count_code)))
        size = struct.calcsize(order + entry)
        directory = stream.read(size * min(count, _MOST_TAGS))
        texts = []
        for _, kind, length, place in struct.iter_unpack(order + entry, directory):
            if kind == _ASCII and length > struct.calcsize(order + offset_code):
                stream.seek(place)
                texts.append(stream.read(min(length, _LONGEST_TEXT)))
    return b"\n".join(texts)


@contextmanager
def _opened(source: ElevationSource) -> Generator[Any]:
    """Open a raster by the driver of its kind alone, and nothing beside it or that it names."""
    check_file(source.path)
    check_signature(source.path, among={".tif"}, must=_KINDS)
    with library_faults(source.name, found="it cannot be read as a raster", must=_KINDS, remedy=_WHOLE_FILE):
        check_definition_within(_texts_of_tiff(source.path), where=source.name)
    try:
        import rasterio
        from rasterio.errors import NotGeoreferencedWarning
    except ImportError as error:
        raise MissingExtraError.of("dem", package="rasterio", purpose="A raster of elevations") from error
    alone = {"GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR", "GDAL_PAM_ENABLED": False}
    with (
        library_faults(source.name, found="it cannot be read as a raster", must=_KINDS, remedy=_WHOLE_FILE),
        rasterio.Env(GDAL_CACHEMAX=_CACHE_MB, **alone),
    ):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # refused in words of our own
            dataset = rasterio.open(source.path.absolute(), driver="GTiff")
        with dataset:
            if "OVERVIEW_FILE" in dataset.tags(ns="OVERVIEWS"):
                found = "it names another file as its overview"
                remedy = "copy it into a new GeoTIFF, for example with rio convert"
                raise InputError(Fault(where=source.name, found=found, must="no other file is read", remedy=remedy))
            yield dataset


def _percent_below(share: float) -> str:
    """Write a share that is less than all without rounding it up to all."""
    return f"{math.floor(share * 1000) / 10:g} %"
