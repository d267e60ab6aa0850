"""Drawn layers on a folium map: lines, areas, and points as pictures or, where there are many, circles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from parcelfence.outputs.escaping import script_json
from parcelfence.outputs.map_symbols import HALO_PX, letter_plate, symbol

if TYPE_CHECKING:
    import folium

    from parcelfence.outputs.map_features import Drawn
    from parcelfence.outputs.style import Style

__all__ = ["add_layer", "halo"]

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


def halo(style: Style) -> dict[str, Any]:
    """Give the look of the wider line under a line, as Leaflet's path options; empty if it has none."""
    if not style.halo:
        return {}
    return {"color": style.halo, "weight": style.width_px + HALO_PX, "opacity": 0.9, "interactive": False}


def _look(entry: Drawn) -> dict[str, Any]:
    style = entry.style
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
    if entry.layer == "conflicts":  # what it covers is drawn while its words are open; till then the badge is enough
        look |= {"color": style.fill, "weight": 6, "opacity": 0.8, "fillOpacity": 0.2, "stroke": False, "fill": False}
    if style.marker and not _pictured(entry):
        look["className"] = f"dot dot-{entry.layer}"
    return look


def _marker(entry: Drawn) -> folium.Marker | folium.CircleMarker:
    import folium

    style = entry.style
    if not _pictured(entry):
        return folium.CircleMarker(radius=max(2.0, style.size_px / 2))
    picture = symbol(style) if style.marker else letter_plate(style)
    lift_px = _STEM_PX if entry.layer == "conflicts" else 0  # a badge stands on a stem, clear of what it points at
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
