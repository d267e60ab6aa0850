"""GeoJSON (RFC 7946, its 2008 forerunner, and sequences of either), feature by feature.

It is read here rather than by GDAL because GDAL gives up a whole feature, or the file, over things that have one right
answer: a ring that was not closed, a column with text among its numbers, heights in some vertices only.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry import shape

from parcelfence.errors import CrsError, Fault, InputError
from parcelfence.inputs.raw import RawFeature, RawLayer, plain_reason, tidy_attributes
from parcelfence.inputs.source_crs import check_definition
from parcelfence.text import visible

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely.geometry.base import BaseGeometry

__all__ = ["is_geojson", "read_geojson"]

_GEOMETRY_TYPES: Final = (
    "Point",
    "MultiPoint",
    "LineString",
    "MultiLineString",
    "Polygon",
    "MultiPolygon",
    "GeometryCollection",
)
_DEPTHS: Final = {
    "Point": 0,
    "MultiPoint": 1,
    "LineString": 1,
    "MultiLineString": 2,
    "Polygon": 2,
    "MultiPolygon": 3,
}
_MOST_DIGITS: Final = 40
_RECORD_SEPARATOR: Final = "\x1e"
_WGS84: Final = 4326
_LON_LAT_NAMES: Final = ("CRS84", "EPSG::4326", "EPSG:4326")
_CLOSED_RING: Final = "unclosed ring closed"


def is_geojson(content: bytes) -> bool:
    """Tell GeoJSON from the other formats that are written in JSON (Esri's, TopoJSON), by their opening words."""
    head = content[:4000].replace(b" ", b"")
    return not any(word in head for word in (b'"esriGeometry', b'"type":"Topology"', b'"spatialReference"'))


def read_geojson(content: bytes, *, name: str) -> RawLayer:
    """Read a GeoJSON text or a sequence of GeoJSON texts.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        What to call it in messages.

    Returns
    -------
    RawLayer
        Features that cannot be read carry the reason; the others are as written.

    Raises
    ------
    InputError
        If the text is no JSON, or JSON of something else.
    CrsError
        If a legacy ``crs`` member cannot be understood.
    """
    text, remarks = _decoded(content, name=name)
    document = _document(text, name=name)
    with np.errstate(invalid="ignore"):  # what is not finite is found and told later
        features = tuple(
            _feature(member, position=position) for position, member in enumerate(_members(document, name=name))
        )
    crs, origin = _crs(document, name=name)
    return RawLayer(
        name=_layer_name(document, default=name),
        features=features,
        crs=crs,
        crs_origin=origin,
        fields=tuple(dict.fromkeys(field for feature in features for field in feature.attributes)),
        remarks=remarks,
    )


def _decoded(content: bytes, *, name: str) -> tuple[str, tuple[Fault, ...]]:
    for encoding in ("utf-8-sig", "utf-16") if content[:2] in {b"\xff\xfe", b"\xfe\xff"} else ("utf-8-sig",):
        try:
            return content.decode(encoding), ()
        except UnicodeDecodeError:
            continue
    remark = Fault(
        where=name,
        found="the text is not UTF-8; it was read as Windows-1252",
        remedy="check names with accents, or save the file as UTF-8",
    )
    return content.decode("cp1252", errors="replace"), (remark,)


def _document(text: str, *, name: str) -> Any:
    try:
        return json.loads(text, parse_int=_whole_number)
    except RecursionError as error:
        found, must = "the JSON nests too deeply", "GeoJSON nests some ten deep at most"
        raise InputError(Fault(where=name, found=found, must=must, remedy="export it again")) from error
    except json.JSONDecodeError as error:
        sequence = _sequence(text)
        if sequence is not None:
            return {"type": "FeatureCollection", "features": sequence}
        raise InputError(
            Fault(
                where=name,
                found=f"the text stops being JSON at line {error.lineno}, column {error.colno} ({error.msg})",
                must="a GeoJSON file must be one whole JSON text, or one feature on each line",
                remedy="the file may be cut off or edited by hand: export it again",
            )
        ) from error


def _whole_number(digits: str) -> int | float:
    """Read a whole number; one of more digits than any identifier has becomes a float, as JSON's own numbers are."""
    return int(digits) if len(digits) <= _MOST_DIGITS else float(digits)


def _sequence(text: str) -> list[Any] | None:
    """Give the members of a GeoJSON text sequence (RFC 8142) or of newline-delimited GeoJSON; None if it is neither."""
    separator = _RECORD_SEPARATOR if _RECORD_SEPARATOR in text else "\n"
    lines = [line for line in text.split(separator) if line.strip()]
    members: list[Any] = []
    for number, line in enumerate(lines):
        try:
            members.append(json.loads(line, parse_int=_whole_number))
        except (json.JSONDecodeError, RecursionError) as error:
            if number == 0:
                return None
            members.append({"type": "Feature", "unreadable": f"line {number + 1} is not JSON{plain_reason(error)}"})
    return members if members and isinstance(members[0], dict) and members[0].get("type") == "Feature" else None


def _members(document: Any, *, name: str) -> Iterator[Any]:
    if isinstance(document, list):
        yield from document
        return
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        yield from document["features"]
    elif kind == "Feature":
        yield document
    elif kind in _GEOMETRY_TYPES:
        yield {"type": "Feature", "geometry": document, "properties": {}}
    else:
        raise InputError(
            Fault(
                where=name,
                found=f"it is JSON, but its type is {kind!r}",
                must="GeoJSON holds a FeatureCollection, a Feature or a geometry",
                remedy="give a GeoJSON, GeoPackage, FlatGeobuf or shapefile",
            )
        )


def _feature(member: Any, *, position: int) -> RawFeature:
    if not isinstance(member, dict):
        return RawFeature(position=position, geometry=None, attributes={}, fault="it is no GeoJSON feature")
    if "unreadable" in member:
        return RawFeature(position=position, geometry=None, attributes={}, fault=member["unreadable"])
    properties = member.get("properties")
    attributes = tidy_attributes(properties if isinstance(properties, dict) else {})
    if "id" in member and "id" not in attributes and isinstance(member["id"], str | int | float):
        attributes["id"] = member["id"]
    given = member if member.get("type") in _GEOMETRY_TYPES else member.get("geometry")
    if given is None:
        return RawFeature(position=position, geometry=None, attributes=attributes)
    try:
        geometry, notes = _geometry(given)
    except Exception as error:  # noqa: BLE001  (one feature's nonsense, of whatever kind, does not cost the others)
        reason = f"its geometry cannot be read ({_reason(given, error)})"
        return RawFeature(position=position, geometry=None, attributes=attributes, fault=reason)
    return RawFeature(position=position, geometry=geometry, attributes=attributes, notes=notes)


def _geometry(given: dict[str, Any]) -> tuple[BaseGeometry, tuple[str, ...]]:
    if given.get("type") == "GeometryCollection":
        parts = [_geometry(part) for part in given["geometries"]]
        notes = tuple(dict.fromkeys(note for _, part_notes in parts for note in part_notes))
        return shapely.GeometryCollection([part for part, _ in parts]), notes
    if given["type"] not in _GEOMETRY_TYPES:
        raise ValueError(f"the type {given['type']!r} is not known")
    coordinates = given["coordinates"]
    rings = _rings(given["type"], coordinates)
    notes = (_CLOSED_RING,) if any(ring and ring[0] != ring[-1] for ring in rings) else ()
    try:
        return shape(given), notes
    except ValueError:  # heights in some of the vertices only, or no numbers at all
        flat = {"type": given["type"], "coordinates": _flat(coordinates, depth=_DEPTHS[given["type"]])}
        return shape(flat), (*notes, "heights (Z) dropped")


def _rings(kind: str, coordinates: Any) -> list[Any]:
    if kind == "Polygon":
        return list(coordinates)
    if kind == "MultiPolygon":
        return [ring for polygon in coordinates for ring in polygon]
    return []


def _flat(coordinates: Any, *, depth: int) -> Any:
    if depth == 0:
        x, y = coordinates[:2]
        return [float(x), float(y)]
    return [_flat(part, depth=depth - 1) for part in coordinates]


def _reason(given: Any, error: Exception) -> str:
    if not isinstance(given, dict) or "type" not in given:
        return "it has no type"
    if "coordinates" not in given and given["type"] != "GeometryCollection":
        return "it has no coordinates"
    if "linearring requires" in str(error):
        return "a ring has fewer than 3 different vertices"
    if isinstance(error, TypeError) or "could not convert" in str(error) or "unpack" in str(error):
        return "its coordinates are not pairs of numbers, nested as its type asks for"
    return plain_reason(error).strip(" ()") or "it is no geometry"


def _crs(document: Any, *, name: str) -> tuple[CRS | None, str]:
    member = document.get("crs") if isinstance(document, dict) else None
    if member is None:
        return CRS.from_epsg(_WGS84), "GeoJSON standard"
    properties = member.get("properties") if isinstance(member, dict) else None
    code = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(code, str):
        raise CrsError(
            Fault(
                where=name,
                found="its crs member does not name a coordinate reference system",
                must="a crs member must hold a name, such as urn:ogc:def:crs:EPSG::28992",
                remedy="remove the member if the coordinates are WGS 84 longitude and latitude, or mend it",
            )
        )
    if code.endswith(_LON_LAT_NAMES):
        return CRS.from_epsg(_WGS84), "file"
    check_definition(code, where=name)
    try:
        return CRS.from_user_input(code), "file"
    except CRSError as error:
        raise CrsError(
            Fault(
                where=name,
                found=f"its crs member names {code!r}, which is not known",
                must="it must name a system of the EPSG list, such as urn:ogc:def:crs:EPSG::28992",
                remedy="mend the member",
            )
        ) from error


def _layer_name(document: Any, *, default: str) -> str:
    given = document.get("name") if isinstance(document, dict) else None
    return visible(given) or default if isinstance(given, str) else default
