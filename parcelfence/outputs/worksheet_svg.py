"""Pieces of SVG: areas, lines and texts, in millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from parcelfence.outputs.escaping import html_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from shapely.geometry.base import BaseGeometry

__all__ = ["area", "line", "number", "text"]

_STEP_MM = 0.04


def number(value: float) -> str:
    """Write a length in millimetres: hundredths are finer than any printer."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if round(value, 2) else "0"


def area(
    geometry: BaseGeometry,
    *,
    fill: str,
    stroke: str,
    width_mm: float,
    dashes: str = "",
    opacity: float = 1.0,
) -> str:
    """Draw the polygons of a geometry; nothing where it has none."""
    rings = [
        ring
        for part in _parts(geometry)
        if isinstance(part, shapely.Polygon)
        for ring in (part.exterior, *part.interiors)
    ]
    if not rings:
        return ""
    path = "".join(f"{_course(ring)}Z" for ring in rings)
    return (
        f'<path d="{path}" fill="{fill}" fill-rule="evenodd" fill-opacity="{opacity:g}" stroke="{stroke}"'
        f' stroke-width="{width_mm:g}"{_dashed(dashes)} stroke-linejoin="round"/>'
    )


def line(geometry: BaseGeometry, *, stroke: str, width_mm: float, dashes: str = "") -> str:
    """Draw the lines of a geometry; nothing where it has none."""
    path = "".join(_course(part) for part in _parts(geometry) if isinstance(part, shapely.LineString))
    if not path:
        return ""
    return (
        f'<path d="{path}" fill="none" stroke="{stroke}" stroke-width="{width_mm:g}"{_dashed(dashes)}'
        ' stroke-linejoin="round"/>'
    )


def text(
    at: tuple[float, float],
    words: str,
    *,
    size_mm: float,
    bold: bool = False,
    halo: bool = False,
    colour: str = "#000",
) -> str:
    """Write a text with its middle at a place."""
    x, y = at
    weight = ' font-weight="700"' if bold else ""
    place = f'x="{number(x)}" y="{number(y + 0.36 * size_mm)}" font-size="{size_mm:g}" text-anchor="middle"{weight}'
    shown = html_text(words)
    around = (
        '<text {} fill="#fff" stroke="#fff" stroke-width="0.7" stroke-linejoin="round" aria-hidden="true">{}</text>'
    )
    under = around.format(place, shown) if halo else ""  # not paint-order, which the PDF renderer does not know
    return f'{under}<text {place} fill="{colour}">{shown}</text>'


def _dashed(dashes: str) -> str:
    return f' stroke-dasharray="{dashes}"' if dashes else ""


def _parts(geometry: BaseGeometry | None) -> Iterator[BaseGeometry]:
    if geometry is None or geometry.is_empty:
        return
    if hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from _parts(part)
    else:
        yield geometry


def _course(curve: BaseGeometry) -> str:
    points: Iterable[tuple[float, float]] = shapely.get_coordinates(shapely.simplify(curve, _STEP_MM)).tolist()
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
