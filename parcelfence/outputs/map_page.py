"""The map as one HTML page that opens without a connection: a folium map with the sheet and the tools beside it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final, cast

from parcelfence.outputs.escaping import html_text, script_json
from parcelfence.outputs.map_assets import asset_store, inline_assets
from parcelfence.outputs.map_features import drawn_layers, metres_per_degree, unit_factors
from parcelfence.outputs.map_layers import add_layer, halo, zone_look
from parcelfence.outputs.map_levels import level_control, level_data, plan_levels
from parcelfence.outputs.map_panel import heading, panel
from parcelfence.outputs.map_words import AS_GIVEN, LABELS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import folium
    from branca.element import Element, Figure
    from geopandas import GeoDataFrame

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.map_features import Drawn

__all__ = ["NAME", "Background", "map_page", "write"]

_CANVAS_FEATURES: Final = 2_000
"""Features beyond which the browser paints on a canvas instead of keeping one element for each."""
_CLOSEST_ZOOM: Final = 24
_PAIR: Final = re.compile(r"\[(-?\d+\.\d{5,8}), (-?\d+\.\d{5,8})\](?:(,) (?=\[))?")
"""A coordinate pair as folium writes it; its blanks would be a fifteenth of the page."""
_INDENT: Final = re.compile(r"\s*\n\s*")
_TILES: Final = "https://tile.openstreetmap.org"


@dataclass(frozen=True, kw_only=True)
class Background:
    """A picture to lie under the plan, such as an air photo that the person holds.

    Parameters
    ----------
    image : str
        The picture as a ``data:image/...;base64,`` address.
    west, south, east, north : float
        Its edges on WGS 84, degrees; rows of the picture run along parallels.
    """

    image: str
    west: float
    south: float
    east: float
    north: float


def map_page(
    plan: Plan, *, tables: Mapping[str, GeoDataFrame], background: Background | None = None, tiles: bool = False
) -> str:
    """Write the map of a plan.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    tables : mapping of str to GeoDataFrame
        Its layers on WGS 84, longitude before latitude, with the columns of :mod:`parcelfence.layers`.
    background : Background, optional
        A picture under the plan.
    tiles : bool
        Whether the page offers a button for online background tiles.  Nothing is requested before it is pressed;
        without this option the page is forbidden to request anything.

    Returns
    -------
    str
        A whole HTML page; the same text for the same plan.
    """
    drawn = drawn_layers(plan, tables=tables)
    west, south, east, north = (float(edge) for edge in tables["parcel"].total_bounds)
    middle = (west + east) / 2, (south + north) / 2
    sheet = _bare_map(middle, canvas=sum(len(entry.features) for entry in drawn) > _CANVAS_FEATURES)
    _part("script", text=_text("map_tools.js") + _text("map_levels.js") + _text("map_page.js")).add_to(sheet)
    if background is not None:
        _picture(background).add_to(sheet)
    layers: dict[str, list[folium.GeoJson]] = {}
    for entry in drawn:
        layers.setdefault(entry.switch, []).append(add_layer(entry, sheet))
    figure = cast("Figure", sheet.get_root())
    _name_stably(figure)
    found = plan_levels(plan)
    data = {
        "levels": level_data(plan, found, origin=middle),
        "looks": {kind: zone_look(kind) for kind in ("signal", "roam")},
        "bounds": [[south, west], [north, east]],
        "origin": middle,
        "metresPerDegree": metres_per_degree(*middle),
        "units": unit_factors(plan.settings),
        "halos": {entry.key: look for entry in drawn if (look := halo(entry.style))},
        "labels": {entry.key: LABELS.get(_words_layer(entry), AS_GIVEN) for entry in drawn},
        "titles": {entry.key: entry.style.title for entry in drawn if entry.layer == "conflicts"},
        "picture": background is not None,
        "tiles": f"{_TILES}/{{z}}/{{x}}/{{y}}.png" if tiles else "",
    }
    names = ", ".join(f"{script_json(key)}: [{', '.join(map(_name, group))}]" for key, group in layers.items())
    start = f"parcelSheet.start({sheet.get_name()}, {{ {names} }}, {script_json(data)});"
    _part("html", text=panel(plan, drawn=drawn, levels=level_control(plan, found)) + _text("map_tools.html")).add_to(
        sheet
    )
    _part("script", text=start).add_to(sheet)
    return _whole(figure, title=heading(plan), tiles=tiles)


def _bare_map(middle: tuple[float, float], *, canvas: bool) -> folium.Map:
    import folium

    bare = folium.Map(
        location=middle[::-1],
        tiles=None,
        zoom_control=False,
        attribution_control=False,
        zoom_snap=0.25,
        prefer_canvas=canvas,
    )
    bare.options["max_zoom"] = _CLOSEST_ZOOM  # folium hands this one to tile layers only
    return bare


def _words_layer(entry: Drawn) -> str:
    return "utilities" if entry.layer == "tolerance" else entry.layer


def _name(layer: folium.GeoJson) -> str:
    return str(layer.get_name())


def _text(name: str) -> str:
    return (files(__package__) / name).read_text(encoding="utf-8")


def _raw(place: str) -> str:
    """Write a macro that gives a text as it is: branca runs what a macro gave through its templates once more."""
    text = "{{ '{% raw %}' }}{{ this.text }}{{ '{% endraw %}' }}"
    return f"{{% macro {place}(this, kwargs) %}}{text}{{% endmacro %}}"


def _part(place: str, *, text: str) -> Element:
    """Make a part of the page: ``html`` or ``script``."""
    from branca.element import MacroElement
    from jinja2 import Template

    part: Any = MacroElement()  # type: ignore[no-untyped-call]
    part._template = Template(_raw(place))  # ruff: ignore[private-member-access]  (the way branca offers)
    part.text = text
    return cast("Element", part)


def _picture(background: Background) -> folium.raster_layers.ImageOverlay:
    import folium

    return folium.raster_layers.ImageOverlay(
        image=background.image,
        bounds=[[background.south, background.west], [background.north, background.east]],
        control=False,
        zindex=1,
    )


def _name_stably(root: Element) -> None:
    """Give the elements numbers for names: branca's own names differ on each run."""
    waiting, number = [root], 0
    while waiting:
        element = waiting.pop(0)
        element._id = f"{number}"  # ruff: ignore[private-member-access]  (the only way to a stable name)
        number += 1
        waiting += element._children.values()  # ruff: ignore[private-member-access]


def _whole(figure: Figure, *, title: str, tiles: bool) -> str:
    """Render the page, put the assets into it and forbid it every request that it does not need."""
    from branca.element import Element

    images = f"data: {_TILES}" if tiles else "data:"
    policy = (
        f"default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src {images}; base-uri 'none'"
    )
    figure.title = f"{html_text(title)}: boundary wire plan"
    figure.header.add_child(
        Element(f'<meta http-equiv="Content-Security-Policy" content="{policy}">'), name="policy", index=1
    )
    rendered = _INDENT.sub("\n", _PAIR.sub(lambda pair: f"[{pair[1]},{pair[2]}]{pair[3] or ''}", figure.render()))
    page = inline_assets(rendered, asset_store())
    sheet = f"<style>{_text('map_page.css')}</style>"
    return page.replace("</head>", f"{sheet}\n</head>", 1).replace("<html>", '<html lang="en">', 1)


NAME: Final = "map.html"


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``map.html``."""
    page = map_page(delivery.plan, tables=delivery.wgs84)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")
