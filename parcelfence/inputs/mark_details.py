"""Details of a locate mark beside its kind: quality level, date, ticket, state and width."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import SettingsError
from parcelfence.inputs.words import STRUCTURES, word_set, words_of
from parcelfence.units import FOOT_M, parse_length_m

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["MarkDetails", "diameter_m", "mark_date", "mark_details", "quality_level"]

_QUALITY: Final = (
    "quality",
    "quality_level",
    "ql",
    "qlevel",
    "qual",
    "asce",
    "asce_38",
    "utility_quality",
    "qualitylevel",
)
_DATE: Final = (
    "marked_on",
    "mark_date",
    "marked",
    "date_marked",
    "locate_date",
    "located_on",
    "date_located",
    "located",
    "survey_date",
    "surveydate",
    "date",
)
_TICKET: Final = (
    "ticket",
    "ticket_no",
    "ticket_num",
    "ticket_number",
    "ticketno",
    "ticket_id",
    "ticketid",
    "locate_no",
    "request_no",
)
_STATE: Final = ("status", "state", "lifecycle", "life_cycle", "condition", "op_status")
_DIAMETER: Final = ("diameter", "diam", "dia", "pipe_size", "pipesize", "nominal_diameter", "doorsnede", "durchmesser")
_DEPTH: Final = ("depth", "depth_m", "cover", "depth_of_cover", "diepte", "tiefe")
_DEEPEST_M: Final = 30.0
"""What lies deeper is no depth but an elevation or a mistake."""
_PLACEMENTS: Final = (
    "type", "kind", "utility", "util_type", "facility", "feature_type", "feature", "placement", "position",
    "construction", "layer", "subtype",
)  # fmt: skip
_DESCRIPTIONS: Final = ("description", "desc")
_IN_THE_AIR: Final = word_set(
    "overhead aerial oh ohe ohp ohl ohw oht ohd bovengronds freileitung aerien aerienne aereo aerea"
)
"""Words and drawing-layer codes for lines on poles (ordinary usage, no source)."""
_IN_THE_GROUND: Final = word_set("underground buried ug uge ugt ugp riser ondergronds unterirdisch enterre souterrain")
_OF_A_PICTURE: Final = word_set("photo photos photograph photography imagery image survey")
"""An aerial photograph is how something was found, not where it hangs."""
_KIND_TEXTS: Final = ("type", "kind", "utility", "feature_type", "description", "desc", "feature")
_DISUSED: Final = word_set(
    "disused abandoned abandon aband dead inactive retired removed decommissioned obsolete buitengebruik stillgelegt "
    "abandonne abandonado"
)
_TOLERANCE_WORDS: Final = frozenset({"tolerance", "buffer", "corridor"})
_LEVEL: Final = re.compile(
    r"(?:(?:asce(?:[\s/-]*38(?:-\d\d)?)?|pas[\s-]*128)[\s:-]*)?(?:ql|quality\s*level|level|class)?[\s:_-]*"
    r"([abcd])(?:([1-4])p?)?",
    re.IGNORECASE,
)
_PATTERNS: Final = (
    (re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T\s].*)?"), "ymd"),
    (re.compile(r"(\d{4})(\d{2})(\d{2})"), "ymd"),
    (re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:\s.*)?"), "dmy"),
    (re.compile(r"(\d{1,2})[-/](\d{1,2})[-/](\d{4}|\d{2})(?:\s.*)?"), "mdy"),
)
_WRITTEN: Final = ("%d %b %Y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%b %d %Y", "%d-%b-%Y", "%d-%b-%y")
_CENTURY, _MONTHS = 2000, 12
_EARLIEST_EPOCH_S, _LATEST_EPOCH_S, _MILLI = 631_152_000, 4_102_444_800, 1000
_INCH_M: Final = FOOT_M / 12
_LARGEST_SMALL_INCHES: Final = 48
_LARGE_INCHES: Final = frozenset({54, 60, 66, 72, 78, 84, 96, 108, 120, 144})


@dataclass(frozen=True, kw_only=True)
class MarkDetails:
    """What a mark says of itself beside its kind.

    Parameters
    ----------
    quality_level : str
        ``"A"`` to ``"D"`` of ASCE 38, or ``"B1"`` to ``"B4"`` of PAS 128; empty if not stated.
    marked_on : str
        ISO 8601 date; empty if not stated or not understood.
    ticket : str
        Locate ticket; empty if not stated.
    disused : bool
        Whether it is said to be abandoned. It still lies in the ground, and paint or map may err.
    structure : bool
        Whether it is a manhole, valve or the like, which is no point of a painted line.
    tolerance_area : bool
        Whether the geometry is said to be a tolerance zone already.
    diameter_m : float
        Width of the facility; 0 if not stated.
    depth_m : float or None
        Depth of the facility below the ground; None if not stated.
    overhead : bool
        Whether it is said to hang in the air.
    """

    quality_level: str = ""
    marked_on: str = ""
    ticket: str = ""
    disused: bool = False
    structure: bool = False
    tolerance_area: bool = False
    diameter_m: float = 0.0
    depth_m: float | None = None
    overhead: bool = False


def mark_details(attributes: Mapping[str, Any]) -> MarkDetails:
    """Read the details of a mark from its attributes, by the usual names of their columns."""
    columns = {re.sub(r"[\s-]+", "_", str(name).casefold()): value for name, value in attributes.items()}
    said = {word for name in _KIND_TEXTS for word in words_of(str(columns.get(name) or ""))}
    state = {word for name in _STATE for word in words_of(str(columns.get(name) or ""))}
    return MarkDetails(
        quality_level=quality_level(_first(columns, _QUALITY)),
        marked_on=mark_date(_first(columns, _DATE)),
        ticket=_text(_first(columns, _TICKET)),
        disused=not _DISUSED.isdisjoint(state | said),
        structure=not STRUCTURES.isdisjoint(said),
        tolerance_area=not _TOLERANCE_WORDS.isdisjoint(said),
        diameter_m=_diameter(columns),
        depth_m=_depth_m(columns),
        overhead=_is_overhead(columns),
    )


def quality_level(value: Any) -> str:
    """Read a quality level, such as ``QL-B``, ``QLB``, ``B``, ``ASCE 38 level B``; empty if it is none.

    The sub-levels of PAS 128 (``QL-B2``, ``B2P``) keep their number: each has an accuracy of its own.
    """
    match = _LEVEL.fullmatch(_text(value))
    if not match:
        return ""
    letter = match[1].upper()
    return letter + (match[2] or "") if letter == "B" else letter


def mark_date(value: Any) -> str:
    """Read a date: ISO 8601, month/day/year, day.month.year, written months, or seconds or milliseconds since 1970.

    Returns
    -------
    str
        ISO 8601 date; empty if it is none. With strokes the month comes first, as in the United States, unless it
        cannot be a month.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        seconds = value / _MILLI if value > _LATEST_EPOCH_S else value
        if _EARLIEST_EPOCH_S <= seconds <= _LATEST_EPOCH_S:
            return datetime.fromtimestamp(seconds, tz=UTC).date().isoformat()
        value = str(int(value)) if math.isfinite(value) else ""
    text = _text(value)
    if not any(character.isdigit() for character in text):
        return ""
    for pattern, order in _PATTERNS:
        match = pattern.fullmatch(text)
        if match:
            return _date(dict(zip(order, map(int, match.groups()), strict=True)))
    for form in _WRITTEN:
        try:
            return datetime.strptime(text, form).replace(tzinfo=UTC).date().isoformat()
        except ValueError:
            continue
    return ""


