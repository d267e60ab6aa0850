"""Locate marks: known kind, fresh, of stated quality, and on this property."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.conflict import Conflict
from parcelfence.lines import gather
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.wording import listing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from parcelfence.rules.draft import Draft
    from parcelfence.site.feature import Utility

__all__ = ["RULES"]

_THEME: Final = "utilities"
_QUALITY_BASIS: Final = "ASCE 38-22 quality levels; sub-levels of PAS 128"
_LEVELS: Final = {
    "A": "exposed and measured",
    "B": "detected from the surface",
    "C": "records matched to visible features",
    "D": "records only",
    "B4": "suspected, but not detected",
}
_SURE_LEVELS: Final = ("A", "B", "B1", "B2", "B3")


@rule(
    "utility-unknown",
    theme=_THEME,
    severity="caution",
    summary="The kind of every mark near the wire or on the property is known.",
)
def utility_unknown(draft: Draft) -> Iterator[Conflict]:
    """Gather marks of unknown kind by the words they carry."""
    for words, utilities in _grouped(draft, lambda utility: utility.raw_kind, only=lambda u: u.kind == "unknown"):
        said = f"'{words}'" if words else "nothing"
        yield _finding(
            draft,
            utilities,
            message=f"{_counted(utilities)} of unknown kind (the file says {said}): {_named(utilities)}. "
            "They are treated as the strictest kind.",
            remedy="Ask who made the marks, and state the kind for the file or its field.",
        )


@rule(
    "mark-age",
    theme=_THEME,
    severity="caution",
    summary="Marks are fresh on the day of digging; how long they are good for is local law.",
)
def mark_age(draft: Draft) -> Iterator[Conflict]:
    """Reckon the age of every dated mark to the date in the settings; without one nothing is reckoned."""
    if not draft.settings.as_of:
        return
    today, most_days = date.fromisoformat(draft.settings.as_of), draft.settings.mark_age_days_max
    for marked_on, utilities in _grouped(draft, lambda utility: utility.marked_on):
        made = _date(marked_on)
        if made is None:
            yield _finding(
                draft,
                utilities,
                message=f"{_counted(utilities)} without a readable date: {_named(utilities)}.",
                remedy="Find out when they were made; old marks must be renewed before digging.",
                severity="note",
            )
            continue
        days = (today - made).days
        if days > most_days or days < 0:
            aged = f"is {days} days old" if days >= 0 else f"lies {-days} days after {today.isoformat()}"
            yield _finding(
                draft,
                utilities,
                message=f"{_counted(utilities)} of {made.isoformat()}: {_named(utilities)}. That {aged}; "
                f"at most {most_days} days are allowed for.",
                remedy="Have the marks renewed before digging.",
                measured=float(days),
                limit=float(most_days),
                unit="days",
            )


@rule(
    "mark-quality",
    theme=_THEME,
    severity="caution",
    summary="Marks near the wire come from detection or exposure, not from records or from joined points alone.",
    basis=_QUALITY_BASIS,
)
def mark_quality(draft: Draft) -> Iterator[Conflict]:
    """Gather marks of low quality level, and lines that were joined from points."""
    for level, utilities in _grouped(draft, lambda utility: utility.quality_level):
        if level and level not in _SURE_LEVELS:
            yield _finding(
                draft,
                utilities,
                message=f"{_counted(utilities)} of quality level {level} ({_LEVELS.get(level, 'not a level')}): "
                f"{_named(utilities)}. The facility may lie elsewhere.",
                remedy="Have the lines detected or exposed before digging near them.",
            )
    joined = [utility for utility in draft.site.utilities if utility.inferred]
    near = [utility for utility in joined if _matters(draft, utility)]
    if near:
        yield _finding(
            draft,
            near,
            message=f"{_counted(near)} joined from single points: {_named(near)}. Between two marks the facility may "
            "not run straight.",
            remedy="Have the line marked through where the wire comes near it.",
        )


@rule(
    "marks-elsewhere",
    theme=_THEME,
    severity="caution",
    summary="There are locate marks, and every file of them meets the property.",
)
def marks_elsewhere(draft: Draft) -> Iterator[Conflict]:
    """Report files of marks that have nothing to say about this property, and the lack of any."""
    files = [record for record in draft.site.provenance.inputs if record.role == "marks"]
    for record in files:
        if record.features and not record.used:
            yield Conflict(
                message=f"None of the {record.features:,} marks of {record.name} comes near the property"
                f"{draft.wording.away(record.away_m)}: it says nothing about what is buried here.",
                remedy="Check that it is the right file and the right CRS; have the utilities located.",
                geometry=draft.site.parcel.representative_point(),
                layer="utilities",
                feature=record.name,
            )
    if not files and not draft.site.utilities:
        yield Conflict(
            message="There are no locate marks: nothing is known about what is buried here.",
            remedy="Call the utility locating service before digging, and plan again with the marks.",
            geometry=draft.site.parcel.representative_point(),
            layer="utilities",
        )


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None


def _matters(draft: Draft, utility: Utility) -> bool:
    """Whether a mark lies on the property or near the wire."""
    near_m = draft.settings.utility_separation_m + utility.tolerance_m
    shapely.prepare(draft.site.parcel)
    if draft.site.parcel.intersects(utility.geometry):
        return True
    return bool(shapely.dwithin(utility.geometry, [run.line for run in draft.loop.runs], near_m).any())


def _grouped(
    draft: Draft, key: Callable[[Utility], str], *, only: Callable[[Utility], bool] | None = None
) -> list[tuple[str, list[Utility]]]:
    groups: defaultdict[str, list[Utility]] = defaultdict(list)
    for utility in draft.site.utilities:
        if (only is None or only(utility)) and _matters(draft, utility):
            groups[key(utility)].append(utility)
    return sorted(groups.items())


def _finding(draft: Draft, utilities: Sequence[Utility], **what: object) -> Conflict:
    geometry = gather([utility.geometry for utility in utilities])
    place = nearest_place(draft.loop, geometry)
    feature = utilities[0].id if len(utilities) == 1 else ""
    return Conflict(
        geometry=geometry,
        station_m=place.station_m if place else None,
        layer="utilities",
        feature=feature,
        **what,  # type: ignore[arg-type]
    )


def _counted(utilities: Sequence[Utility]) -> str:
    return "1 mark" if len(utilities) == 1 else f"{len(utilities)} marks"


def _named(utilities: Sequence[Utility]) -> str:
    return listing([utility.id for utility in utilities])


@rule(
    "overhead-line",
    theme=_THEME,
    severity="note",
    summary="Lines that hang in the air are known, and are not taken for buried ones.",
)
def overhead_line(draft: Draft) -> Iterator[Conflict]:
    """Name the marks that were left out because they say that they hang in the air."""
    near = [line for line in draft.site.overhead if draft.site.parcel.intersects(line.geometry)]
    if near:
        words = listing([f"{line.kind} line {line.id}" for line in near])
        yield _finding(
            draft,
            near,
            message=f"{words} {'hangs' if len(near) == 1 else 'hang'} in the air by the file's own words: nothing is "
            "dug for, and no separation is kept.",
            remedy="See on the ground whether it comes down a pole into the earth; have such a stretch located.",
        )


RULES: Final[tuple[Rule, ...]] = (overhead_line, utility_unknown, mark_age, mark_quality, marks_elsewhere)
