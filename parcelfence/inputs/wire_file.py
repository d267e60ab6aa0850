"""Wire that somebody drew or surveyed: vector files, CAD drawings, GPS tracks and survey points become lines."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely import LineString, MultiLineString

from parcelfence.errors import Fault, InputError
from parcelfence.inputs.coordinates import checked_coordinates
from parcelfence.inputs.files import check_file
from parcelfence.inputs.formats import content_hash, read_raw
from parcelfence.inputs.repair import LARGEST_ORDINATE
from parcelfence.inputs.source_crs import source_crs
from parcelfence.inputs.wire_points import lines_of_points

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.raw import RawFeature, RawLayer
    from parcelfence.inputs.source import Source

__all__ = ["DrawnLine", "DrawnWire", "part_of_words", "read_wire"]

_PARTS: Final = {
    "lead_in": re.compile(r"lead[\s_-]*in|twisted|\bfeed|\blead\b", re.IGNORECASE),
    "inner_loop": re.compile(r"inner|keep[\s_-]*out", re.IGNORECASE),
    "return_run": re.compile(r"return", re.IGNORECASE),
    "loop": re.compile(r"\bloop\b|boundary|outer", re.IGNORECASE),
}
_PART_FIELD: Final = "part"
_ID_FIELDS: Final = ("loop_id", "id", "name")
_WORD_FIELDS: Final = ("part", "kind", "type", "layer", "name", "description", "desc", "comment")


@dataclass(frozen=True, kw_only=True)
class DrawnLine:
    """One line of a drawn wire.

    Parameters
    ----------
    line : LineString
        As drawn, in the order of the file.
    part : str
        Part that its attributes or its name speak of; empty where they do not.
    loop_id : str
        Identifier that it carries; empty where there is none.
    """

    line: LineString
    part: str = ""
    loop_id: str = ""


@dataclass(frozen=True, kw_only=True)
class DrawnWire:
    """A wire as a file holds it.

    Parameters
    ----------
    name, sha256 : str
        File and its hash.
    lines : tuple of DrawnLine
        In the CRS of the file.
    crs : CRS
        Horizontal CRS.
    crs_origin : str
        How it is known.
    repairs : tuple of Fault
        What was mended or left out.
    """

    name: str
    sha256: str
    lines: tuple[DrawnLine, ...]
    crs: CRS
    crs_origin: str
    repairs: tuple[Fault, ...] = ()


def read_wire(source: Source) -> DrawnWire:
    """Read a wire.

    Parameters
    ----------
    source : Source
        GeoJSON, shapefile, GeoPackage, FlatGeobuf, DXF, GPX, or survey points in CSV; its layer is in a DXF the one
        whose lines are meant.

    Raises
    ------
    InputError
        If the file cannot be read or holds no line.
    CrsError
        If its CRS is missing, or its coordinates cannot be in it.
    """
    raw = _raw(source)
    drawn, repairs = _lines(raw, source=source)
    if not drawn:
        raise InputError([_no_wire(raw, source=source), *(repair for repair in repairs if repair.feature)])
    known = source_crs(raw, source)
    geometries = np.array([one.line for one in drawn], dtype=object)
    geometries, remarks, possible = checked_coordinates(geometries, known.crs, source=source)
    return DrawnWire(
        name=source.name,
        sha256=content_hash(source),
        lines=tuple(
            replace(one, line=line) for one, line, good in zip(drawn, geometries, possible, strict=True) if good
        ),
        crs=known.crs,
        crs_origin=known.origin,
        repairs=(*raw.remarks, *known.remarks, *remarks, *repairs),
    )


def _no_wire(raw: RawLayer, *, source: Source) -> Fault:
    areas = sum(feature.geometry is not None and _is_area(feature.geometry) for feature in raw.features)
    count = len(raw.features)
    if count and areas == count:
        return Fault(
            where=source.name,
            found="its only feature is an area" if count == 1 else f"all of its {count:,} features are areas",
            must="wire is a line, in the order in which it lies",
            remedy="give the line; if an outline is meant, turn it into a line in the program that drew it",
        )
    found = f"none of its {count} features is a line of wire"
    return Fault(where=source.name, found=found, remedy="give the layer that holds the wire")


def _is_area(geometry: BaseGeometry) -> bool:
    return bool(shapely.get_dimensions(geometry) == 2)  # noqa: PLR2004  (areas)


def part_of_words(words: str) -> str:
    """Recognise the part that some words speak of; empty if they speak of none."""
    return next((part for part, pattern in _PARTS.items() if pattern.search(words.replace("_", " "))), "")


def _raw(source: Source) -> RawLayer:
    if source.frame is not None:
        return read_raw(source)
    suffix = source.path.suffix.lower()
    check_file(source.path)
    if suffix == ".gpx":
        from parcelfence.inputs.drawings import read_gpx

        return read_gpx(source.path)
    if suffix == ".dxf":
        from parcelfence.inputs.drawings import read_dxf

        return read_dxf(source.path, layer=source.layer)
    return read_raw(source)


def _lines(raw: RawLayer, *, source: Source) -> tuple[list[DrawnLine], list[Fault]]:
    """Take every line; join points to lines where there are nothing but points."""
    usable = [_finite(feature) for feature in raw.features]
    features = [feature for feature in usable if feature.geometry is not None and not feature.geometry.is_empty]
    points = [feature for feature in features if feature.geometry is not None and feature.geometry.geom_type == "Point"]
    if points and len(points) == len(features):
        joined = lines_of_points(points)
        named = [_named(one.line, words=one.words, attributes={"loop_id": one.loop_id}) for one in joined.lines]
        return named, [Fault(where=source.name, found=found) for found in joined.remarks]
    drawn = [one for feature in features for one in _of_feature(feature)]
    bad = [feature for feature in usable if feature.fault]
    faults = [Fault(where=source.name, feature=str(one.position + 1), found=one.fault) for one in bad]
    left = len(features) - len({feature.position for feature in features if any(True for _ in _of_feature(feature))})
    if left:
        faults.append(Fault(where=source.name, found=f"{left} features that are no lines were left out"))
    return drawn, faults


def _finite(feature: RawFeature) -> RawFeature:
    """Give a feature without a geometry that lies nowhere."""
    if (np.abs(shapely.get_coordinates(feature.geometry)) < LARGEST_ORDINATE).all():
        return feature
    return replace(feature, geometry=None, fault="it has coordinates that are not finite numbers, or beyond any map")


def _of_feature(feature: RawFeature) -> Iterator[DrawnLine]:
    words = " ".join(str(feature.attributes[name]) for name in _WORD_FIELDS if feature.attributes.get(name) is not None)
    for line in _plain_lines(feature.geometry):
        yield _named(line, words=words, attributes=feature.attributes)


def _plain_lines(geometry: BaseGeometry | None) -> list[LineString]:
    if geometry is None or geometry.is_empty:
        return []
    flat: BaseGeometry = shapely.force_2d(geometry)
    if flat.geom_type == "MultiLineString":
        flat = shapely.line_merge(flat)
    parts = flat.geoms if isinstance(flat, MultiLineString) else [flat]
    clean = [shapely.remove_repeated_points(part) for part in parts if part.geom_type in {"LineString", "LinearRing"}]
    return [LineString(part.coords) for part in clean if part.length > 0]


def _named(line: LineString, *, words: str, attributes: Mapping[str, Any]) -> DrawnLine:
    stated = str(attributes.get(_PART_FIELD) or "")
    part = stated if stated in _PARTS else part_of_words(words)
    ids = (str(attributes[name]) for name in _ID_FIELDS if attributes.get(name) is not None)
    return DrawnLine(line=line, part=part, loop_id=next(ids, ""))
