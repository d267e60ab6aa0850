"""DXF: lines, polylines and arcs of the model space, as lines in the units of the drawing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from shapely import LineString, MultiLineString, get_parts, line_merge

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.raw import RawFeature, RawLayer

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["read_dxf"]

_WHOLE: Final = "LWPOLYLINE POLYLINE CIRCLE ELLIPSE SPLINE"
_PIECES: Final = "LINE ARC"
"""Single pieces of a line are joined end to end; what is drawn as a whole stays one."""
_SAGITTA: Final = 0.001
"""Arcs are drawn with chords that leave them by no more, in units of the drawing."""
_WIRE_WORDS: Final = ("wire", "loop")
"""Layers of the first word that any layer speaks of are taken."""
_FEWEST: Final = 2


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
    from ezdxf.lldxf.const import DXFError

    try:
        drawing = filemanagement.readfile(path)
    except (OSError, DXFError, ValueError) as error:
        raise InputError(
            Fault(where=path.name, found=f"it is no DXF drawing ({error})", remedy="export it again as DXF")
        ) from error
    lines: dict[str, list[LineString]] = {}
    for kinds, whole in ((_WHOLE, True), (_PIECES, False)):
        for layer_name, own in _by_layer(drawing, kinds=kinds).items():
            lines.setdefault(layer_name, []).extend(own if whole else _joined(own))
    chosen = _chosen(lines, layer=layer, name=path.name)
    features = tuple(
        RawFeature(position=position, geometry=line, attributes={"layer": name, "description": name})
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
    line = LineString(points) if len(points) >= _FEWEST else None
    return line if line is not None and line.length > 0 else None


def _points(entity: Any) -> list[tuple[float, float]]:
    """Give the vertices of an entity, of its arcs and curves the ends of short chords."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [_plane(entity.dxf.start), _plane(entity.dxf.end)]
    if kind in {"LWPOLYLINE", "POLYLINE"}:
        return _of_polyline(entity)
    return [_plane(point) for point in entity.flattening(_SAGITTA)]


def _of_polyline(entity: Any) -> list[tuple[float, float]]:
    """Follow a polyline through its pieces; its arcs come counter-clockwise, whichever way it takes them."""
    pieces = [_points(piece) for piece in entity.virtual_entities()]
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
