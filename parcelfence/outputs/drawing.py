"""The plan drawing of the worksheet: an SVG to scale that reads in black and white."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.outputs.drawing_marks import (
    conflict_marks,
    crossing_marks,
    flag_marks,
    leg_marks,
    place_marks,
    station_marks,
    tape_marks,
)
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.paper import Labels, area, line, nice_step, number, text, unit_length_m
from parcelfence.outputs.style import INK, style_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.paper import Sheet
    from parcelfence.site.feature import Feature, Utility

__all__ = ["GROUND", "PATTERNS", "drawing", "legend", "north_arrow", "scale_bar", "sheet_svg"]

GROUND: Final = {
    "roads": ("#eee", "#999", ""),
    "hardscape": ("url(#dots)", "#888", ""),
    "water": ("url(#waves)", "#555", ""),
    "watercourses": ("url(#waves)", "#777", "1.4 0.8"),
    "trees": ("#f1f1f1", "#888", "0.8 0.8"),
    "easements": ("none", "#555", "3 1 0.6 1 0.6 1"),
    "keep_outs": ("url(#cross)", "#333", "1.2 0.8"),
    "no_dig": ("url(#bars)", "#333", "0.5 0.8"),
    "buildings": ("url(#hatch)", "#000", ""),
    "metal": ("#bbb", "#333", ""),
}
"""Fill, outline and dashes of what lies on the ground, from below to above."""
PATTERNS: Final = """<defs>
<pattern id="hatch" width="1.6" height="1.6" patternTransform="rotate(45)" patternUnits="userSpaceOnUse">
<rect width="1.6" height="1.6" fill="#f4f4f4"/><path d="M0 0V1.6" stroke="#777" stroke-width="0.3"/></pattern>
<pattern id="cross" width="2" height="2" patternTransform="rotate(45)" patternUnits="userSpaceOnUse">
<path d="M0 0H2M0 0V2" stroke="#999" stroke-width="0.25" fill="none"/></pattern>
<pattern id="bars" width="1.8" height="1.8" patternUnits="userSpaceOnUse">
<path d="M0 0.9H1.8" stroke="#999" stroke-width="0.25"/></pattern>
<pattern id="dots" width="1.5" height="1.5" patternUnits="userSpaceOnUse">
<rect width="1.5" height="1.5" fill="#fafafa"/><circle cx="0.5" cy="0.5" r="0.17" fill="#888"/></pattern>
<pattern id="waves" width="4" height="1.6" patternUnits="userSpaceOnUse">
<path d="M0 0.8Q1 0.2 2 0.8T4 0.8" fill="none" stroke="#888" stroke-width="0.2"/></pattern>
</defs>"""
_WIRE_DASHES: Final = {"loop": "", "inner_loop": "3.2 0.8", "return_run": "2.4 0.8 0.5 0.8", "lead_in": "0.9 0.7"}
_LETTERS_EVERY_MM: Final = 22.0
_LETTER_MM: Final = 2.3
_SCALE_BAR_MM: Final = 55.0


def drawing(plan: Plan, sheet: Sheet, *, details: Sequence[Sheet] = ()) -> str:
    """Draw a plan to scale.

    Parameters
    ----------
    plan : Plan
        The plan.
    sheet : Sheet
        Scale and place on the paper, from :func:`parcelfence.outputs.paper.sheets_of`.
    details : sequence of Sheet
        Sheets whose frames are drawn, with their letters.

    Returns
    -------
    str
        An ``svg`` element measured in millimetres; printed at 100 % it is true to its stated scale.
    """
    labels = Labels(sheet.width_mm, sheet.height_mm)
    arrow = north_arrow(sheet, labels)
    marks = [
        *place_marks(plan, sheet, labels=labels),
        *leg_marks(plan, sheet, labels=labels),
        *crossing_marks(plan, sheet, labels=labels),
        *conflict_marks(plan, sheet, labels=labels),
        *tape_marks(plan, sheet, labels=labels),
        *station_marks(plan, sheet, labels=labels),
        *flag_marks(plan, sheet, labels=labels),
    ]
    body = [
        *_ground(plan, sheet),
        *_buried(plan, sheet),
        *_wire(plan, sheet),
        *_frames(sheet, details, labels=labels),
        *labels.ties,
        *marks,
        *_names(plan, sheet, labels=labels),
    ]
    return sheet_svg(sheet, [*body, arrow])


def sheet_svg(sheet: Sheet, body: Iterable[str]) -> str:
    """Set pieces of SVG into the frame of a sheet, with the bar by which its scale is checked."""
    size = f'width="{number(sheet.width_mm)}mm" height="{number(sheet.height_mm)}mm"'
    box = f"0 0 {number(sheet.width_mm)} {number(sheet.height_mm)}"
    return (
        f'<svg class="plan" xmlns="http://www.w3.org/2000/svg" {size} viewBox="{box}" role="img"'
        f' aria-label="Plan drawing at {html_text(sheet.words)}">{PATTERNS}'
        f'<rect x="0.2" y="0.2" width="{number(sheet.width_mm - 0.4)}" height="{number(sheet.height_mm - 0.4)}"'
        f' fill="#fff" stroke="#000" stroke-width="0.3"/>{"".join(body)}</svg>'
        f'<div class="scale">{scale_bar(sheet)}<span>Scale {html_text(sheet.words)} when printed at 100 %. '
        f"Check the bar with a ruler.</span></div>"
    )


def _ground(plan: Plan, sheet: Sheet) -> Iterator[str]:
    site = plan.site
    for neighbour in site.neighbours:
        yield area(sheet.geometry(neighbour.geometry), fill="none", stroke="#999", width_mm=0.15)
    for role, (fill, stroke, dashes) in GROUND.items():
        features: tuple[Feature, ...] = getattr(site, role)
        for feature in features:
            drawn = sheet.geometry(feature.geometry)
            yield area(drawn, fill=fill, stroke=stroke, width_mm=0.25, dashes=dashes)
            yield line(drawn, stroke="#777", width_mm=0.3)
    yield area(sheet.geometry(site.parcel), fill="none", stroke="#000", width_mm=0.45, dashes="5 1 1 1")
    if site.wanted_area is not None:
        yield area(sheet.geometry(site.wanted_area), fill="none", stroke="#444", width_mm=0.25, dashes="2 1.4")
    for feature in (*site.open_sides, *site.other_loops):
        yield line(sheet.geometry(feature.geometry), stroke="#666", width_mm=0.4, dashes="0.5 1.2")
    for feature in site.joints:
        yield line(sheet.geometry(feature.geometry), stroke="#666", width_mm=0.2)
    for feature in site.fences:
        yield line(sheet.geometry(feature.geometry), stroke="#555", width_mm=0.35, dashes="2 0.5 0.3 0.5")
    for feature in site.passages:
        yield line(sheet.geometry(feature.geometry), stroke="#000", width_mm=0.5, dashes="1.4 0.9")
    signal = sheet.geometry(plan.zones.signal)
    yield area(signal, fill="#000", stroke="#777", width_mm=0.15, dashes="0.7 0.7", opacity=0.07)


def _buried(plan: Plan, sheet: Sheet) -> Iterator[str]:
    for utility in plan.site.utilities:
        colour = style_of("utilities", value=utility.apwa_color).stroke
        colour = "#666" if colour == "#ffffff" else colour
        zone = utility.geometry.buffer(utility.tolerance_m, cap_style="flat")
        yield area(sheet.geometry(zone), fill=colour, stroke="#777", width_mm=0.1, dashes="0.5 0.5", opacity=0.12)
        drawn = sheet.geometry(utility.geometry)
        yield line(drawn, stroke="#000", width_mm=0.75)
        yield line(drawn, stroke=colour, width_mm=0.5)
        yield area(drawn, fill="none", stroke=colour, width_mm=0.4)
        yield from _letters(utility, drawn)


def _frames(sheet: Sheet, details: Sequence[Sheet], *, labels: Labels) -> Iterator[str]:
    """Draw where the details lie."""
    for detail in details:
        drawn = sheet.geometry(detail.frame)
        west, north, east, south = drawn.bounds
        corners = [(west + 4, north + 4), (east - 4, north + 4), (west + 4, south - 4), (east - 4, south - 4)]
        place = labels.place("MM", corners, size_mm=5.0) or corners[0]
        yield area(drawn, fill="none", stroke="#000", width_mm=0.2, dashes="4 2")
        yield text(place, detail.name, size_mm=5.0, bold=True, halo=True)


def _letters(utility: Utility, drawn: shapely.Geometry) -> Iterator[str]:
    letter = style_of("utilities", value=utility.apwa_color).letter
    for part in shapely.get_parts(drawn):
        course = part.exterior if isinstance(part, shapely.Polygon) else part
        if not isinstance(course, shapely.LineString) or course.length < _LETTER_MM * 2:
            continue
        count = max(1, int(course.length // _LETTERS_EVERY_MM))
        for place in range(count):
            at = course.interpolate((place + 0.5) / count, normalized=True)
            yield (
                f'<circle cx="{number(at.x)}" cy="{number(at.y)}" r="1.35" fill="#fff" stroke="#000"'
                f' stroke-width="0.15"/>{text((at.x, at.y), letter, size_mm=_LETTER_MM, bold=True)}'
            )


def _wire(plan: Plan, sheet: Sheet) -> Iterator[str]:
    for leg in plan.take_off.sequence.legs:
        drawn = sheet.geometry(leg.line)
        yield line(drawn, stroke="#fff", width_mm=1.5)
        yield line(drawn, stroke=INK, width_mm=0.7, dashes=_WIRE_DASHES[leg.part])


def _names(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Write the names of what lies on the ground, where there is room."""
    for role in ("buildings", "keep_outs", "no_dig", "water", "watercourses", "hardscape", "easements"):
        features: tuple[Feature, ...] = getattr(plan.site, role)
        for feature in features:
            drawn = sheet.geometry(feature.geometry)
            if drawn.is_empty or drawn.area < 12:  # noqa: PLR2004  (square millimetres: too small for a word)
                continue
            word = _short(feature.kind or role)
            at = drawn.representative_point()
            offsets = [(at.x, at.y + shift) for shift in (0, -3, 3, -6, 6, -9, 9)]
            place = labels.place(word, offsets, size_mm=2.5)
            if place is not None:
                yield text(place, word, size_mm=2.5, halo=True)


