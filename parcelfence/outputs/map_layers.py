"""Drawn layers on a folium map and keys of the legend: lines, areas, and points as pictures or, where many, circles."""

from __future__ import annotations

from math import cos, pi, sin
from typing import TYPE_CHECKING, Any, Final

from parcelfence.outputs.escaping import script_json
from parcelfence.outputs.map_words import AS_GIVEN, LABELS
from parcelfence.outputs.style import INK, PAPER, style_of

if TYPE_CHECKING:
    import folium

    from parcelfence.outputs.map_features import Drawn
    from parcelfence.outputs.style import Marker, Style

__all__ = [
    "HALO_PX",
    "KEY_HEIGHT_PX",
    "KEY_WIDTH_PX",
    "add_layer",
    "halo",
    "legend_key",
    "letter_plate",
    "plain_layer",
    "symbol",
    "zone_look",
]

_MOST_PICTURES: Final = 400
"""Points of a layer beyond which plain circles take the place of little pictures."""
_HIT_PX: Final = 32
"""Width of the touchable box around a point symbol."""
_STEM_PX: Final = 22
"""Height at which the badge of a conflict stands over its place."""


def add_layer(entry: Drawn, sheet: folium.Map) -> folium.GeoJson:
    """Add one drawn layer to a map.

    Parameters
    ----------
    entry : Drawn
        The layer.
    sheet : folium.Map
        The map; it must define ``parcelSheet.describe`` before.

    Returns
    -------
    folium.GeoJson
        What was added.
    """
    import folium

    look = _look(entry)
    layer = folium.GeoJson(
        {"type": "FeatureCollection", "features": list(entry.features)},
        style_function=lambda _feature: dict(look),
        name=entry.key,
        control=False,
        smooth_factor=0.5,
        marker=_marker(entry),
        on_each_feature=folium.JsCode(f"parcelSheet.describe({script_json(entry.key)})"),
    )
    layer.add_to(sheet)
    return layer


def plain_layer(entry: Drawn) -> folium.GeoJson:
    """Make a drawn layer for any folium map, with its words as popups."""
    import folium

    look = _plain_look(entry.style)
    features = [
        {**feature, "properties": {"words": _words(feature["properties"], layer=entry.layer)}}
        for feature in entry.features
        if entry.layer != "conflicts" or feature["geometry"]["type"] == "Point"
    ]
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        style_function=lambda _feature: dict(look),
        name=entry.style.title,
        marker=_marker(entry, lifted=False),
        popup=folium.GeoJsonPopup(fields=["words"], labels=False, max_width=320),
    )


def _words(properties: dict[str, Any], *, layer: str) -> str:
    """Set title and lines, escaped when they were made, one below the other with what they are."""
    labels = LABELS.get("utilities" if layer == "tolerance" else layer, AS_GIVEN)
    lines = [f"{label}: {value}" for label, value in zip(labels, properties["v"], strict=False) if value]
    return "<br>".join([f"<b>{properties['t']}</b>", *lines])


def halo(style: Style) -> dict[str, Any]:
    """Give the look of the wider line under a line, as Leaflet's path options; empty if it has none."""
    if not style.halo:
        return {}
    return {"color": style.halo, "weight": style.width_px + HALO_PX, "opacity": 0.9, "interactive": False}


def zone_look(kind: str) -> dict[str, Any]:
    """Give the look of a zone, as Leaflet's path options."""
    return _plain_look(style_of("zones", value=kind))


def _look(entry: Drawn) -> dict[str, Any]:
    style = entry.style
    look = _plain_look(style)
    if entry.layer == "conflicts":  # what it covers is drawn while its words are open; till then the badge is enough
        look |= {"color": style.fill, "weight": 6, "opacity": 0.8, "fillOpacity": 0.2, "stroke": False, "fill": False}
    if style.marker and not _pictured(entry):
        look["className"] = f"dot dot-{entry.layer}"
    return look


def _plain_look(style: Style) -> dict[str, Any]:
    look: dict[str, Any] = {
        "stroke": bool(style.stroke),
        "color": style.stroke or "none",
        "weight": style.width_px,
        "opacity": style.stroke_opacity,
        "fill": bool(style.fill),
        "fillColor": style.fill or "none",
        "fillOpacity": style.fill_opacity,
        "lineCap": "butt" if style.dash_px else "round",
    }
    if style.dash_px:
        look["dashArray"] = " ".join(f"{length:g}" for length in style.dash_px)
    return look


