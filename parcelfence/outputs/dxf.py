"""DXF for CAD: one layer per theme with its colour and line type, labels, units and extents."""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from ezdxf import filemanagement, options, units, zoom  # type: ignore[attr-defined]
from ezdxf.enums import TextEntityAlignment

from parcelfence.errors import Fault, OutputError
from parcelfence.outputs.style import INK, STYLE_COLUMN, STYLES, style_of
from parcelfence.text import visible

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator
    from pathlib import Path

    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.style import Style

__all__ = ["NAME", "write"]

NAME: Final = "plan.dxf"
_UNITS: Final = {"metre": units.M, "foot": units.FT, "US survey foot": 21}
"""Values of $INSUNITS by PROJ's name of the unit (DXF reference, header variables)."""
_ZONE_TOLERANCE_M: Final = 0.005
"""Outlines of the computed zones are thinned by so much: thousands of vertices serve nobody in a drawing."""
_METRES_PER_PX: Final = 0.06
_LABELS: Final = {
    "parcel": "parcel_id",
    "utilities": "kind",
    "wire": "leg",
    "crossings": "kind",
    "flags": "flag",
    "stations": "label",
    "splices": "id",
    "transmitter": "id",
    "conflicts": "rule",
}
"""Column that labels the features of a layer."""
_HIDDEN: Final = frozenset({"reach"})
"""Layers that are off until somebody wants them."""
_TEXT_HEIGHT_M: Final = {"parcel": 1.5, "wire": 0.8, "conflicts": 0.8}
_ELSE_HEIGHT_M: Final = 0.4
_POINT_MODE: Final = 34
"""$PDMODE: a cross in a circle."""


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``plan.dxf``, in the working CRS or the projected one that was asked for.

    Raises
    ------
    OutputError
        If the unit of that CRS is one that DXF has no word for.
    """
    crs = delivery.plane_crs
    unit = crs.axis_info[0]
    if unit.unit_name not in _UNITS:
        raise OutputError(
            Fault(
                where="plan.dxf",
                found=f"{crs.name} is measured in {unit.unit_name}",
                must="the unit must be the metre or a foot",
                remedy="choose another CRS, or leave the format dxf out",
            )
        )
    scale = 1.0 / unit.unit_conversion_factor
    with _fixed_meta_data():
        drawing = filemanagement.new("R2010", units=_UNITS[unit.unit_name])
        drawing.header.custom_vars.append("CRS", crs.name)
        drawing.header["$PDMODE"] = _POINT_MODE
        drawing.header["$PDSIZE"] = 0.3 * scale
        _add_layers(drawing, scale=scale)
        space = drawing.modelspace()
        shown = {name: table for name, table in delivery.plane.items() if name in delivery.layer_names}
        if "zones" in shown:
            thinned = shown["zones"].geometry.simplify(_ZONE_TOLERANCE_M * scale)
            shown["zones"] = shown["zones"].set_geometry(thinned)
        for name in sorted(shown, key="conflicts".__ne__):  # first, so that they lie below what they concern
            _draw(space, shown[name], name=name, scale=scale)
        _set_extents(drawing, shown)
        for used in sorted(drawing.entitydb.dxf_types_in_use()):  # else they follow in the order of a set
            drawing.classes.add_class(used)
        drawing.saveas(folder / NAME, encoding="utf-8")


@contextmanager
def _fixed_meta_data() -> Generator[None]:
    """Keep the clock and random identifiers out of the file."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _layer_name(layer: str, value: str) -> str:
    return "-".join(["PF", layer.upper().replace("_", ""), *([value.upper().replace("_", "")] if value else [])])


def _add_layers(drawing: Drawing, *, scale: float) -> None:
    for (name, value), style in STYLES.items():
        layer = drawing.layers.add(_layer_name(name, value), linetype=_line_type(drawing, style, scale=scale))
        layer.rgb = _rgb(_main_colour(style))
        layer.description = style.title
        if name in _HIDDEN:
            layer.off()
    for name in _LABELS:
        drawing.layers.add(f"{_layer_name(name, '')}-TEXT").rgb = _rgb(INK)


