"""Stored styles for desktop GIS: one QML document per layer, from the same palette as the map.

A rule per kind of feature; where a layer may hold several types of geometry, a rule per kind and type, because a
symbol draws only its own type.  QML is the open XML of QGIS; symbols use its ``prop`` form, which old and new
versions read.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal

from parcelfence.layers import layer_schema
from parcelfence.outputs.escaping import xml_text
from parcelfence.outputs.style import INK, STYLE_COLUMN, layer_styles

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parcelfence.outputs.style import Style

__all__ = ["Highlights", "layer_qml", "style_body"]

Highlights = Literal["none", "under", "beside"]
"""How the lines and areas that a conflict concerns are marked: not at all, by a broad band for a layer that lies under
the others, or by two thin lines beside them, which leave free what the conflict lies on."""

_MM_PER_PX: Final = 25.4 / 96
_HIGHLIGHT_PX: Final = 9.0
_HIGHLIGHT_OPACITY: Final = 0.35
_RAIL_PX: Final = 1.6
_RAIL_OFFSET_PX: Final = 5.0
"""Clear of the broadest line of the palette, which is 3.5 px with a halo of a pixel on each side."""
_LONGEST: Final = (
    "array_foreach(generate_series(1, num_geometries($geometry)), length(geometry_n($geometry, @element)))"
)
_LARGEST: Final = _LONGEST.replace("length(", "area(")
_PLACE_ON: Final = {
    "Point": "coalesce(geometry_n($geometry, 1), $geometry)",
    "LineString": "line_interpolate_point(LINE, length(LINE) / 2)".replace(
        "LINE", f"coalesce(geometry_n($geometry, 1 + array_find({_LONGEST}, array_max({_LONGEST}))), $geometry)"
    ),
    "Polygon": "point_on_surface(coalesce("
    f"geometry_n($geometry, 1 + array_find({_LARGEST}, array_max({_LARGEST}))), $geometry))",
}
"""Where the one symbol and the one label of a conflict stand, as on the map: in the midst of its largest part."""
_PLACE: Final = (
    f"CASE WHEN geometry_type($geometry) = 'Point' THEN {_PLACE_ON['Point']}"
    f" WHEN geometry_type($geometry) = 'Line' THEN {_PLACE_ON['LineString']} ELSE {_PLACE_ON['Polygon']} END"
)
_SYMBOL_OF: Final = {"Point": "marker", "LineString": "line", "Polygon": "fill"}
_EXPRESSION_TYPE: Final = {"Point": "Point", "LineString": "Line", "Polygon": "Polygon"}
_SHAPES: Final = {
    "": "circle",
    "circle": "circle",
    "square": "square",
    "diamond": "diamond",
    "triangle": "triangle",
    "hexagon": "hexagon",
    "pennant": "filled_arrowhead",
    "tick": "circle",
}
_NO_FILL: Final = frozenset({"parcel"})
"""Layers that are drawn as outlines: whatever the order in which somebody opens the layers, they hide nothing."""
_NEAR_ONLY: Final = {"reach": 500, "ties": 300}
"""Layers of many points or lines that are drawn from this map scale on."""


def layer_qml(name: str) -> str:
    """Make the style document of a layer.

    Parameters
    ----------
    name : str
        Name of the layer.

    Returns
    -------
    str
        QML, the same for every plan.
    """
    nearest = (
        f' hasScaleBasedVisibilityFlag="1" minScale="{_NEAR_ONLY[name]}" maxScale="0"' if name in _NEAR_ONLY else ""
    )
    categories = "Symbology|Labeling|Fields|Rendering"
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
        f'<qgis version="3.22.0" styleCategories="{categories}" labelsEnabled="{int(bool(layer_schema(name).label))}"'
        f"{nearest}>\n{style_body(name)}</qgis>\n"
    )


def style_body(name: str, *, highlights: Highlights = "beside", markers: bool = True) -> str:
    """Make what a style document and a layer of a project file have in common: renderer, labels, names of columns.

    Parameters
    ----------
    name : str
        Name of the layer.
    highlights : {"none", "under", "beside"}
        Of conflicts: how the lines and areas concerned are marked.
    markers : bool
        Of conflicts: whether a symbol stands at each.
    """
    geometry = layer_schema(name).geometry
    types = ("Polygon", "LineString", "Point") if geometry == "Unknown" else (geometry,)
    rules, symbols = [], []
    found = _rules(name, types=types, highlights=highlights, markers=markers)
    for number, (label, condition, symbol) in enumerate(found):
        rules.append(
            f'<rule key="{name}-{number}" symbol="{number}" label="{xml_text(label)}" filter="{xml_text(condition)}"/>'
        )
        symbols.append(symbol.replace("NUMBER", str(number)))
    return (
        '<renderer-v2 type="RuleRenderer" symbollevels="0" enableorderby="0" forceraster="0">\n'
        f'<rules key="{name}">{"".join(rules)}</rules>\n<symbols>{"".join(symbols)}</symbols>\n</renderer-v2>\n'
        f"{_labelling(name) if markers else ''}{_aliases(name)}"
    )


def _aliases(name: str) -> str:
    columns = "".join(
        f'<alias field="{column.name}" index="{place}" name="{xml_text(column.alias)}"/>'
        for place, column in enumerate(layer_schema(name).columns, start=1)
    )
    return f'<aliases><alias field="fid" index="0" name=""/>{columns}</aliases>\n'


def _rules(
    name: str, *, types: tuple[str, ...], highlights: Highlights, markers: bool
) -> Iterator[tuple[str, str, str]]:
    """Yield label, condition and symbol of every rule."""
    column = STYLE_COLUMN.get(name, "")
    styles = layer_styles(name)
    for geometry in types:
        of_type = f"geometry_type($geometry) = '{_EXPRESSION_TYPE[geometry]}'" if len(types) > 1 else ""
        for value, style in styles.items():
            of_kind = f"\"{column}\" = '{value}'" if value else _none_of(column, styles)
            condition = " AND ".join(part for part in (of_kind, of_type) if part) or "TRUE"
            if name == "conflicts":
                symbol = _conflict_symbol(style, geometry=geometry, highlights=highlights, markers=markers)
            else:
                symbol = _symbol(replace(style, fill="") if name in _NO_FILL else style, geometry=geometry)
            if symbol:
                yield style.title, condition, symbol


def _conflict_symbol(style: Style, *, geometry: str, highlights: Highlights, markers: bool) -> str:
    """Mark all that is concerned, and set one symbol of the severity on the middle of it."""
    layers = ""
    if geometry == "Point" and highlights != "none":
        layers = _marker(replace(style, marker="circle", size_px=_HIGHLIGHT_PX, fill_opacity=_HIGHLIGHT_OPACITY))
    elif highlights == "under":
        layers = _line_layer(style.fill, width_px=_HIGHLIGHT_PX, opacity=_HIGHLIGHT_OPACITY)
    elif highlights == "beside":
        rails = (_line_layer(style.fill, width_px=_RAIL_PX, offset_px=side * _RAIL_OFFSET_PX) for side in (-1, 1))
        layers = "".join(rails)
    if markers:
        place = f'<symbol type="marker" name="@NUMBER@{layers.count("<layer ")}" alpha="1">{_marker(style)}</symbol>'
        modifier = _PLACE_ON[geometry]
        layers += _layer("GeometryGenerator", inner=place, SymbolType="Marker", geometryModifier=modifier)
    return _wrapped(_SYMBOL_OF[geometry], layers) if layers else ""


def _none_of(column: str, styles: Mapping[str, Style]) -> str:
    if not column:
        return ""
    named = ", ".join(f"'{value}'" for value in styles if value)
    return f"coalesce(\"{column}\", '') NOT IN ({named})"


def _symbol(style: Style, *, geometry: str) -> str:
    kind = _SYMBOL_OF[geometry]
    layers = {"marker": _marker, "line": _line, "fill": _fill}[kind](style)
    return _wrapped(kind, layers)


def _wrapped(kind: str, layers: str) -> str:
    return f'<symbol type="{kind}" name="NUMBER" alpha="1" clip_to_extent="1" force_rhr="0">{layers}</symbol>'


def _marker(style: Style) -> str:
    return _layer(
        "SimpleMarker",
        name=_SHAPES[style.marker],
        color=_rgba(style.fill or style.stroke, style.fill_opacity or 1.0),
        outline_color=_rgba(style.stroke or INK, 1.0),
        outline_width=_mm(style.width_px),
        outline_width_unit="MM",
        size=_mm(style.size_px or 8.0),
        size_unit="MM",
    )


def _line(style: Style) -> str:
    if style.marker:  # what is drawn as a mark elsewhere must not hide the line that it lies on
        return _line_layer(style.fill or INK, width_px=_HIGHLIGHT_PX, opacity=_HIGHLIGHT_OPACITY)
    halo = _line_layer(style.halo, width_px=style.width_px + 2.0) if style.halo else ""
    colour = style.stroke or INK
    return halo + _line_layer(colour, width_px=style.width_px, dash_px=style.dash_px, opacity=style.stroke_opacity)


def _line_layer(
    colour: str, *, width_px: float, dash_px: tuple[float, ...] = (), opacity: float = 1.0, offset_px: float = 0.0
) -> str:
    aside = {"offset": _mm(offset_px), "offset_unit": "MM"} if offset_px else {}
    return _layer(
        "SimpleLine",
        line_color=_rgba(colour, opacity),
        line_width=_mm(width_px),
        line_width_unit="MM",
        line_style="solid",
        capstyle="flat",
        joinstyle="round",
        use_custom_dash="1" if dash_px else "0",
        customdash=";".join(_mm(length) for length in dash_px) or "5;2",
        customdash_unit="MM",
        **aside,
    )


def _fill(style: Style) -> str:
    flat = style.marker or not style.fill
    opacity = 0.15 if style.marker else style.fill_opacity
    colour = style.fill or style.stroke or INK
    area = _layer(
        "SimpleFill",
        color=_rgba(colour, opacity),
        style="no" if flat and not style.marker else "solid",
        outline_style="no",
    )
    return area + _line(style)


def _layer(symbol_class: str, *, inner: str = "", **properties: str) -> str:
    props = "".join(f'<prop k="{key}" v="{xml_text(value)}"/>' for key, value in properties.items())
    return f'<layer class="{symbol_class}" enabled="1" pass="0" locked="0">{props}{inner}</layer>'


def _mm(length_px: float) -> str:
    return f"{length_px * _MM_PER_PX:.3f}"


def _rgba(colour: str, opacity: float) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * opacity)}"


def _labelling(name: str) -> str:
    """Write the label column beside features, from the scale on at which there is room for it."""
    schema = layer_schema(name)
    if not schema.label:
        return ""
    along = schema.geometry == "LineString" or name == "utilities"
    generator = (
        f' geometryGeneratorEnabled="1" geometryGeneratorType="PointGeometry" geometryGenerator="{xml_text(_PLACE)}"'
        if name == "conflicts"
        else ""
    )
    size, placement = (11, 1) if name == "parcel" else (8, 2 if along else 0)
    return (
        '<labeling type="simple"><settings calloutType="simple">'
        f'<text-style fieldName="{schema.label}" isExpression="0" fontFamily="Sans Serif" fontSize="{size}"'
        f' fontSizeUnit="Point" textColor="{_rgba(INK, 1.0)}" textOpacity="1" namedStyle="Regular">'
        '<text-buffer bufferDraw="1" bufferSize="0.6" bufferSizeUnits="MM" bufferColor="255,255,255,230"/>'
        "</text-style>"
        f'<placement placement="{placement}" dist="1" distUnits="MM" priority="5"{generator}/>'
        f'<rendering scaleVisibility="1" scaleMin="0" scaleMax="{schema.label_scale}" drawLabels="1" obstacle="0"/>'
        "</settings></labeling>\n"
    )
