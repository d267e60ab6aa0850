"""Marks on the plan drawing: legs, stations, flags, crossings, splices, the transmitter and open conflicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.lines import normal_at
from parcelfence.outputs.paper import nice_step, number, text, unit_length_m
from parcelfence.outputs.style import INK
from parcelfence.takeoff.ties import flag_rows
from parcelfence.units import station_label

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from parcelfence.conflict import Conflict
    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.paper import Labels, Sheet

__all__ = [
    "conflict_marks",
    "crossing_marks",
    "flag_marks",
    "leg_marks",
    "numbered_conflicts",
    "place_marks",
    "station_marks",
    "tape_marks",
]

_STATION_MM: Final = 2.1
_FLAG_MM: Final = 1.7
_TAPE_MARK_MM: Final = 2.3
_MOVED_MM: Final = 2.0
_STATIONS_APART_MM: Final = 12.0
_AROUND: Final = tuple(
    (radius * np.cos(angle), radius * np.sin(angle))
    for radius in (0.0, 4.5, 6.5, 9.0, 12.0, 16.0)
    for angle in np.radians([45, 135, 225, 315, 0, 90, 180, 270])
)
"""Offsets at which a mark looks for room, from near to far."""


@dataclass(frozen=True)
class _Mark:
    """A word in a frame."""

    word: str
    frame: str
    width_mm: float
    height_mm: float = 3.6

    def drawn(self, place: tuple[float, float]) -> str:
        x, y = place
        shape = {"disc": self._disc, "diamond": self._diamond, "triangle": self._triangle, "box": self._box}[self.frame]
        size_mm = 2.4 if len(self.word) < 3 else 2.1  # noqa: PLR2004
        lower = y + (0.5 if self.frame == "triangle" else 0.0)
        colour = "#fff" if self.frame == "disc" else "#000"
        return shape(x, y) + text((x, lower), self.word, size_mm=size_mm, bold=True, colour=colour)

    def _disc(self, x: float, y: float) -> str:
        radius = self.width_mm / 2
        place = f'cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"'
        return f'<circle {place} fill="{INK}" stroke="#fff" stroke-width="0.3"/>'

    def _diamond(self, x: float, y: float) -> str:
        half, up = self.width_mm / 2 + 0.8, self.height_mm / 2 + 0.6
        corners = _closed((x - half, y), (x, y - up), (x + half, y), (x, y + up))
        return f'<path d="{corners}" fill="#fff" stroke="#000" stroke-width="0.35"/>'

    def _triangle(self, x: float, y: float) -> str:
        half = self.width_mm / 2 + 1.0
        corners = _closed((x - half, y + 2.1), (x, y - 3.0), (x + half, y + 2.1))
        return f'<path d="{corners}" fill="#fff" stroke="#000" stroke-width="0.5" stroke-linejoin="round"/>'

    def _box(self, x: float, y: float) -> str:
        width, height = self.width_mm, self.height_mm
        return (
            f'<rect x="{number(x - width / 2)}" y="{number(y - height / 2)}" width="{number(width)}"'
            f' height="{number(height)}" fill="#fff" stroke="#000" stroke-width="0.45"/>'
        )


def _closed(*corners: tuple[float, float]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in corners) + "Z"


def numbered_conflicts(plan: Plan) -> list[tuple[str, Conflict]]:
    """Give every conflict the number that drawing and table share; what is said by a crossing has none."""
    said = [conflict for conflict in plan.conflicts if not _is_a_crossing(conflict, plan=plan)]
    return [(f"!{place}", conflict) for place, conflict in enumerate(said, start=1)]


def _is_a_crossing(conflict: Conflict, *, plan: Plan) -> bool:
    """Tell whether a conflict only says that a crossing is dug by hand."""
    station_m = conflict.station_m
    return (
        conflict.rule == "utility-tolerance"
        and station_m is not None
        and any(
            crossing.crosses == conflict.feature and abs(crossing.station_m - station_m) <= crossing.length_m
            for crossing in plan.crossings
        )
    )


def place_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw transmitter, splices and doors."""
    if plan.loop.transmitter is not None:
        yield from _marked("T", plan.loop.transmitter.point, sheet=sheet, labels=labels, frame="box")
    for splice in plan.take_off.sequence.splices:
        yield from _marked("S", splice.point, sheet=sheet, labels=labels, frame="box")
    for door in plan.site.doors:
        places = sheet.on_paper(shapely.get_coordinates(door.geometry)).tolist()
        for x, y in (place for place in places if sheet.shows(*place)):
            yield (
                f'<rect x="{number(x - 0.7)}" y="{number(y - 0.7)}" width="1.4" height="1.4" fill="#fff" stroke="#000"'
                ' stroke-width="0.3"/>'
            )