def _marker(entry: Drawn, *, lifted: bool = True) -> folium.Marker | folium.CircleMarker:
    import folium

    style = entry.style
    if not _pictured(entry):
        return folium.CircleMarker(radius=max(2.0, style.size_px / 2))
    picture = symbol(style) if style.marker else letter_plate(style)
    on_stem = lifted and entry.layer == "conflicts"  # clear of what it points at
    lift_px = _STEM_PX if on_stem else 0
    icon = folium.DivIcon(
        html=picture,
        icon_size=(_HIT_PX, _HIT_PX),
        icon_anchor=(_HIT_PX // 2, _HIT_PX // 2 + lift_px),
        popup_anchor=(0, -8),
        class_name=f"mark mark-{entry.layer} mark-{entry.key}",
    )
    return folium.Marker(icon=icon, keyboard=False, z_index_offset=1000 if entry.layer == "conflicts" else 0)


def _pictured(entry: Drawn) -> bool:
    """Tell whether points of a layer are drawn as pictures, not as circles."""
    style = entry.style
    points = sum(feature["geometry"]["type"] == "Point" for feature in entry.features)
    return bool(style.marker or style.letter) and style.marker != "tick" and points <= _MOST_PICTURES


KEY_WIDTH_PX: Final = 34
KEY_HEIGHT_PX: Final = 20
HALO_PX: Final = 2.5
"""By how much a halo is wider than its line."""
_PALE: Final = 0.55
"""Relative brightness above which a dark letter reads better than a light one."""


def symbol(style: Style) -> str:
    """Draw the symbol of a point style as an SVG element, centred in its box."""
    box = style.size_px + 4
    return (
        f'<svg width="{box:g}" height="{box:g}" viewBox="{-box / 2:g} {-box / 2:g} {box:g} {box:g}" '
        f'aria-hidden="true">{_shape(style)}</svg>'
    )


def letter_plate(style: Style) -> str:
    """Draw the small plate with the letter of a utility that interrupts its line."""
    ink = INK if _brightness(style.stroke) > _PALE else "#ffffff"
    return (
        '<svg width="16" height="16" viewBox="-8 -8 16 16" aria-hidden="true">'
        f'<circle r="6.6" fill="{style.stroke}" stroke="{style.halo or INK}" stroke-width="1.4"/>'
        f"{_letter(style.letter, size_px=9.5, fill=ink)}</svg>"
    )


def legend_key(style: Style) -> str:
    """Draw the legend key of a style: a swatch for an area, a stroke for a line, the symbol for a point."""
    half = KEY_HEIGHT_PX / 2
    if style.marker:
        body = f'<g transform="translate({KEY_WIDTH_PX / 2:g} {half:g})">{_shape(style)}</g>'
    elif style.fill or not style.halo:
        body = (
            f'<rect x="3" y="3" width="{KEY_WIDTH_PX - 6}" height="{KEY_HEIGHT_PX - 6}" rx="1.5" '
            f'fill="{style.fill or "none"}" fill-opacity="{style.fill_opacity:g}" {_stroke(style)}/>'
        )
    else:
        line = f'x1="2" x2="{KEY_WIDTH_PX - 2}" y1="{half:g}" y2="{half:g}"'
        halo = f'stroke="{style.halo}" stroke-width="{style.width_px + HALO_PX:g}"'
        body = f"<line {line} {halo}/><line {line} {_stroke(style)}/>"
        if style.letter:
            body += f'<g transform="translate({KEY_WIDTH_PX / 2 - 8:g} {half - 8:g})">{letter_plate(style)}</g>'
    return (
        f'<svg width="{KEY_WIDTH_PX}" height="{KEY_HEIGHT_PX}" viewBox="0 0 {KEY_WIDTH_PX} {KEY_HEIGHT_PX}" '
        f'aria-hidden="true">{body}</svg>'
    )


def _shape(style: Style) -> str:
    radius = style.size_px / 2
    look = f'fill="{style.fill}" fill-opacity="{style.fill_opacity:g}" {_stroke(style)} stroke-linejoin="round"'
    drawn = _outline(style.marker, radius=radius, look=look)
    if not style.letter:
        return drawn
    ink = INK if _brightness(style.fill) > _PALE else PAPER
    drop = radius * 0.18 if style.marker == "triangle" else 0.0
    return drawn + _letter(style.letter, size_px=radius * 1.15, fill=ink, drop_px=drop)


def _outline(marker: Marker, *, radius: float, look: str) -> str:
    if marker == "circle":
        return f'<circle r="{radius:g}" {look}/>'
    if marker == "tick":
        return f'<circle r="{radius * 0.7:g}" {look}/>'
    if marker == "pennant":
        staff = f"M{-radius * 0.5:g} {radius:g}V{-radius:g}"
        return f'<path d="{staff}L{radius:g} {-radius * 0.35:g}L{-radius * 0.5:g} {radius * 0.25:g}" {look}/>'
    corners = {
        "triangle": [(0, -1.0), (1.05, 0.85), (-1.05, 0.85)],
        "square": [(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)],
        "diamond": [(0, -1.0), (1.0, 0), (0, 1.0), (-1.0, 0)],
        "hexagon": [(cos(k * pi / 3), sin(k * pi / 3)) for k in range(6)],
    }[marker]
    path = "L".join(f"{x * radius:.2f} {y * radius:.2f}" for x, y in corners)
    return f'<path d="M{path}Z" {look}/>'


def _stroke(style: Style) -> str:
    if not style.stroke:
        return 'stroke="none"'
    dash = f' stroke-dasharray="{" ".join(f"{length:g}" for length in style.dash_px)}"' if style.dash_px else ""
    return f'stroke="{style.stroke}" stroke-width="{style.width_px:g}" stroke-opacity="{style.stroke_opacity:g}"{dash}'


def _letter(letter: str, *, size_px: float, fill: str, drop_px: float = 0.0) -> str:
    return (
        f'<text text-anchor="middle" y="{size_px * 0.36 + drop_px:.2f}" font-size="{size_px:.2f}" font-weight="700" '
        f'font-family="system-ui, sans-serif" fill="{fill}">{letter}</text>'
    )


def _brightness(color: str) -> float:
    """Relative luminance of an ``#rrggbb`` colour, 0 to 1, without gamma: good enough to choose black or white."""
    red, green, blue = (int(color[place : place + 2], 16) / 255 for place in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue
