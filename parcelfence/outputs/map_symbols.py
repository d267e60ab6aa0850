"""Point symbols and legend keys as small SVG pictures, drawn from the shared palette."""

from __future__ import annotations

from math import cos, pi, sin
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.style import INK, PAPER

if TYPE_CHECKING:
    from parcelfence.outputs.style import Marker, Style

__all__ = ["HALO_PX", "KEY_HEIGHT_PX", "KEY_WIDTH_PX", "legend_key", "letter_plate", "symbol"]

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