def leg_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw the number of every leg beside its middle, and arrows in the order of pulling."""
    for leg in plan.take_off.sequence.legs:
        for course in sheet.courses(leg.line)[:1]:
            for share in (0.25, 0.75) if course.length > 40 else (0.3,):  # noqa: PLR2004  (mm)
                yield _arrow(course, share * course.length)
            here, left = _normal(course, course.length / 2)
            aside = [_pair(here + left * shift) for shift in (4.0, -4.0, 6.5, -6.5, 9.0, -9.0)]
            place = labels.place("MM", aside, size_mm=3.4) or _pair(here)
            labels.ties.append(_tie(_pair(here), place))
            yield _Mark(str(leg.leg), "disc", width_mm=4.4).drawn(place)


def crossing_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw the number of every crossing."""
    for place, crossing in enumerate(plan.crossings, start=1):
        yield from _marked(f"X{place}", crossing.point, sheet=sheet, labels=labels, frame="diamond")


def conflict_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw the number of every conflict that must or should be mended; on a sparse sheet the grave ones."""
    for word, conflict in numbered_conflicts(plan):
        if conflict.severity == "note" or (sheet.sparse and conflict.severity != "must_fix"):
            continue
        drawn = sheet.geometry(conflict.geometry)
        if not drawn.is_empty:
            middle = drawn.interpolate(0.5, normalized=True) if drawn.geom_type == "LineString" else None
            point = middle if middle is not None else drawn.representative_point()
            yield _marked_on_paper(word, (point.x, point.y), labels=labels, frame="triangle")


def flag_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw every flag as a small pennant, with its number where there is room; ends of rows come first."""
    flags = () if sheet.sparse else plan.take_off.flags
    ends = {flag.flag for row in flag_rows(flags) for flag in (row[0], row[-1])}
    for flag in sorted(flags, key=lambda own: own.flag not in ends):
        ((x, y),) = sheet.on_paper(shapely.get_coordinates(flag.point)).tolist()
        if not sheet.shows(x, y):
            continue
        yield (
            f'<path d="M{number(x)} {number(y)}V{number(y - 1.7)}L{number(x + 1.2)} {number(y - 1.25)}'
            f'L{number(x)} {number(y - 0.8)}" fill="#fff" stroke="#000" stroke-width="0.15"/>'
        )
        word = str(flag.flag)
        spots = [(x + across, y + down) for across, down in ((2.4, -1.2), (-1.6, -1.2), (0.4, 1.2), (0.4, -3.0))]
        spot = labels.place(word, spots, size_mm=_FLAG_MM)
        if spot is not None:
            yield text(spot, word, size_mm=_FLAG_MM, bold=flag.flag in ends)


