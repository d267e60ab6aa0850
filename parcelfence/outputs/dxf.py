"""DXF for CAD: one layer per theme with its colour and line type, labels, units and extents."""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from ezdxf import filemanagement, options, zoom  # type: ignore[attr-defined]
from ezdxf.enums import TextEntityAlignment

from parcelfence.errors import Fault, OutputError
from parcelfence.layers import LAYERS, layer_schema
from parcelfence.outputs.delivery import DRAWN_UNITS
from parcelfence.outputs.style import STYLE_COLUMN, STYLES, style_of
from parcelfence.text import visible

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator
    from pathlib import Path

    from ezdxf.document import Drawing
    from ezdxf.entities.layer import Layer
    from ezdxf.layouts.layout import Modelspace
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.style import Style

__all__ = ["NAME", "write"]

NAME: Final = "plan.dxf"
_ZONE_TOLERANCE_M: Final = 0.005
"""Outlines of the computed zones are thinned by so much: thousands of vertices serve nobody in a drawing."""
_SHEET_M: Final = (0.38, 0.26)
"""Room for drawing on the smallest sheet that is usually plotted (A3, about that of 11 x 17 in), in metres."""
_PLOT_SCALES: Final = {
    "metre": (50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10_000),
    "foot": (60, 120, 240, 360, 480, 600, 1200, 2400, 6000, 12_000),
}
"""Usual scales: in metres the round ones; in feet 1 inch to 5, 10, 20, 30, 40, 50, 100, 200, 500 and 1000 ft."""
_M_PER_PX: Final = 0.0254 / 96
"""Width of a CSS pixel on paper."""
_TEXT_M: Final = {"parcel": 0.0035, "wire": 0.0025, "conflicts": 0.0025, "utilities": 0.0025}
_ELSE_TEXT_M: Final = 0.0018
"""Heights of text on paper: 3.5, 2.5 and 1.8 mm of the series of ISO 3098 (from memory)."""
_TEXTS_OFF: Final = frozenset({"flags", "conflicts"})
"""Layers whose texts would cover the drawing: they are there, but off until somebody wants them."""
_STATIONS_LABELLED: Final = frozenset({"start", "regular", "end"})
_POINT_M: Final = 0.001
_POINT_MODE: Final = 34
"""$PDMODE: a cross in a circle."""
_THROUGH_VERTICES: Final = 128
"""Bit of a polyline by which its line type runs on through the vertices, instead of beginning anew at each."""
_ADAPTIVE: Final = 7
"""Colour number that is white on a dark ground and black on a light one."""
_LEAST_CONTRAST: Final = 2.5
"""Ratio by WCAG 2 below which a colour is lost on the dark ground that many draw on."""
_WHITE: Final = "#ffffff"
_LINEWEIGHTS: Final = (13, 18, 25, 35, 50, 70)
"""Widths of lines in hundredths of a millimetre, of those that DXF allows."""


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``plan.dxf``, in the plane system of the delivery.

    Raises
    ------
    OutputError
        If the unit of that CRS is one that DXF has no word for.
    """
    crs = delivery.plane_crs
    unit = crs.axis_info[0]
    if unit.unit_name not in DRAWN_UNITS:
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
        drawing = filemanagement.new("R2010", units=DRAWN_UNITS[unit.unit_name])
        drawing.header.custom_vars.append("CRS", crs.name)
        shown = {name: table for name, table in delivery.plane.items() if name in delivery.layer_names}
        plot = _plot_scale(delivery.plane["parcel"].total_bounds / scale, unit=unit.unit_name)
        paper = scale * plot
        drawing.header.custom_vars.append("PLOT SCALE", f"1:{plot}")
        drawing.header["$MEASUREMENT"] = int(unit.unit_name == "metre")
        drawing.header["$PLINEGEN"] = 1
        drawing.header["$LWDISPLAY"] = 1
        drawing.header["$PDMODE"] = _POINT_MODE
        drawing.header["$PDSIZE"] = round(_POINT_M * paper, 4)
        _add_layers(drawing, paper=paper)
        space = drawing.modelspace()
        if "zones" in shown:
            thinned = shown["zones"].geometry.simplify(_ZONE_TOLERANCE_M * scale)
            shown["zones"] = shown["zones"].set_geometry(thinned)
        for name in sorted(shown, key="conflicts".__ne__):  # first, so that they lie below what they concern
            _draw(space, shown[name], name=name, paper=paper)
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


def _plot_scale(bounds_m: NDArray[np.float64], *, unit: str) -> int:
    """Give the usual scale at which the property fits on the sheet; text and dashes are sized for it."""
    west, south, east, north = bounds_m
    sizes = sorted((east - west, north - south))
    needed = max(size / room for size, room in zip(sizes, sorted(_SHEET_M), strict=True))
    scales = _PLOT_SCALES["metre" if unit == "metre" else "foot"]
    return next((scale for scale in scales if scale >= needed), scales[-1])


def _add_layers(drawing: Drawing, *, paper: float) -> None:
    for (name, value), style in STYLES.items():
        layer = drawing.layers.add(_layer_name(name, value), linetype=_line_type(drawing, style, paper=paper))
        _set_colour(layer, style.fill if style.marker else style.stroke)
        width = style.width_px * _M_PER_PX * 1e5 / 2
        layer.dxf.lineweight = next((allowed for allowed in _LINEWEIGHTS if allowed >= width), _LINEWEIGHTS[-1])
        layer.description = style.title
        if not layer_schema(name).shown:
            layer.off()
    for schema in LAYERS:
        if schema.label:
            texts = drawing.layers.add(f"{_layer_name(schema.name, '')}-TEXT")
            texts.color = _ADAPTIVE
            if schema.name in _TEXTS_OFF or not schema.shown:
                texts.off()


def _set_colour(layer: Layer, colour: str) -> None:
    """Give the layer its colour; what would be lost on a dark ground or a light one adapts to it."""
    if not colour or colour == _WHITE or _luminance(colour) + 0.05 < _LEAST_CONTRAST * 0.05:
        layer.color = _ADAPTIVE
    else:
        layer.rgb = int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _luminance(colour: str) -> float:
    """Relative luminance by WCAG 2, with the plain power of 2.2 for the curve of sRGB."""
    red, green, blue = ((int(colour[place : place + 2], 16) / 255) ** 2.2 for place in (1, 3, 5))
    return float(0.2126 * red + 0.7152 * green + 0.0722 * blue)


def _line_type(drawing: Drawing, style: Style, *, paper: float) -> str:
    if not style.dash_px:
        return "CONTINUOUS"
    name = "PF-" + "-".join(f"{length:g}" for length in style.dash_px)
    if name not in drawing.linetypes:
        lengths = [round(length * _M_PER_PX * paper, 4) for length in style.dash_px]
        pattern = [length if place % 2 == 0 else -length for place, length in enumerate(lengths)]
        drawing.linetypes.add(name, pattern=[round(math.fsum(lengths), 4), *pattern], description=name)
    return name


def _draw(space: Modelspace, table: GeoDataFrame, *, name: str, paper: float) -> None:
    column = STYLE_COLUMN.get(name, "")
    kinds = table[column].tolist() if column else [""] * len(table)
    label_column = layer_schema(name).label
    labels = table[label_column].tolist() if label_column else [""] * len(table)
    if name == "stations":
        kept = table["point_kind"].isin(_STATIONS_LABELLED)
        labels = [label if keep else "" for label, keep in zip(labels, kept, strict=True)]
    for kind, label, geometry in zip(kinds, labels, table.geometry, strict=True):
        known = kind if (name, kind) in STYLES else _plainest(name)
        for part in _simple_parts(geometry):
            _add(space, part, layer=_layer_name(name, known))
        text = _one_line(label)
        if text and geometry is not None and not geometry.is_empty:
            height = round(_TEXT_M.get(name, _ELSE_TEXT_M) * paper, 4)
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
    attributes: dict[str, Any] = {"layer": layer}
    if isinstance(part, shapely.Point):
        space.add_point((part.x, part.y), dxfattribs=attributes)
        return
    attributes["flags"] = _THROUGH_VERTICES
    if isinstance(part, shapely.Polygon):
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
