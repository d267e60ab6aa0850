"""A plan in a notebook: a map to look around on, and axes to draw further on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import shapely

from parcelfence.errors import MissingExtraError
from parcelfence.layers import layer_schema
from parcelfence.outputs.delivery import delivery
from parcelfence.outputs.map_features import drawn_layers
from parcelfence.outputs.map_layers import plain_layer
from parcelfence.outputs.style import PAPER, STYLE_COLUMN, STYLES, style_of

if TYPE_CHECKING:
    import folium
    from geopandas import GeoDataFrame
    from matplotlib.axes import Axes

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.style import Style

__all__ = ["explore", "plot"]

_POINTS_PER_PX: Final = 72 / 96
_MARKERS: Final = {
    "circle": "o",
    "square": "s",
    "diamond": "D",
    "triangle": "^",
    "hexagon": "h",
    "pennant": ">",
    "tick": ".",
}
"""Shapes of matplotlib that come nearest to those of the map."""
_TOO_MANY: Final = frozenset({"stations", "flags"})
"""Points that would hide the wire on a drawing of usual size."""
_OFF: Final = frozenset({"stations", "flags", "conflicts-note"})
"""Layers that a person switches on."""
_CLOSEST_ZOOM: Final = 24


def explore(plan: Plan, *, tiles: str | None = None) -> folium.Map:
    """Make a map of a plan, to be looked at in a notebook or to be drawn on further.

    Parameters
    ----------
    plan : Plan
        The plan.
    tiles : str, optional
        Background tiles by folium's name of them, such as ``"OpenStreetMap"``; without them the plan lies on plain
        ground.

    Returns
    -------
    folium.Map
        Every layer with its style, its words and a switch.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> sheet = parcelfence.explore(plan)  # or plan.explore()
    >>> type(sheet)
    <class 'folium.folium.Map'>
    """
    import folium

    tables = delivery(plan).wgs84
    west, south, east, north = (float(edge) for edge in tables["parcel"].total_bounds)
    sheet = folium.Map(
        location=((south + north) / 2, (west + east) / 2), tiles=tiles, max_zoom=_CLOSEST_ZOOM, control_scale=True
    )
    for entry in drawn_layers(plan, tables=tables):
        group = folium.FeatureGroup(name=entry.style.title, show=entry.key not in _OFF)
        plain_layer(entry).add_to(group)
        group.add_to(sheet)
    folium.LayerControl(collapsed=True).add_to(sheet)
    sheet.fit_bounds([[south, west], [north, east]])
    return sheet


def plot(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw a plan with matplotlib, in metres of the working CRS.

    Parameters
    ----------
    plan : Plan
        The plan.
    ax : Axes, optional
        Where to draw; new ones where left out.

    Returns
    -------
    Axes
        With equal scales; names of layers are the labels of what was drawn.

    Raises
    ------
    MissingExtraError
        If matplotlib is not installed.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> import matplotlib
    >>> matplotlib.use("agg")  # no window
    >>> axes = parcelfence.plot(plan)  # or plan.plot()
    >>> axes.get_title()
    '31-05, parcel 31-05'
    """  # noqa: DOC501  (`of` makes it)
    try:
        import matplotlib.pyplot as plt
    except ImportError as error:
        raise MissingExtraError.of("plot", package="matplotlib", purpose="A drawing with axes") from error
    if ax is None:
        _, ax = plt.subplots(figsize=(8, 8), layout="constrained")
    ax.set_facecolor(PAPER)
    tables = plan.layers()
    for height, layer in enumerate(dict.fromkeys(layer for layer, _ in STYLES)):
        table = tables.get(layer)
        if table is None or table.empty or not layer_schema(layer).shown or layer in _TOO_MANY:
            continue
        for value, rows in _by_style(layer, table):
            if f"{layer}-{value}" in _OFF:
                continue
            style = style_of(layer, value=value)
            areas = bool((shapely.get_dimensions(rows.geometry) == 2).all())  # noqa: PLR2004  (areas)
            look = _point_look(style) if style.marker else _look(style, areas=areas)
            shapes = rows.geometry.representative_point() if style.marker else rows.geometry
            shapes.plot(ax=ax, zorder=height + 1, label=style.title, aspect=None, **look)
    west, south, east, north = tables["parcel"].total_bounds
    margin = 0.05 * max(east - west, north - south)
    ax.set(xlim=(west - margin, east + margin), ylim=(south - margin, north + margin), aspect="equal")
    ax.set(xlabel="east (m)", ylabel="north (m)", title=f"{plan.site.name}, parcel {plan.site.parcel_id}")
    return ax


def _by_style(layer: str, table: GeoDataFrame) -> list[tuple[str, GeoDataFrame]]:
    column = STYLE_COLUMN.get(layer)
    if column is None:
        return [("", table)]
    return [(str(value), rows) for value, rows in table.groupby(column, sort=False)]


def _look(style: Style, *, areas: bool) -> dict[str, Any]:
    look: dict[str, Any] = {"linewidth": style.width_px * _POINTS_PER_PX}
    if style.dash_px:
        look["linestyle"] = (0, tuple(length / max(style.width_px, 1.0) for length in style.dash_px))
    if areas:
        face: Any = (*_rgb(style.fill), style.fill_opacity) if style.fill else "none"
        edge: Any = (*_rgb(style.stroke), style.stroke_opacity) if style.stroke else "none"
        return look | {"facecolor": face, "edgecolor": edge}
    return look | {"color": style.stroke or "none", "alpha": style.stroke_opacity}


def _point_look(style: Style) -> dict[str, Any]:
    return {
        "marker": _MARKERS.get(style.marker, "o"),
        "markersize": (style.size_px * _POINTS_PER_PX * 0.6) ** 2,
        "facecolor": style.fill or "none",
        "edgecolor": style.stroke or "none",
        "linewidth": 0.6,
    }


def _rgb(color: str) -> tuple[float, ...]:
    return tuple(int(color[place : place + 2], 16) / 255 for place in (1, 3, 5))
