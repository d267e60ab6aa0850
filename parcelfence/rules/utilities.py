"""Buried utilities: cross them square, run beside none of them, dig by hand in their tolerance zones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict, Severity
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.wording import utility_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Run
    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch
    from parcelfence.site.buried_lines import BuriedLine
    from parcelfence.site.feature import Utility

__all__ = ["RULES"]

_THEME: Final = "utilities"
_LEAST_ANGLE_DEG: Final = 30.0
"""A line crossed flatter than this is followed rather than crossed."""
_LEAST_BESIDE_M: Final = 0.25
_TOLERANCE_BASIS: Final = (
    "CGA Best Practices 5-19 (18 in each side of the facility) and codes that ask for 24 in; 29 CFR 1926.651(b)"
)


@rule(
    "utility-angle",
    theme=_THEME,
    severity="must_fix",
    summary="Buried lines are crossed at a right angle, within the tolerance that was set.",
)
def utility_angle(draft: Draft) -> Iterator[Conflict]:
    """Measure the angle of every crossing of the finished wire with every utility line."""
    words, least_deg = draft.wording, 90.0 - draft.settings.crossing_tolerance_deg
    for line, crossings in zip(draft.site.buried_lines, draft.line_crossings, strict=True):
        for crossing in crossings:
            if crossing.angle_deg < least_deg - 0.05:
                utility, run = line.member_at(crossing.point), draft.run_of(crossing)
                at = words.at(run, station_m=crossing.station_m)
                yield Conflict(
                    message=f"The {_name(run)} crosses {utility_name(utility)} {at} at {crossing.angle_deg:.1f} "
                    f"degrees; at least {least_deg:.0f} is required.",
                    remedy="Turn the wire so that it crosses square, in a straight stretch.",
                    geometry=crossing.point,
                    severity=_signal_severity(utility, twisted=run.twisted),
                    station_m=crossing.station_m,
                    measured=crossing.angle_deg,
                    limit=least_deg,
                    unit="deg",
                    layer="utilities",
                    feature=utility.id,
                )


@rule(
    "utility-parallel",
    theme=_THEME,
    severity="must_fix",
    summary="Where the wire does not cross a buried line, it keeps the separation from it.",
)
def utility_parallel(draft: Draft) -> Iterator[Conflict]:
    """Measure the distance to each utility line of all wire that is not just crossing it."""
    separation_m = draft.settings.utility_separation_m
    near = draft.beside_utilities.stretches(separation_m - LAYING_TOLERANCE_M, together=draft.line_of_utility)
    for line, stretches, crossings in zip(draft.site.buried_lines, near, draft.line_crossings, strict=True):
        if shapely.get_dimensions(line.geometry) == 0:
            continue  # nothing runs beside a single mark; the tolerance zone covers it
        for stretch in stretches:
            for rest in _beside(draft, stretch, line=line, crossings=crossings):
                yield _runs_beside(draft, rest, utility=line.member_at(rest.point))


def _beside(
    draft: Draft, stretch: Stretch, *, line: BuriedLine, crossings: tuple[Crossing, ...]
) -> tuple[Stretch, ...]:
    """Take from a stretch near a buried line what belongs to its crossings."""
    wire = draft.wire
    pieces = _pieces_of(draft, stretch)
    length_m = stretch.run.line.length
    free = np.ones(len(pieces), dtype=bool)
    for station_m, half_m in _windows(draft, stretch, line=line, crossings=crossings):
        away_m = np.abs((wire.start_m[pieces] + wire.end_m[pieces]) / 2 - station_m)
        if stretch.run.line.is_closed:
            away_m = np.minimum(away_m, length_m - away_m)
        free &= away_m > half_m
    rest = pieces[free]
    if not len(rest):
        return ()
    found = wire.stretches(rest, values=shapely.distance(line.geometry, wire.pieces[rest]))
    return tuple(part for part in found if part.length_m > _LEAST_BESIDE_M)


def _windows(
    draft: Draft, stretch: Stretch, *, line: BuriedLine, crossings: tuple[Crossing, ...]
) -> Iterator[tuple[float, float]]:
    """Centre and half-length of what each crossing of a stretch may take, half a piece added."""
    slack_m, separation_m = 0.3, draft.settings.utility_separation_m
    if shapely.get_dimensions(line.geometry) == 1:
        for crossing in crossings:
            if draft.run_of(crossing) is stretch.run:
                angle = np.radians(max(crossing.angle_deg, _LEAST_ANGLE_DEG))
                yield crossing.station_m, separation_m / float(np.sin(angle)) + slack_m
        return
    widest_m = _width_m(line)
    for part in shapely.get_parts(shapely.intersection(stretch.line, line.geometry)):
        if 0 < part.length <= 1.5 * widest_m:
            middle_m = stretch.run.line.project(part.interpolate(0.5, normalized=True))
            yield stretch.run.start_station_m + middle_m, part.length / 2 + separation_m / np.sin(np.pi / 3) + slack_m


def _width_m(area: BuriedLine) -> float:
    """Width of a tolerance area across its length."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(area.geometry))
    return float(np.hypot(*np.diff(corners, axis=0).T)[:2].min())


