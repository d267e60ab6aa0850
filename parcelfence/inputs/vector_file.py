"""Vector files read through GDAL: shapefile, GeoPackage, FlatGeobuf, any of them zipped, and JSON of other makers.

Fiona reads record by record, so that a broken feature is named and the others are kept.  Layers of many thousand
features take pyogrio's bulk path, which is some twenty times faster.  Each suffix has its one driver, and a file is
opened only after its first bytes have said that it is of that kind.
"""

from __future__ import annotations

import logging
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pyproj import CRS

from parcelfence.errors import CrsError, Fault, InputError, near_matches
from parcelfence.inputs.files import GEOJSON_SUFFIXES, check_signature, feature_tables, unpacked
from parcelfence.inputs.geojson_text import read_geojson
from parcelfence.inputs.raw import RawFeature, RawLayer, library_faults, plain_reason, tidy_attributes
from parcelfence.inputs.source_crs import check_definition, check_definition_within

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator
    from pathlib import Path

__all__ = ["Box", "Rows", "Window", "count_features", "layer_names", "read_vector_file"]

_DRIVERS: Final = {".shp": ("ESRI Shapefile",), ".gpkg": ("GPKG",), ".fgb": ("FlatGeobuf",)} | dict.fromkeys(
    GEOJSON_SUFFIXES, ("ESRIJSON", "TopoJSON")
)
_SLICED: Final = frozenset({".gpkg", ".fgb", ".shp"})
"""Files of which a part can be read without the rest."""
_FIRST_FID: Final = {".gpkg": 1}
"""Number that GDAL gives to the first feature; 0 for other files."""
_BULK_FROM: Final = 20_000
"""Features from which the bulk path is taken; it names broken features only by their absence."""
_LARGEST_HEADER: Final = 1 << 20
_SHAPEFILE_PARTS: Final = {".shx": "the index", ".dbf": "the attributes"}
_READ: Final = "what is read is GeoJSON, shapefile (also zipped), GeoPackage, FlatGeobuf, and CSV for survey points"
_AGAIN: Final = "check that it is the right file and whole, or export it again as one of these"

# Fiona logs every GDAL error that it also raises; a person gets one message, not two.
logging.getLogger("fiona").addHandler(logging.NullHandler())


def layer_names(path: Path) -> tuple[str, ...]:
    """Name the layers of a vector file.

    Raises
    ------
    InputError
        If the file cannot be opened.
    """
    if path.suffix.lower() != ".zip":
        return _names(path)
    with unpacked(path) as members:
        return tuple(name for member in members for name in _names(member))


@dataclass(frozen=True)
class Rows:
    """Features of a file from a first place up to but without a last one."""

    start: int
    stop: int


@dataclass(frozen=True)
class Box:
    """Features of a file that meet a box of west, south, east and north in its own CRS."""

    bounds: tuple[float, float, float, float]


Window = Rows | Box


def count_features(path: Path, *, layer: str | None = None, role: str = "") -> int | None:
    """Count the features of a layer without reading it; None for a file that can only be read whole.

    Raises
    ------
    InputError
        If the file cannot be opened, or the layer is not in it or not clear.
    """
    if path.suffix.lower() not in _SLICED:
        return None
    chosen = _chosen_layer(path.name, list(_names(path)), layer=layer, role=role)
    with _opened(path, layer=chosen) as collection:
        return len(collection)


def read_vector_file(path: Path, *, layer: str | None = None, role: str = "", window: Window | None = None) -> RawLayer:
    """Read one layer.

    Parameters
    ----------
    path : Path
        The file.
    layer : str, optional
        Layer of a file that holds several.
    role : str
        Role of the source; a layer of that name is taken where none is named.
    window : Rows or Box, optional
        Part of the layer that is wanted, of a file of which :func:`count_features` gives a number.

    Raises
    ------
    InputError
        If the file is none that can be read, or the layer is not in it or not clear.
    """
    with _members(path) as members:
        layers = [(name, member) for member in members for name in _names(member)]
        chosen = _chosen_layer(path.name, [name for name, _ in layers], layer=layer, role=role)
        member = next(member for name, member in layers if name == chosen)
        return _read(member, layer=chosen, name=path.name, window=window)


@contextmanager
def _members(path: Path) -> Generator[tuple[Path, ...]]:
    if path.suffix.lower() != ".zip":
        yield (path,)
        return
    with unpacked(path) as members:
        yield members


def _names(path: Path) -> tuple[str, ...]:
    suffix = path.suffix.lower()
    if suffix == ".gpkg":
        return feature_tables(path)
    if suffix in GEOJSON_SUFFIXES:
        return (path.stem,)
    check_signature(path, among=_DRIVERS, must=_READ)
    if suffix == ".shp":
        return (path.stem,)
    with _opened(path) as collection:
        return (str(collection.name),)


@contextmanager
def _opened(path: Path, *, layer: str | None = None) -> Generator[Any]:
    """Open a file by the driver of its suffix alone; an absolute path is never taken for the name of a service."""
    import fiona

    _check_stated_crs(path)
    options = {"enabled_drivers": list(_DRIVERS[path.suffix.lower()]), "allow_unsupported_drivers": True}
    with (
        library_faults(path.name, found="it cannot be opened as a vector file", must=_READ, remedy=_AGAIN),
        fiona.open(str(path.absolute()), layer=layer, **options) as opened,
    ):
        yield opened


def _check_stated_crs(path: Path) -> None:
    """Look at the text of the CRS before GDAL does, which would follow it to a grid; raises CrsError."""
    stated = path.with_suffix(".prj") if path.suffix.lower() == ".shp" else path
    if stated.is_file() and path.suffix.lower() in {".shp", ".fgb"}:
        with stated.open("rb") as stream:
            check_definition_within(stream.read(_LARGEST_HEADER), where=stated.name)


