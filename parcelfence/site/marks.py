"""Locate marks to utilities: lines and tolerance areas as given, points joined per kind and ticket."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString

from parcelfence.inputs.colours import scheme_name
from parcelfence.site.feature import Utility
from parcelfence.site.mark_parts import MarkPart, MarkRecord, distinct, mark_parts
from parcelfence.site.mark_remarks import joining_remark, recognition_remarks, selection_remarks
from parcelfence.site.point_marks import distinct_points, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.mark_details import MarkDetails
    from parcelfence.settings import Settings

__all__ = ["MarkRecord", "Marks", "utilities"]

_WIDER_FOR_RECORDS: Final = 1.5
"""Tolerance of quality level D (records only) against that of paint; a judgement, as ASCE 38 gives no figures."""
_BEND_BETWEEN_DOTS: Final = 0.05
"""Share of a gap by which a line may bow out between two dots: a bend of 11 degrees half-way."""
_DOT_RADIUS_M: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Utilities, lines that hang in the air, and what has to be said about how they came to be."""

    utilities: tuple[Utility, ...]
    overhead: tuple[Utility, ...] = ()
    remarks: tuple[str, ...] = ()


def utilities(records: Sequence[MarkRecord], *, settings: Settings) -> Marks:
    """Make utilities of marks.

    Parameters
    ----------
    records : sequence of MarkRecord
        Marks of all files, in the working CRS.
    settings : Settings
        Gives the colour scheme, the tolerance zone and the widest gap between joined points.

    Returns
    -------
    Marks
        Utilities whose geometry is a LineString or a Polygon, in the order of the records; lines joined from points
        come last and are ``inferred``. A point that joins no other, and a manhole or the like, is a small
        disc of 5 cm radius: it claims no direction, but its tolerance zone stands.

    Notes
    -----
    Half-width of the tolerance zone: ``settings.tolerance_zone_m`` from the outer edge of the facility, so half of a
    stated diameter is added (CGA Best Practices 5-19). One and a half times as wide for quality level D. For an
    inferred line 5 % of its longest gap is added, because between two dots it need not be straight. An area that
    says that it is a tolerance zone gets none on top.
    """
    scheme = scheme_name(settings.colour_scheme)
    parts = [part for record in records for part in mark_parts(record, scheme=scheme)]
    wanted = [part for part in parts if not part.marks_no_utility and not part.details.overhead]
    kept = distinct(wanted)
    hanging = [_as_given(part, settings=settings) for part in distinct(parts) if part.details.overhead]
    given = [_as_given(part, settings=settings) for part in kept if not part.is_point]
    alone = [_disc(part, settings=settings) for part in kept if part.is_point and part.details.structure]
    inferred, joining = _inferred(
        [part for part in kept if part.is_point and not part.details.structure], settings=settings
    )
    return Marks(
        utilities=_numbered([*given, *alone, *inferred]),
        overhead=_numbered(hanging),
        remarks=(
            *recognition_remarks(parts),
            *selection_remarks(duplicates=len(wanted) - len(kept), structures=len(alone)),
            *joining,
        ),
    )


def _as_given(part: MarkPart, *, settings: Settings) -> Utility:
    return _utility(part, part.geometry, tolerance_m=_tolerance_m(part.details, settings=settings))


def _disc(part: MarkPart, *, settings: Settings) -> Utility:
    disc = part.geometry.buffer(_DOT_RADIUS_M, quad_segs=2)
    return _utility(part, disc, tolerance_m=_tolerance_m(part.details, settings=settings))


def _tolerance_m(details: MarkDetails, *, settings: Settings, longest_gap_m: float = 0.0) -> float:
    if details.tolerance_area:
        return 0.0
    widening = _WIDER_FOR_RECORDS if details.quality_level == "D" else 1.0
    return widening * settings.tolerance_zone_m + details.diameter_m / 2 + _BEND_BETWEEN_DOTS * longest_gap_m


def _utility(part: MarkPart, geometry: BaseGeometry, *, tolerance_m: float, inferred: bool = False) -> Utility:
    return Utility(
        id=part.own_id,
        kind=part.kind.name,
        source_id=part.source_id,
        geometry=geometry,
        apwa_color=part.kind.apwa_color,
        tolerance_m=round(tolerance_m, 4),
        metallic=part.kind.metallic,
        quality_level=part.details.quality_level,
        inferred=inferred,
        marked_on=part.details.marked_on,
        ticket=part.details.ticket,
        raw_kind=part.kind.raw,
        depth_m=part.details.depth_m,
    )


def _inferred(parts: list[MarkPart], *, settings: Settings) -> tuple[list[Utility], list[str]]:
    groups: defaultdict[tuple[str, str], list[MarkPart]] = defaultdict(list)
    for part in parts:
        what = part.kind.name if part.kind.name != "unknown" else f"unknown {part.kind.raw.casefold()}"
        groups[what, part.details.ticket or f"file {part.file}"].append(part)
    made: list[Utility] = []
    remarks: list[str] = []
    for (what, ticket), members in groups.items():
        lines, dropped = _lines_of_group(members, settings=settings)
        made += lines
        remarks.append(joining_remark(lines, members, what=what, ticket=ticket, dropped=dropped))
    return made, remarks


def _lines_of_group(members: list[MarkPart], *, settings: Settings) -> tuple[list[Utility], int]:
    points = shapely.get_coordinates([part.geometry for part in members])
    kept = distinct_points(points)
    shot = [members[index] for index in kept]
    lines: list[Utility] = []
    for path in joined(points[kept], gap_m=settings.mark_join_gap_m):
        along = [shot[index] for index in path]
        first = _summed_up(along)
        if len(path) == 1:
            lines.append(replace(_disc(first, settings=settings), inferred=True))
            continue
        line = LineString([part.geometry for part in along])
        longest = float(np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T).max())
        tolerance = _tolerance_m(first.details, settings=settings, longest_gap_m=longest)
        lines.append(_utility(first, line, tolerance_m=tolerance, inferred=True))
    return lines, len(members) - len(kept)


def _summed_up(parts: list[MarkPart]) -> MarkPart:
    """Give the first mark of a line, with the worst quality level and the oldest date of all, the widest pipe too."""
    levels = [part.details.quality_level for part in parts if part.details.quality_level]
    dates = [part.details.marked_on for part in parts]
    depths = [depth for part in parts if (depth := part.details.depth_m) is not None]
    details = replace(
        parts[0].details,
        quality_level=max(levels, default="") if len(levels) == len(parts) else "",
        marked_on=min(dates) if all(dates) else "",
        diameter_m=max(part.details.diameter_m for part in parts),
        depth_m=max(depths) if len(depths) == len(parts) else None,
    )
    metallic = any(part.kind.metallic for part in parts)
    return replace(parts[0], kind=replace(parts[0].kind, metallic=metallic), details=details)


def _numbered(made: list[Utility]) -> tuple[Utility, ...]:
    """Give every utility its identifier: the file's own where one was asked for and is unique, else gas-1, gas-2."""
    own = Counter(utility.id for utility in made if utility.id)
    counts: Counter[str] = Counter()
    numbered: list[Utility] = []
    for utility in made:
        name = utility.id if own[utility.id] == 1 else ""
        while not name:
            counts[utility.kind] += 1
            candidate = f"{utility.kind.replace(' ', '-')}-{counts[utility.kind]}"
            name = candidate if candidate not in own else ""
        numbered.append(replace(utility, id=name))
    return tuple(numbered)