def _short(word: str, *, most: int = 24) -> str:
    plain = " ".join(word.replace("_", " ").split())
    return plain if len(plain) <= most else plain[: most - 1] + "\u2026"


def north_arrow(sheet: Sheet, labels: Labels) -> str:
    """Draw the north arrow into the upper right corner."""
    x, y = sheet.width_mm - 8.0, 10.0
    labels.take(x, y, half_mm=8.0)
    turn, letter = (-90, (x + 7.4, y)) if sheet.turned else (0, (x, y + 7.4))
    return (
        f'<g transform="translate({number(x)} {number(y)}) rotate({turn})"><circle r="6.6" fill="#fff"/>'
        '<path d="M0 -6L2.4 4L0 2.2L-2.4 4Z" fill="#fff" stroke="#000" stroke-width="0.3"/>'
        '<path d="M0 -6L0 2.2L-2.4 4Z" fill="#000"/></g>'
        f"{text(letter, 'N', size_mm=3.4, bold=True)}"
    )


def scale_bar(sheet: Sheet) -> str:
    """Draw the bar by which a printed scale is checked."""
    unit_m = unit_length_m(us=sheet.us)
    step = nice_step(_SCALE_BAR_MM / 4 * sheet.ratio / 1000 / unit_m / 2)
    width_mm = sheet.mm(step * unit_m)
    blocks = "".join(
        f'<rect x="{number(3 + place * width_mm)}" y="1" width="{number(width_mm)}" height="1.6"'
        f' fill="{"#000" if place % 2 == 0 else "#fff"}" stroke="#000" stroke-width="0.2"/>'
        for place in range(4)
    )
    unit = "ft" if sheet.us else "m"
    figures = "".join(
        text((3 + place * width_mm, 4.9), f"{place * step:g}" + (f" {unit}" if place == 4 else ""), size_mm=2.5)  # noqa: PLR2004
        for place in range(5)
    )
    whole = 4 * width_mm + 12
    return (
        f'<svg width="{number(whole)}mm" height="6.4mm" viewBox="0 0 {number(whole)} 6.4"'
        f' xmlns="http://www.w3.org/2000/svg">{blocks}{figures}</svg>'
    )