def _read(path: Path, *, layer: str, name: str, window: Window | None) -> RawLayer:
    suffix = path.suffix.lower()
    if suffix == ".geojson" and path.name != name:  # out of an archive
        return read_geojson(path.read_bytes(), name=name)
    remarks = _shapefile_remarks(path) if suffix == ".shp" else ()
    with _opened(path, layer=None if suffix in GEOJSON_SUFFIXES else layer) as collection:
        crs, doubts = _crs(collection, where=name)
        fields = tuple(collection.schema["properties"])
        if window is not None or len(collection) > _BULK_FROM:
            features = _bulk(path, layer=layer, window=window)
        else:
            features = tuple(_records(collection))
    return RawLayer(name=layer, features=features, crs=crs, fields=fields, remarks=(*remarks, *doubts))


def _records(collection: Any) -> Iterator[RawFeature]:
    """Read on past every record that Fiona cannot give, and say why it could not."""
    from shapely.geometry import shape

    records = iter(collection)
    position = 0
    while True:
        try:
            record = next(records)
        except StopIteration:
            return
        except Exception as error:  # noqa: BLE001  (GDAL's drivers raise what they like over one bad record)
            fault = f"it cannot be read{plain_reason(error)}"
            yield RawFeature(position=position, geometry=None, attributes={}, fault=fault)
        else:
            attributes = tidy_attributes(dict(record.properties))
            try:
                geometry = None if record.geometry is None else shape(record.geometry)
                yield RawFeature(position=position, geometry=geometry, attributes=attributes)
            except Exception as error:  # noqa: BLE001  (as above)
                fault = f"its geometry cannot be read{plain_reason(error)}"
                yield RawFeature(position=position, geometry=None, attributes=attributes, fault=fault)
        position += 1


def _bulk(path: Path, *, layer: str, window: Window | None) -> tuple[RawFeature, ...]:
    import numpy as np
    import pyogrio
    import shapely

    options: dict[str, Any] = {"datetime_as_string": True, "return_fids": isinstance(window, Box)}
    if isinstance(window, Rows):
        options |= {"skip_features": window.start, "max_features": window.stop - window.start}
    elif isinstance(window, Box):
        options |= {"bbox": window.bounds}
    named = None if path.suffix.lower() == ".shp" else layer
    meta, fids, wkb, columns = pyogrio.raw.read(path.absolute(), layer=named, **options)
    geometries = shapely.from_wkb(wkb, on_invalid="fix")
    names = [str(name) for name in meta["fields"]]
    lists = [np.asarray(column).tolist() for column in columns]
    rows: Iterator[tuple[Any, ...]] = zip(*lists, strict=True) if lists else iter([()] * len(geometries))
    if fids is None:
        places = range(window.start if isinstance(window, Rows) else 0, len(geometries) + 2**62)
    else:
        places = (np.asarray(fids) - _FIRST_FID.get(path.suffix.lower(), 0)).tolist()
    return tuple(
        RawFeature(position=place, geometry=geometry, attributes=tidy_attributes(dict(zip(names, row, strict=True))))
        for place, geometry, row in zip(places, geometries, rows, strict=False)
    )


def _chosen_layer(file: str, names: list[str], *, layer: str | None, role: str) -> str:
    if layer is not None:
        if layer in names:
            return layer
        raise InputError(Fault(where=file, found=f"there is no layer {layer!r}", remedy=near_matches(layer, names)))
    alike = [name for name in names if name.casefold() in {role, role.removesuffix("s")}]
    if len(names) == 1 or len(alike) == 1:
        return (alike or list(names))[0]
    listed = ", ".join(names)
    raise InputError(
        Fault(
            where=file,
            found=f"the file holds {len(names)} layers ({listed}), and none is named {role or 'as the role'}",
            must="it must be clear which layer is meant",
            remedy=f"name it as FILE:LAYER, for example {file}:{names[0]}",
        )
    )


def _crs(collection: Any, *, where: str) -> tuple[CRS | None, tuple[Fault, ...]]:
    """Give the CRS that the file states; none where it states none, or one that cannot be understood, which is told."""
    try:
        wkt = collection.crs_wkt
        check_definition(wkt or "", where=where)
        crs = CRS.from_wkt(wkt) if wkt else None
    except CrsError:
        raise
    except Exception as error:  # noqa: BLE001  (GDAL's own errors have no public class)
        return None, (Fault(where=where, found=f"the CRS that it states cannot be understood{plain_reason(error)}"),)
    return (None, ()) if crs is None or crs.is_engineering else (crs, ())


def _shapefile_remarks(path: Path) -> tuple[Fault, ...]:
    missing = [suffix for suffix in _SHAPEFILE_PARTS if not _has_part(path, suffix)]
    if ".shx" in missing:
        raise InputError(
            Fault(
                where=path.name,
                found="the file " + path.with_suffix(".shx").name + " is not beside it",
                must="a shapefile is several files of one name: .shp, .shx and .dbf, and .prj for the CRS",
                remedy="copy all of them, or give the .zip as it was downloaded",
            )
        )
    return tuple(
        Fault(
            where=path.name,
            found=f"{path.with_suffix(suffix).name} is not beside it: {_SHAPEFILE_PARTS[suffix]} are missing",
            remedy="copy it too if they are needed",
        )
        for suffix in missing
    )


def _has_part(path: Path, suffix: str) -> bool:
    return path.with_suffix(suffix).exists() or path.with_suffix(suffix.upper()).exists()
