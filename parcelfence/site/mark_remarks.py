"""Remarks on locate marks: what a person should know about how they were understood."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from parcelfence.site.feature import Utility
    from parcelfence.site.mark_parts import MarkPart

__all__ = ["joining_remark", "recognition_remarks", "selection_remarks"]

_MOST_NAMED: Final = 4


def joining_remark(
    lines: Sequence[Utility], members: Sequence[MarkPart], *, what: str, ticket: str, dropped: int
) -> str:
    """Tell what became of the point marks of one kind and ticket."""
    single = sum(line.geometry.geom_type == "Polygon" for line in lines)
    number = len(lines) - single
    came_of = ticket if ticket.startswith("file ") else f"ticket {ticket}"
    text = f"marks, {came_of}: {_count(len(members), what + ' point')} joined to {_count(number, 'inferred line')}"
    text += f"; {dropped} shot twice" if dropped else ""
    return text + (f"; {single} too far from the others to join" if single else "")


def selection_remarks(*, duplicates: int, structures: int) -> list[str]:
    """Tell how many marks were dropped as duplicates, and how many are things that stand on a line."""
    remarks = []
    if duplicates:
        remarks.append(f"marks: {_count(duplicates, 'duplicate')} of another mark dropped")
    if structures:
        remarks.append(
            f"marks: {_count(structures, 'manhole, valve or the like', plural='manholes, valves and the like')}"
            " kept as single points, not joined"
        )
    return remarks


def recognition_remarks(parts: Sequence[MarkPart]) -> list[str]:
    """Tell which marks were not understood, understood with a doubt, left out, or said to be disused."""
    unknown = _grouped(
        parts, lambda part: (part.kind.note or "nothing tells its kind") if part.kind.name == "unknown" else ""
    )
    noted = _grouped(parts, lambda part: part.kind.note if part.kind.name != "unknown" else "")
    left_out = _grouped(parts, lambda part: part.kind.raw if part.marks_no_utility else "")
    disused = sum(part.details.disused for part in parts)
    return [
        *(f"marks: {note}; kept as unknown, the strictest kind: {ids}" for note, ids in unknown.items()),
        *(f"marks: {note}: {ids}" for note, ids in noted.items()),
        *(f"marks: {raw!r} marks no utility and was left out: {ids}" for raw, ids in left_out.items()),
        *(
            [f"marks: {disused} said to be disused; they lie in the ground all the same and are kept"]
            if disused
            else []
        ),
    ]


def _grouped(parts: Sequence[MarkPart], key: Callable[[MarkPart], str]) -> dict[str, str]:
    """Group marks by a text; give the first few places of each."""
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for part in parts:
        if text := key(part):
            groups[text].append(part.source_id)
    return {
        text: ", ".join(ids[:_MOST_NAMED]) + (f" and {len(ids) - _MOST_NAMED} more" if len(ids) > _MOST_NAMED else "")
        for text, ids in groups.items()
    }


def _count(number: int, noun: str, *, plural: str = "") -> str:
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"