def legend(plan: Plan) -> str:
    """Explain the signs that occur in the drawing."""
    parts = {leg.part for leg in plan.take_off.sequence.legs}
    rows = [
        (_swatch(dashes=dashes), style_of("wire", value=part).title)
        for part, dashes in _WIRE_DASHES.items()
        if part in parts
    ]
    rows.append((_box_swatch("#e8e8e8", "0.7 0.7"), "Signal zone"))
    colours = dict.fromkeys(utility.apwa_color for utility in plan.site.utilities)
    for colour in colours:
        style = style_of("utilities", value=colour)
        sign = f'<b class="letter" style="border-color:{style.stroke}">{html_text(style.letter)}</b>'
        rows.append((sign, f"{style.title} (pale strip: dig by hand)"))
    for role, title in (
        ("buildings", "Building"),
        ("keep_outs", "Keep-out"),
        ("no_dig", "Not to be dug"),
        ("trees", "Roots of trees"),
        ("water", "Water"),
        ("watercourses", "Creek, ditch"),
        ("hardscape", "Drive, patio"),
        ("easements", "Easement"),
    ):
        if getattr(plan.site, role):
            fill, _, dashes = GROUND[role]
            rows.append((_box_swatch(fill, dashes), title))
    rows.append((_swatch(dashes="5 1 1 1", width_mm=0.45), "Lot line"))
    signs = (
        *(("\u2460", "leg"), ("X1", "crossing"), ("!1", "open finding"), ("S", "splice"), ("T", "transmitter")),
        *(("P1", "mark to tape from"), ("12", "flag")),
    )
    rows += [(f"<b>{sign}</b>", meaning) for sign, meaning in signs]
    items = "".join(f"<li>{sign} {html_text(meaning)}</li>" for sign, meaning in rows)
    return f'<ul class="legend">{items}</ul>'


def _swatch(*, dashes: str, width_mm: float = 0.7) -> str:
    return (
        '<svg width="11mm" height="2.6mm" viewBox="0 0 11 2.6" xmlns="http://www.w3.org/2000/svg">'
        f'<path d="M0 1.3H11" stroke="#000" stroke-width="{width_mm}" stroke-dasharray="{dashes or "none"}"/></svg>'
    )


def _box_swatch(fill: str, dashes: str) -> str:
    patterns = ""
    if fill.startswith("url("):  # a renderer may not see the patterns of another drawing
        patterns, fill = PATTERNS.replace('id="', 'id="key-'), fill.replace("#", "#key-")
    return (
        f'<svg width="7mm" height="3mm" viewBox="0 0 7 3" xmlns="http://www.w3.org/2000/svg">{patterns}<rect x="0.2"'
        f' y="0.2" width="6.6" height="2.6" fill="{fill}" stroke="#333" stroke-width="0.25"'
        f' stroke-dasharray="{dashes or "none"}"/></svg>'
    )
