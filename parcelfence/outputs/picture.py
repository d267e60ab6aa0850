"""A small picture of a plan: the land, the wire and its signal, to be set beside others."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import shapely
from shapely import affinity

from parcelfence.outputs.style import PAPER, style_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from shapely.geometry.base import BaseGeometry

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.style import Style
    from parcelfence.site.site import Site

__all__ = ["picture", "picture_key"]

_MARGIN_PX: Final = 8.0
_DETAIL_PX: Final = 0.2
_BELOW: Final = (
    *("roads", "water", "watercourses", "hardscape", "easements", "trees", "no_dig", "keep_outs", "buildings"),
    *("fences", "open_sides", "passages"),
)
_POINT_PX: Final = 3.0
_NAMED: Final = ("buildings", "keep_outs", "water", "hardscape", "doors", "gates")
"""Ground that an owner asks for."""


def picture(
    plan: Plan,
    *,
    width_px: float = 300.0,
    height_px: float = 240.0,
    frame: BaseGeometry | None = None,
    findings: bool = True,
) -> str:
    """Draw a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    width_px, height_px : float
        Size of the picture.
    frame : BaseGeometry, optional
        What must fit into it, in the working CRS; the property by default.
    findings : bool
        Whether the places of cautions and of what must be fixed are shown.

    Returns
    -------
    str
        An ``svg`` element.  No text from files enters it.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> parcelfence.picture(plan, width_px=200, height_px=160)[:59]
    '<svg xmlns="http://www.w3.org/2000/svg" width="200" height='
    """
    around = plan.site.parcel if frame is None else frame
    west, south, east, north = around.bounds
    scale = min(
        (width_px - 2 * _MARGIN_PX) / max(east - west, 1e-9), (height_px - 2 * _MARGIN_PX) / max(north - south, 1e-9)
    )
    middle = (west + east) / 2, (south + north) / 2
    placed = [scale, 0, 0, -scale, width_px / 2 - scale * middle[0], height_px / 2 + scale * middle[1]]
    sheet = shapely.box(0, 0, width_px, height_px)
    body = [
        drawn
        for geometry, style in _drawn(plan, findings=findings)
        for drawn in _shape(affinity.affine_transform(geometry, placed), style=style, sheet=sheet)
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_px:g}" height="{height_px:g}" '
        f'viewBox="0 0 {width_px:g} {height_px:g}" role="img" aria-label="Plan">'
        f'<rect width="{width_px:g}" height="{height_px:g}" fill="{PAPER}"/>{"".join(body)}</svg>'
    )


def picture_key(plan: Plan) -> str:
    """Explain the signs of a picture without findings, as an HTML list."""
    site = plan.site
    marked = {utility.apwa_color for utility in site.utilities}
    shown = [
        ("Free to roam", style_of("zones", value="roam")),
        ("The receiver reacts", style_of("zones", value="signal")),
        *((style_of(layer).title, style_of(layer)) for layer in _NAMED if getattr(site, layer)),
        *((style_of("utilities", value=color).title, style_of("utilities", value=color)) for color in sorted(marked)),
        ("Wire", style_of("wire", value="loop")),
        ("Lead-in, no signal", style_of("wire", value="lead_in")),
        ("Lot line", style_of("parcel")),
        ("Transmitter", style_of("transmitter")),
    ]
    return '<ul class="legend">' + "".join(f"<li>{_sign(style)} {title}</li>" for title, style in shown) + "</ul>"


def _sign(style: Style) -> str:
    """Draw the sign of a style: a dot, a patch or a piece of line."""
    if style.marker:
        drawn = _shape(shapely.Point(9, 5), style=style, sheet=shapely.box(0, 0, 18, 10))
    elif style.fill and style.stroke != style_of("parcel").stroke:
        drawn = _shape(shapely.box(1, 1, 17, 9), style=style, sheet=shapely.box(0, 0, 18, 10))
    else:
        drawn = _shape(shapely.LineString([(0, 5), (18, 5)]), style=style, sheet=shapely.box(0, 0, 18, 10))
    return f'<svg width="18" height="10" viewBox="0 0 18 10" aria-hidden="true">{"".join(drawn)}</svg>'


def _drawn(plan: Plan, *, findings: bool) -> Iterator[tuple[BaseGeometry, Style]]:
    """Give what is drawn with its style, from the ground up."""
    site, zones = plan.site, plan.zones
    yield from ((one.geometry, style_of("neighbours")) for one in site.neighbours)
    yield site.parcel, style_of("parcel")
    yield zones.roam, style_of("zones", value="roam")
    yield from _ground(site, _BELOW)
    yield zones.signal, style_of("zones", value="signal")
    yield from ((one.geometry, style_of("utilities", value=one.apwa_color)) for one in site.utilities)
    yield from ((run.line, style_of("wire", value=run.part)) for run in plan.loop.runs)
    yield from _ground(site, ("doors", "gates"))
    if plan.loop.transmitter is not None:
        yield plan.loop.transmitter.point, style_of("transmitter")
    for severity in ("caution", "must_fix") if findings else ():
        places = [one.geometry.centroid for one in plan.conflicts if one.severity == severity]
        yield from ((place, style_of("conflicts", value=severity)) for place in places)


def _ground(site: Site, layers: Iterable[str]) -> Iterator[tuple[BaseGeometry, Style]]:
    for layer in layers:
        yield from ((one.geometry, style_of(layer)) for one in getattr(site, layer))


def _shape(geometry: BaseGeometry, *, style: Style, sheet: BaseGeometry) -> Iterator[str]:
    """Draw one geometry in pixels, with half the line widths of a full map."""
    for part in shapely.get_parts(shapely.simplify(geometry, _DETAIL_PX)):
        shown = part if part.geom_type == "Point" else shapely.intersection(part, sheet.buffer(4))
        for piece in shapely.get_parts(shown):
            if piece.geom_type == "Point":
                yield (
                    f'<circle cx="{piece.x:.1f}" cy="{piece.y:.1f}" r="{_POINT_PX:g}" fill="{style.fill}" '
                    f'stroke="{style.stroke or "none"}" stroke-width="0.7"/>'
                )
            elif piece.geom_type == "Polygon" and not piece.is_empty:
                outline = " ".join(_path(ring.coords) + "Z" for ring in (piece.exterior, *piece.interiors))
                fill = style.fill or "none"
                yield f'<path d="{outline}" fill="{fill}" fill-opacity="{style.fill_opacity:g}" {_pen(style)}/>'
            elif piece.geom_type == "LineString" and not piece.is_empty:
                if style.halo:
                    yield f'<path d="{_path(piece.coords)}" fill="none" stroke="{style.halo}" stroke-width="3"/>'
                yield f'<path d="{_path(piece.coords)}" fill="none" {_pen(style)}/>'


def _pen(style: Style) -> str:
    dashes = " ".join(f"{length / 2:g}" for length in style.dash_px)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'stroke="{style.stroke or "none"}" stroke-width="{style.width_px / 2:g}"{dashed}'


def _path(coordinates: Iterable[Any]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in coordinates)