def tape_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw the marks from which points are taped, with their numbers."""
    marks = dict.fromkeys(mark for tie in plan.take_off.ties for mark in (tie.first, tie.second))
    for mark in marks:
        middle = mark.geometry.interpolate(0.5, normalized=True) if mark.kind == "line" else mark.geometry
        ((x, y),) = sheet.on_paper(shapely.get_coordinates(middle)[:1]).tolist()
        if not sheet.shows(x, y):
            continue
        if mark.kind != "line":
            yield f'<circle cx="{number(x)}" cy="{number(y)}" r="0.7" fill="#fff" stroke="#000" stroke-width="0.3"/>'
        spots = [(x + across, y + down) for across, down in _AROUND[8:]]
        spot = labels.place(mark.tag, [(x, y), *spots] if mark.kind == "line" else spots, size_mm=_TAPE_MARK_MM)
        if spot is not None:
            yield text(spot, mark.tag, size_mm=_TAPE_MARK_MM, bold=True, halo=True)


def station_marks(plan: Plan, sheet: Sheet, *, labels: Labels) -> Iterator[str]:
    """Draw ticks and chainage outside of every loop, as close as they can be read."""
    us = plan.settings.station_format == "us"
    unit_m = unit_length_m(us=us)
    step_m = nice_step(_STATIONS_APART_MM * sheet.ratio / 1000 / unit_m) * unit_m
    for run in plan.loop.signal_runs:
        course = shapely.transform(run.line, sheet.on_paper)
        side = -1.0 if run.line.is_closed and shapely.is_ccw(run.line) else 1.0
        for place in range(int(np.ceil(run.line.length / step_m - 1e-6))):
            along_mm = sheet.mm(place * step_m)
            here, left = _normal(course, along_mm)
            if not sheet.shows(*here):
                continue
            out = left * side
            end = here + out * 1.3
            yield (
                f'<path d="M{number(here[0])} {number(here[1])}L{number(end[0])} {number(end[1])}" stroke="#000"'
                ' stroke-width="0.3"/>'
            )
            label = station_label(run.start_station_m + place * step_m, style=plan.settings.station_format)
            word = f"{run.loop_id} {label}" if place == 0 else label
            reach = 1.6 + abs(out[0]) * 0.31 * _STATION_MM * len(word) + abs(out[1]) * 0.5 * _STATION_MM
            spots = [_pair(here + out * (reach + more)) for more in (0.0, 1.0, 2.2)]
            spot = labels.place(word, spots, size_mm=_STATION_MM)
            if spot is not None:
                yield text(spot, word, size_mm=_STATION_MM, halo=True)


def _marked(word: str, point: shapely.Point, *, sheet: Sheet, labels: Labels, frame: str) -> Iterator[str]:
    ((x, y),) = sheet.on_paper(shapely.get_coordinates(point)[:1]).tolist()
    if sheet.shows(x, y):
        yield _marked_on_paper(word, (x, y), labels=labels, frame=frame)


def _marked_on_paper(word: str, anchor: tuple[float, float], *, labels: Labels, frame: str) -> str:
    spots = ((anchor[0] + across, anchor[1] + along) for across, along in _AROUND)
    place = labels.place(word + "M", spots, size_mm=3.6) or anchor
    labels.ties.append(_tie(anchor, place))
    return _Mark(word, frame, width_mm=1.6 + 1.5 * len(word)).drawn(place)


def _tie(anchor: tuple[float, float], place: tuple[float, float]) -> str:
    """Draw the thin line from a mark that had to move aside to its place."""
    if np.hypot(place[0] - anchor[0], place[1] - anchor[1]) < _MOVED_MM:
        return ""
    x, y = number(anchor[0]), number(anchor[1])
    return (
        f'<path d="M{x} {y}L{number(place[0])} {number(place[1])}" stroke="#000" stroke-width="0.2"/>'
        f'<circle cx="{x}" cy="{y}" r="0.5"/>'
    )


def _arrow(course: shapely.LineString, at_mm: float) -> str:
    here, left = _normal(course, at_mm)
    along = np.array([-left[1], left[0]])
    tip, wings = here + along * 1.9, (here + left * 1.1 - along * 0.6, here - left * 1.1 - along * 0.6)
    head = _closed(_pair(tip), _pair(wings[0]), _pair(wings[1]))
    return f'<path d="{head}" fill="{INK}" stroke="#fff" stroke-width="0.2"/>'


def _normal(course: shapely.LineString, at_mm: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Give a place on a course of the paper, and the unit vector to its left as it is walked on the ground."""
    here, left_on_paper = normal_at(course, at_mm, half_m=0.4)
    return here, -left_on_paper  # y grows downward on paper


def _pair(place: npt.NDArray[np.float64]) -> tuple[float, float]:
    return float(place[0]), float(place[1])