def _main_colour(style: Style) -> str:
    colour = style.fill if style.marker else style.stroke
    return "#7f7f7f" if colour in {"", "#ffffff"} else colour


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _line_type(drawing: Drawing, style: Style, *, scale: float) -> str:
    if not style.dash_px:
        return "CONTINUOUS"
    name = "PF-" + "-".join(f"{length:g}" for length in style.dash_px)
    if name not in drawing.linetypes:
        lengths = [round(length * _METRES_PER_PX * scale, 4) for length in style.dash_px]
        pattern = [length if place % 2 == 0 else -length for place, length in enumerate(lengths)]
        drawing.linetypes.add(name, pattern=[round(math.fsum(lengths), 4), *pattern], description=name)
    return name


def _draw(space: Modelspace, table: GeoDataFrame, *, name: str, scale: float) -> None:
    column = STYLE_COLUMN.get(name, "")
    kinds = table[column].tolist() if column else [""] * len(table)
    labels = table[_LABELS[name]].tolist() if name in _LABELS else [""] * len(table)
    for kind, label, geometry in zip(kinds, labels, table.geometry, strict=True):
        known = kind if (name, kind) in STYLES else _plainest(name)
        for part in _simple_parts(geometry):
            _add(space, part, layer=_layer_name(name, known))
        text = _one_line(label)
        if text and geometry is not None and not geometry.is_empty:
            height = _TEXT_HEIGHT_M.get(name, _ELSE_HEIGHT_M) * scale
            place = _middle(geometry)
            written = space.add_text(text, height=height, dxfattribs={"layer": f"{_layer_name(name, '')}-TEXT"})
            written.set_placement((place.x + height / 2, place.y + height / 2), align=TextEntityAlignment.LEFT)


def _middle(geometry: BaseGeometry) -> shapely.Point:
    """Give a point on the geometry, halfway along where it is a line."""
    if isinstance(geometry, shapely.LineString):
        return geometry.interpolate(0.5, normalized=True)
    return geometry.representative_point()


def _plainest(name: str) -> str:
    style = style_of(name)
    return next(value for (layer, value), known in STYLES.items() if layer == name and known is style)


def _simple_parts(geometry: BaseGeometry | None) -> Iterator[BaseGeometry]:
    if geometry is None or geometry.is_empty:
        return
    for part in shapely.get_parts(geometry):
        if hasattr(part, "geoms"):
            yield from _simple_parts(part)
        else:
            yield part


def _add(space: Modelspace, part: BaseGeometry, *, layer: str) -> None:
    attributes = {"layer": layer}
    if isinstance(part, shapely.Point):
        space.add_point((part.x, part.y), dxfattribs=attributes)
    elif isinstance(part, shapely.Polygon):
        for ring in (part.exterior, *part.interiors):
            space.add_lwpolyline(ring.coords[:-1], close=True, dxfattribs=attributes)
    else:
        closed = part.is_closed
        space.add_lwpolyline(part.coords[:-1] if closed else part.coords, close=closed, dxfattribs=attributes)


def _one_line(value: Any) -> str:
    """Make a text of one line in which CAD sees no codes: no doubled percent sign, caret or backslash."""
    text = " ".join(visible(value).split())
    for code, harmless in (("%%", "% %"), ("^", "\u02c6"), ("\\", "/")):
        text = text.replace(code, harmless)
    return text


def _set_extents(drawing: Drawing, tables: dict[str, GeoDataFrame]) -> None:
    corners = np.vstack([shapely.get_coordinates(table.geometry.array) for table in tables.values()])
    if not len(corners):
        return
    low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    drawing.header["$EXTMIN"], drawing.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
    space = drawing.modelspace()
    space.dxf.extmin, space.dxf.extmax = (*low, 0.0), (*high, 0.0)
    zoom.window(space, low, high)
