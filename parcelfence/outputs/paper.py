"""Paper on which a plan is drawn: sheets at a stated scale, pieces of SVG in millimetres, and room for labels.

A small property fits one sheet.  A large one gets an overview and a few details at a larger scale, which follow the
wire.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from string import ascii_uppercase
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.outputs.escaping import html_text
from parcelfence.units import FOOT_M

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.finished_plan import Plan


__all__ = [
    "Labels",
    "Sheet",
    "area",
    "fitted_sheet",
    "line",
    "nice_step",
    "number",
    "sheet_of",
    "sheets_of",
    "text",
    "unit_length_m",
]

WIDTH_MM: Final = 184.0
HEIGHT_MM: Final = 196.0
"""Room for the drawing on letter and A4 alike, with margins of 12 mm, a title and a legend."""
_METRIC_SCALES: Final = (50, 100, 150, 200, 250, 300, 400, 500, 750, 1000, 1250, 1500, 2000, 2500, 3000, 4000, 5000)
_US_FEET_PER_INCH: Final = (4, 5, 8, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400, 500)
_MARGIN: Final = 0.035
_WORTH_TURNING: Final = 1.15
_SMALL_RATIO: Final = 600
"""Where the whole property is drawn smaller than 1:600 (50 ft to the inch) details are added."""
_DETAIL_RATIO: Final = 480
_WORTH_A_DETAIL: Final = 1.5
_MOST_DETAILS: Final = 6
_OVERLAP: Final = 0.06


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """How the ground lies on the paper.

    Parameters
    ----------
    ratio : int
        Denominator of the scale.
    turned : bool
        Whether north points to the left edge, because the property fits better so.
    centre : tuple of float
        Ground coordinates of the middle of the drawing, metres.
    width_mm, height_mm : float
        Size of the drawing.
    us : bool
        Whether the scale is spoken of in feet to the inch.
    name : str
        Letter of a detail; empty for the sheet with the whole property.
    sparse : bool
        Whether small things are left to details.
    """

    ratio: int
    turned: bool
    centre: tuple[float, float]
    width_mm: float
    height_mm: float
    us: bool
    name: str = ""
    sparse: bool = False

    @property
    def words(self) -> str:
        """The scale as it is written under the drawing."""
        if self.us:
            return f"1 in = {self.ratio / 12:g} ft (1:{self.ratio})"
        return f"1:{self.ratio}"

    @property
    def frame(self) -> BaseGeometry:
        """The ground that is shown."""
        across, along = self.width_mm * self.ratio / 2000, self.height_mm * self.ratio / 2000
        east, north = (along, across) if self.turned else (across, along)
        x, y = self.centre
        return shapely.box(x - east, y - north, x + east, y + north)

    def mm(self, length_m: float) -> float:
        """Length on paper."""
        return length_m * 1000.0 / self.ratio

    def on_paper(self, coordinates: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Carry ground coordinates, shape (n, 2), to millimetres from the upper left corner."""
        east, north = (np.asarray(coordinates)[:, :2] - self.centre).T * (1000.0 / self.ratio)
        right, up = (-north, east) if self.turned else (east, north)
        return np.column_stack([self.width_mm / 2 + right, self.height_mm / 2 - up])

    def shows(self, x: float, y: float) -> bool:
        """Whether a place on paper is within the drawing."""
        return 0 <= x <= self.width_mm and 0 <= y <= self.height_mm

    def geometry(self, geometry: BaseGeometry) -> BaseGeometry:
        """Carry a geometry to paper, cut at the edge of the drawing."""
        drawn = shapely.transform(geometry, self.on_paper)
        if drawn.is_empty:
            return drawn
        west, south, east, north = drawn.bounds
        if self.shows(west, south) and self.shows(east, north):
            return drawn
        return shapely.intersection(shapely.make_valid(drawn), shapely.box(0, 0, self.width_mm, self.height_mm))

    def courses(self, line: BaseGeometry) -> list[shapely.LineString]:
        """Carry a line to paper; the pieces that are shown, in its direction, the longest first."""
        cut = shapely.clip_by_rect(shapely.transform(line, self.on_paper), 0, 0, self.width_mm, self.height_mm)
        pieces = [part for part in shapely.get_parts(cut) if isinstance(part, shapely.LineString)]
        return sorted(pieces, key=lambda part: -part.length)


def sheets_of(plan: Plan) -> tuple[Sheet, ...]:
    """Lay out the sheets of a plan: the whole of it, and details where its scale is small."""
    whole = sheet_of(plan)
    if whole.ratio <= _SMALL_RATIO:
        return (whole,)
    for ratio in (ratio for ratio in _ratios(us=whole.us) if _DETAIL_RATIO <= ratio <= whole.ratio / _WORTH_A_DETAIL):
        details = _details(plan, whole, ratio=ratio)
        if len(details) <= _MOST_DETAILS:
            return replace(whole, sparse=True), *details
    return (whole,)