def _pieces_of(draft: Draft, stretch: Stretch) -> NDArray[np.int64]:
    wire = draft.wire
    own = wire.run_of == next(number for number, run in enumerate(wire.runs) if run is stretch.run)
    after, before = wire.start_m >= stretch.start_m - 1e-9, wire.end_m <= stretch.end_m + 1e-9
    return np.flatnonzero(own & (after & before if stretch.start_m < stretch.end_m else after | before))


def _runs_beside(draft: Draft, stretch: Stretch, *, utility: Utility) -> Conflict:
    words, separation_m = draft.wording, draft.settings.utility_separation_m
    in_zone = stretch.measured < utility.tolerance_m
    warning = " It lies in the tolerance zone, where only hand digging is safe." if in_zone else ""
    return Conflict(
        message=f"The {_name(stretch.run)} runs {words.length(stretch.measured)} beside {utility_name(utility)} "
        f"{words.along(stretch)} over {words.length(stretch.length_m)}; {words.length(separation_m)} is required."
        + warning
        + _why_a_caution(utility, in_zone=in_zone, twisted=stretch.run.twisted),
        remedy="Move the wire away from the buried line, or cross it once, square.",
        geometry=stretch.line,
        severity="must_fix" if in_zone else _signal_severity(utility, twisted=stretch.run.twisted),
        station_m=stretch.station_m,
        measured=stretch.measured,
        limit=separation_m,
        layer="utilities",
        feature=utility.id,
    )


@rule(
    "utility-tolerance",
    theme=_THEME,
    severity="caution",
    summary="Within the tolerance zone of a mark only hand tools are used, until the facility is exposed.",
    basis=_TOLERANCE_BASIS,
)
def utility_tolerance(draft: Draft) -> Iterator[Conflict]:
    """Find all wire within the tolerance zones."""
    utilities, words = draft.site.utilities, draft.wording
    limits_m = [utility.tolerance_m for utility in utilities]
    near = draft.beside_utilities.stretches(limits_m, together=draft.line_of_utility)
    for line, stretches in zip(draft.site.buried_lines, near, strict=True):
        for rough in stretches:
            stretch, utility = _in_zone(rough, line), line.member_at(rough.point)
            zone = words.length(utility.tolerance_m)
            yield Conflict(
                message=f"Dig by hand {words.along(stretch)}: the {_name(stretch.run)} lies in the tolerance zone of "
                f"{utility_name(utility)}, {zone} each side of the mark.",
                remedy="Have faded marks renewed. Use hand tools only, and dig no deeper than the wire lies; expose "
                "the line first where local law or its depth asks for it.",
                geometry=stretch.line,
                station_m=stretch.station_m,
                measured=stretch.measured,
                limit=utility.tolerance_m,
                layer="utilities",
                feature=utility.id,
            )


def _in_zone(stretch: Stretch, line: BuriedLine) -> Stretch:
    """Cut a stretch down to the tolerance zones of a line."""
    zones = []
    for utility in line.members:
        west, south, east, north = stretch.line.buffer(2 * utility.tolerance_m).bounds
        around = shapely.clip_by_rect(utility.geometry, west, south, east, north)
        zones.append(shapely.buffer(around, utility.tolerance_m))
    return stretch.within(shapely.union_all(zones))


def _signal_severity(utility: Utility, *, twisted: bool) -> Severity:
    """Nothing is coupled by a twisted pair, nor into a line that does not conduct."""
    return "caution" if twisted or not utility.metallic else "must_fix"


def _why_a_caution(utility: Utility, *, in_zone: bool, twisted: bool) -> str:
    """Say why a line that is nearer than another one of its kind may be the lesser matter."""
    if in_zone or _signal_severity(utility, twisted=twisted) == "must_fix":
        return ""
    if twisted:
        return " A twisted pair couples nothing into it; what remains is digging beside it."
    return " By its material it conducts nothing, so that no signal follows it; what remains is digging beside it."


def _name(run: Run) -> str:
    return "lead-in" if run.twisted else "wire"


RULES: Final[tuple[Rule, ...]] = (utility_angle, utility_parallel, utility_tolerance)