def diameter_m(value: Any, *, column: str = "") -> float:
    """Read the width of a pipe.

    Parameters
    ----------
    value : str or float
        Text with a unit (``"8 in"``, ``"110 mm"``), or a bare number.
    column : str
        Name of the column, which may end in the unit.

    Returns
    -------
    float
        Metres; 0 if there is none. A bare number is inches up to 48 and for the usual larger inch sizes, and
        millimetres otherwise: the pipe sizes of the trade overlap little (from memory).
    """
    if isinstance(value, str) and not re.fullmatch(r"[\d.]+", value.strip()):
        try:
            width_m = parse_length_m(value.replace("”", '"').replace("″", '"'))
        except SettingsError:
            return 0.0
        return max(width_m, 0.0)
    number = float(value) if isinstance(value, int | float | str) and not isinstance(value, bool) else 0.0
    if not (math.isfinite(number) and number > 0):
        return 0.0
    if column.endswith("_mm"):
        return number / 1000
    if column.endswith("_in") or number <= _LARGEST_SMALL_INCHES or number in _LARGE_INCHES:
        return number * _INCH_M
    return number / 1000


def _diameter(columns: Mapping[str, Any]) -> float:
    for name in _DIAMETER:
        for column in (name, f"{name}_mm", f"{name}_in"):
            if columns.get(column) is not None:
                return diameter_m(columns[column], column=column)
    return 0.0


def _depth_m(columns: Mapping[str, Any]) -> float | None:
    """Read a depth; a bare number is metres unless its column says otherwise, and nothing that is no depth counts."""
    for name in _DEPTH:
        for column, unit in ((name, "m"), (f"{name}_m", "m"), (f"{name}_ft", "ft"), (f"{name}_in", "in")):
            value = columns.get(column)
            if value is None or isinstance(value, bool):
                continue
            try:
                bare = isinstance(value, int | float) or re.fullmatch(r"-?[\d.]+", str(value).strip())
                depth_m = parse_length_m(f"{value} {unit}" if bare else str(value))
            except (SettingsError, ValueError):
                continue
            if 0.0 < abs(depth_m) < _DEEPEST_M:
                return abs(depth_m)
    return None


def _is_overhead(columns: Mapping[str, Any]) -> bool:
    """Whether a mark says that it hangs in the air; a word for lying in the ground beside it wins."""
    said = [words_of(str(columns.get(name) or "")) for name in _PLACEMENTS]
    # of a description only the beginning: further on it may speak of another line, or of a place in Ohio
    said += [words_of(str(columns.get(name) or ""))[:1] for name in _DESCRIPTIONS]
    words = {word for text in said for word in text}
    told = {word for name in (*_PLACEMENTS, *_DESCRIPTIONS) for word in words_of(str(columns.get(name) or ""))}
    return not words.isdisjoint(_IN_THE_AIR) and told.isdisjoint(_IN_THE_GROUND | _OF_A_PICTURE)


def _first(columns: Mapping[str, Any], names: tuple[str, ...]) -> Any:
    return next((columns[name] for name in names if columns.get(name) is not None), None)


def _text(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value).strip()


def _date(parts: dict[str, int]) -> str:
    year = parts["y"] + _CENTURY if parts["y"] < 100 else parts["y"]  # noqa: PLR2004  (two digits)
    month, day = parts["m"], parts["d"]
    if month > _MONTHS >= day:
        month, day = day, month
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return ""