def _details(plan: Plan, whole: Sheet, *, ratio: int) -> list[Sheet]:
    """Cover the wire with a grid of sheets, and keep those on which there is some."""
    wire = shapely.union_all([leg.line for leg in plan.take_off.sequence.legs])
    margin_m = 1.5 * plan.zones.receiver.reach_m
    west, south, east, north = wire.buffer(margin_m).bounds
    size_mm = (HEIGHT_MM, WIDTH_MM) if whole.turned else (WIDTH_MM, HEIGHT_MM)
    centres = [
        _evenly(low, high, size=size * ratio / 1000)
        for low, high, size in zip((west, south), (east, north), size_mm, strict=True)
    ]
    sheets = [
        replace(whole, ratio=ratio, centre=(x, y), width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
        for y in reversed(centres[1])
        for x in centres[0]
    ]
    shown = [sheet for sheet in sheets if sheet.frame.intersection(wire).length > margin_m]
    return [replace(sheet, name=letter) for letter, sheet in zip(ascii_uppercase, shown, strict=False)]


def _evenly(low: float, high: float, *, size: float) -> list[float]:
    """Give the middles of the fewest stretches of a size that cover a span with some overlap."""
    span = high - low
    if span <= size:
        return [(low + high) / 2]
    count = int(np.ceil((span - size) / (size * (1 - _OVERLAP)))) + 1
    step = (span - size) / (count - 1)
    return [low + size / 2 + place * step for place in range(count)]


def sheet_of(plan: Plan) -> Sheet:
    """Choose the largest common scale at which a plan fits the page, turned if that makes it larger."""
    return fitted_sheet(_extent(plan), us=plan.settings.units == "us")


def fitted_sheet(bounds: tuple[float, float, float, float], *, us: bool) -> Sheet:
    """Choose the largest common scale at which some ground fits the page, turned if that makes it larger.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east and north of the ground, metres.
    us : bool
        Whether the scale is spoken of in feet to the inch.
    """
    west, south, east, north = bounds
    width_m, height_m = (east - west) * (1 + 2 * _MARGIN), (north - south) * (1 + 2 * _MARGIN)
    upright, turned = _fit(width_m, height_m, us=us), _fit(height_m, width_m, us=us)
    turn = upright > turned * _WORTH_TURNING
    ratio = turned if turn else upright
    across, along = (height_m, width_m) if turn else (width_m, height_m)
    return Sheet(
        ratio=ratio,
        turned=turn,
        centre=((west + east) / 2, (south + north) / 2),
        width_mm=WIDTH_MM,
        height_mm=min(HEIGHT_MM, max(along * 1000 / ratio, min(HEIGHT_MM, across * 500 / ratio))),
        us=us,
    )


def _extent(plan: Plan) -> tuple[float, float, float, float]:
    """Bounds of the wire and its signal, and of the parcel where that is not far larger."""
    lines = [leg.line for leg in plan.take_off.sequence.legs] + [run.line for run in plan.loop.runs]
    work = shapely.total_bounds(np.array([*lines, plan.zones.signal], dtype=object))
    whole = shapely.total_bounds(np.array([*lines, plan.zones.signal, plan.site.parcel], dtype=object))
    size, all_size = work[2:] - work[:2], whole[2:] - whole[:2]
    west, south, east, north = whole if (all_size <= 2 * size).all() else work
    return float(west), float(south), float(east), float(north)


def _fit(width_m: float, height_m: float, *, us: bool) -> int:
    least = max(width_m * 1000 / WIDTH_MM, height_m * 1000 / HEIGHT_MM)
    return next((ratio for ratio in _ratios(us=us) if ratio >= least), int(np.ceil(least / 1000)) * 1000)


def _ratios(*, us: bool) -> list[int]:
    return [12 * feet for feet in _US_FEET_PER_INCH] if us else list(_METRIC_SCALES)


def nice_step(least: float) -> float:
    """Give the smallest of 1, 2, 5, 10, 20, 50... that is at least `least`."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9)))


def unit_length_m(*, us: bool) -> float:
    """Length of the person's unit."""
    return FOOT_M if us else 1.0


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


@dataclass
class Labels:
    """Keeps account of the paper that is taken, so that no label covers another.

    ``ties`` holds the thin lines from marks that had to move aside to their places; they are drawn beneath all marks.
    """

    width_mm: float
    height_mm: float
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    ties: list[str] = field(default_factory=list)

    def take(self, x: float, y: float, *, half_mm: float) -> None:
        """Mark the place of a symbol as taken."""
        self.taken.append((x - half_mm, y - half_mm, x + half_mm, y + half_mm))

    def place(
        self, text: str, candidates: Iterable[tuple[float, float]], *, size_mm: float
    ) -> tuple[float, float] | None:
        """Find the first free middle for a text, and take it; None where there is no room."""
        half_width, half_height = 0.31 * size_mm * max(len(text), 2), 0.6 * size_mm
        for x, y in candidates:
            box = (x - half_width, y - half_height, x + half_width, y + half_height)
            if self._inside(box) and not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return x, y
        return None

    def _inside(self, box: tuple[float, float, float, float]) -> bool:
        return box[0] >= 0 and box[1] >= 0 and box[2] <= self.width_mm and box[3] <= self.height_mm


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
