"""Drawings and tracks: DXF of the model space in the units of the drawing, GPX on WGS 84, as lines."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final

from pyproj import CRS
from shapely import LineString, MultiLineString, get_parts, line_merge

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.raw import RawFeature, RawLayer, library_faults, tidy_attributes

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["gpx_document", "read_dxf", "read_gpx"]

_WHOLE: Final = "LWPOLYLINE POLYLINE CIRCLE ELLIPSE SPLINE"
_PIECES: Final = "LINE ARC"
"""Single pieces of a line are joined end to end; what is drawn as a whole stays one."""
_SAGITTA: Final = 0.001
"""Arcs are drawn with chords that leave them by no more, in units of the drawing."""
_LARGEST_SPAN: Final = 1e7
"""Across the largest curve, in units of the drawing: chords of a larger one would be counted in millions."""
_WIRE_WORDS: Final = ("wire", "loop")
"""Layers of the first word that any layer speaks of are taken."""
_FEWEST: Final = 2
_ORDERS: Final = re.compile(r"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)
"""What lets an XML text name other files, or grow without end; no GPX needs it."""


def read_dxf(path: Path, *, layer: str | None = None) -> RawLayer:
    """Read the lines of a drawing.

    Parameters
    ----------
    path : Path
        The drawing.  It states no CRS.
    layer : str, optional
        Only lines of this layer; where none is named, of all layers that speak of a wire, or else of all.

    Raises
    ------
    InputError
        If it is no DXF, or has no such layer, or no lines.
    """
    from ezdxf import filemanagement

    lines: dict[str, list[LineString]] = {}
    with library_faults(path.name, found="it is no DXF drawing that can be read", remedy="export it again as DXF"):
        drawing = filemanagement.readfile(path)
        for kinds, whole in ((_WHOLE, True), (_PIECES, False)):
            for layer_name, own in _by_layer(drawing, kinds=kinds).items():
                lines.setdefault(layer_name, []).extend(own if whole else _joined(own))
    chosen = _chosen(lines, layer=layer, name=path.name)
    features = tuple(
        RawFeature(position=position, geometry=line, attributes=tidy_attributes({"layer": name, "description": name}))
        for position, (name, line) in enumerate((name, line) for name in chosen for line in lines[name])
    )
    return RawLayer(name=path.name, features=features, crs=None, fields=("layer",))


def _by_layer(drawing: Any, *, kinds: str) -> dict[str, list[LineString]]:
    lines: dict[str, list[LineString]] = {}
    for entity in drawing.modelspace().query(kinds):
        line = _line(entity)
        if line is not None:
            lines.setdefault(entity.dxf.layer, []).append(line)
    return lines


def _line(entity: Any) -> LineString | None:
    points = _points(entity)
    if len(points) > _FEWEST and math.dist(points[0], points[-1]) < _SAGITTA:
        points[-1] = points[0]
    if not all(math.isfinite(x) and math.isfinite(y) for x, y in points):
        return None
    line = LineString(points) if len(points) >= _FEWEST else None
    return line if line is not None and line.length > 0 else None


def _points(entity: Any) -> list[tuple[float, float]]:
    """Give the vertices of an entity, of its arcs and curves the ends of short chords."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [_plane(entity.dxf.start), _plane(entity.dxf.end)]
    if kind in {"LWPOLYLINE", "POLYLINE"}:
        return _of_polyline(entity)
    if kind in {"ARC", "CIRCLE"} and not abs(entity.dxf.radius) < _LARGEST_SPAN:
        return []
    return [_plane(point) for point in entity.flattening(_SAGITTA)]


def _of_polyline(entity: Any) -> list[tuple[float, float]]:
    """Follow a polyline through its pieces; its arcs come counter-clockwise, whichever way it takes them."""
    pieces = [piece for one in entity.virtual_entities() if (piece := _points(one))]
    if not pieces:
        return []
    first = next(iter(entity.vertices())) if entity.dxftype() == "LWPOLYLINE" else next(entity.points())
    way = [(float(first[0]), float(first[1]))]
    for piece in pieces:
        backwards = math.dist(way[-1], piece[-1]) < math.dist(way[-1], piece[0])
        way += (piece[::-1] if backwards else piece)[1:]
    return [*way[:-1], way[0]] if entity.is_closed else way


def _plane(point: Any) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _chosen(lines: dict[str, list[LineString]], *, layer: str | None, name: str) -> list[str]:
    if not lines:
        raise InputError(Fault(where=name, found="it holds no lines", remedy="draw the wire as a polyline"))
    if layer is None:
        speaking = ([known for known in lines if word in known.casefold()] for word in _WIRE_WORDS)
        return next((found for found in speaking if found), list(lines))
    if layer not in lines:
        found = f"there are no lines on a layer {layer!r}"
        raise InputError(Fault(where=name, found=found, remedy=near_matches(layer, lines)))
    return [layer]


def _joined(lines: list[LineString]) -> list[LineString]:
    return list(get_parts(line_merge(MultiLineString(lines))))


def gpx_document(path: Path) -> Any:
    """Parse a GPX file; raises InputError if it is none."""
    import gpxpy

    remedy = "export the track again"
    with library_faults(path.name, found="it is no GPX file", remedy=remedy):
        text = path.read_text(encoding="utf-8-sig")
        if _ORDERS.search(text):
            found = "its XML declares a document type or entities, which no GPX needs"
            raise InputError(Fault(where=path.name, found=found, must="nothing in it is carried out", remedy=remedy))
        return gpxpy.parse(text)


def read_gpx(path: Path) -> RawLayer:
    """Read the lines of a GPX file.

    Parameters
    ----------
    path : Path
        A track is taken segment by segment; routes are taken only if there is no track, for they are thinned out.

    Raises
    ------
    InputError
        If it is no GPX, or holds no line.
    """
    document = gpx_document(path)
    tracks = [(track, segment.points) for track in document.tracks for segment in track.segments]
    ways: list[tuple[Any, Any]] = tracks or [(route, route.points) for route in document.routes]
    features = tuple(
        RawFeature(
            position=position,
            geometry=LineString([(point.longitude, point.latitude) for point in points]),
            attributes=tidy_attributes({
                "name": _last_word(way.name),
                "description": f"{way.name} {way.comment or ''}",
            }),
        )
        for position, (way, points) in enumerate(ways)
        if len(points) >= _FEWEST
    )
    if not features:
        found = f"it holds {len(document.waypoints)} waypoints, but no track and no route"
        raise InputError(Fault(where=path.name, found=found, remedy="record or export the wire as a track"))
    return RawLayer(name=path.name, features=features, crs=CRS.from_epsg(4326), crs_origin="GPX standard")


def _last_word(name: str | None) -> str:
    return (name or "").split(" ")[-1]
