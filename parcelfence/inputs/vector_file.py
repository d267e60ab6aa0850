"""Vector files read through GDAL: shapefile (zipped too), GeoPackage, FlatGeobuf, and what else Fiona opens.

Fiona reads record by record, so that a broken feature is named and the others are kept.  Layers of many thousand
features take pyogrio's bulk path, which is some twenty times faster.
"""

from __future__ import annotations

import logging
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pyproj import CRS

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.raw import RawFeature, RawLayer, tidy_attributes

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["layer_names", "read_vector_file"]

_INSIDE_A_ZIP: Final = (".shp", ".gpkg", ".fgb", ".geojson")
_BULK_FROM: Final = 20_000
"""Features from which the bulk path is taken; it names broken features only by their absence."""
_SHAPEFILE_PARTS: Final = {".shx": "the index", ".dbf": "the attributes"}

# Fiona logs every GDAL error that it also raises; a person gets one message, not two.
logging.getLogger("fiona").addHandler(logging.NullHandler())


def layer_names(path: Path) -> tuple[str, ...]:
    """Name the layers of a vector file.

    Raises
    ------
    InputError
        If the file cannot be opened.
    """
    if path.suffix.lower() == ".gpkg":
        from parcelfence.inputs.geopackage import feature_tables

        return feature_tables(path)
    import fiona

    address = _address(path)
    try:
        names = tuple(fiona.listlayers(address))
    except Exception as error:  # GDAL's drivers raise what they like over a damaged file
        raise InputError(_unreadable(path, error)) from error
    if not names:
        raise InputError(_unreadable(path))
    return names


def read_vector_file(path: Path, *, layer: str | None = None, role: str = "") -> RawLayer:
    """Read one layer.

    Parameters
    ----------
    path : Path
        The file.
    layer : str, optional
        Layer of a file that holds several.
    role : str
        Role of the source; a layer of that name is taken where none is named.

    Raises
    ------
    InputError
        If the file is none that can be read, or the layer is not in it or not clear.
    """
    import fiona

    remarks = _shapefile_remarks(path)
    chosen = _chosen_layer(path, layer=layer, role=role)
    address = _address(path)
    try:
        with fiona.open(address, layer=chosen) as collection:
            crs, doubts = _crs(collection, where=path.name)
            fields = tuple(collection.schema["properties"])
            many = path.suffix.lower() != ".zip" and len(collection) > _BULK_FROM
            features = _bulk(path, layer=chosen) if many else tuple(_records(collection))
    except Exception as error:  # as above
        raise InputError(_unreadable(path, error)) from error
    return RawLayer(name=chosen, features=features, crs=crs, fields=fields, remarks=(*remarks, *doubts))


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
            yield RawFeature(position=position, geometry=None, attributes={}, fault=f"it cannot be read ({error})")
        else:
            attributes = tidy_attributes(dict(record.properties))
            try:
                geometry = None if record.geometry is None else shape(record.geometry)
                yield RawFeature(position=position, geometry=geometry, attributes=attributes)
            except Exception as error:  # noqa: BLE001  (as above)
                fault = f"its geometry cannot be read ({error})"
                yield RawFeature(position=position, geometry=None, attributes=attributes, fault=fault)
        position += 1


def _bulk(path: Path, *, layer: str) -> tuple[RawFeature, ...]:
    import numpy as np
    import pyogrio
    import shapely

    meta, _, wkb, columns = pyogrio.raw.read(path, layer=layer, datetime_as_string=True)
    geometries = shapely.from_wkb(wkb, on_invalid="fix")
    names = [str(name) for name in meta["fields"]]
    lists = [np.asarray(column).tolist() for column in columns]
    rows: Iterator[tuple[Any, ...]] = zip(*lists, strict=True) if lists else iter([()] * len(geometries))
    return tuple(
        RawFeature(position=position, geometry=geometry, attributes=tidy_attributes(dict(zip(names, row, strict=True))))
        for position, (geometry, row) in enumerate(zip(geometries, rows, strict=True))
    )


def _address(path: Path) -> str:
    """Give the address by which GDAL opens the file; in an archive, that of the one vector file in it."""
    if path.suffix.lower() != ".zip":
        return str(path)
    members = _members(path)
    if len({Path(member).suffix.lower() for member in members}) == 1 and all(
        member.lower().endswith(".shp") for member in members
    ):
        folders = {str(Path(member).parent) for member in members}
        if len(folders) == 1:
            folder = folders.pop()
            return f"zip://{path}" if folder == "." else f"zip://{path}!{folder}"
    return f"zip://{path}!{members[0]}"


def _members(path: Path) -> list[str]:
    try:
        with zipfile.ZipFile(path) as archive:
            names = [
                name
                for name in archive.namelist()
                if name.lower().endswith(_INSIDE_A_ZIP) and not name.startswith("__MACOSX")
            ]
    except (zipfile.BadZipFile, OSError) as error:
        raise InputError(_unreadable(path, error)) from error
    if not names:
        raise InputError(
            Fault(
                where=path.name,
                found="the archive holds no shapefile, GeoPackage, FlatGeobuf or GeoJSON",
                remedy="give the archive as it was downloaded, or the file from it",
            )
        )
    return sorted(names)


def _chosen_layer(path: Path, *, layer: str | None, role: str) -> str:
    names = layer_names(path)
    if layer is not None:
        if layer in names:
            return layer
        raise InputError(
            Fault(where=path.name, found=f"there is no layer {layer!r}", remedy=near_matches(layer, names))
        )
    alike = [name for name in names if name.casefold() in {role, role.removesuffix("s")}]
    if len(names) == 1 or len(alike) == 1:
        return (alike or list(names))[0]
    listed = ", ".join(names)
    raise InputError(
        Fault(
            where=path.name,
            found=f"the file holds {len(names)} layers ({listed}), and none is named {role or 'as the role'}",
            must="it must be clear which layer is meant",
            remedy=f"name it as FILE:LAYER, for example {path.name}:{names[0]}",
        )
    )


def _crs(collection: Any, *, where: str) -> tuple[CRS | None, tuple[Fault, ...]]:
    """Give the CRS that the file states; none where it states none, or one that cannot be understood, which is told."""
    try:
        wkt = collection.crs_wkt
        crs = CRS.from_wkt(wkt) if wkt else None
    except Exception as error:  # noqa: BLE001  (GDAL's own errors have no public class)
        reason = str(error).splitlines()[0].rstrip(".")
        return None, (Fault(where=where, found=f"the CRS that it states cannot be understood ({reason[:120]})"),)
    return (None, ()) if crs is None or crs.is_engineering else (crs, ())


def _shapefile_remarks(path: Path) -> tuple[Fault, ...]:
    if path.suffix.lower() != ".shp":
        return ()
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


def _unreadable(path: Path, error: Exception | None = None) -> Fault:
    reason = str(error or "").strip().rstrip(".").replace(str(path), path.name)
    telling = reason and not reason.startswith("Failed to open dataset")
    return Fault(
        where=path.name,
        found="it cannot be opened as a vector file" + (f" ({reason})" if telling else ""),
        must="what is read is GeoJSON, shapefile (also zipped), GeoPackage, FlatGeobuf, and CSV for survey points",
        remedy="check that it is the right file and whole, or export it again as one of these",
    )
