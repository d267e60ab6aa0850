"""What was measured on a wire that has failed: a table of observations in TOML, JSON or CSV.

One row is one observation.  Its columns are ``kind`` and ``result``; ``at`` or ``from`` and ``to``, the place; and
where they matter ``radius`` and ``senses``.  :data:`KINDS` says which kind takes what.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

from parcelfence.errors import Fault, InputError, SettingsError, near_matches
from parcelfence.inputs.files import check_file
from parcelfence.units import parse_length_m

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = ["KINDS", "BreakNotes", "BreakObservation", "Kind", "read_break_notes"]

Kind = Literal["resistance", "tone", "digging", "movement", "exposed", "test_loop"]
Senses = Literal["voltage", "current"]

DIGGING_RADIUS_M: Final = 1.5
"""How far round a place a spade or a post-hole digger works, where nothing else is said (from memory)."""
_RESULTS: Final[dict[Kind, dict[str, str]]] = {
    "resistance": {
        **dict.fromkeys(("open", "ol", "infinite", "none", "no continuity"), "open"),
        **dict.fromkeys(("normal", "continuous", "continuity", "good", "as recorded"), "normal"),
        **dict.fromkeys(("raised", "high", "unsteady"), "raised"),
    },
    "tone": {
        **dict.fromkeys(("heard", "yes", "true", "1"), "heard"),
        **dict.fromkeys(("silent", "not heard", "no", "false", "0"), "silent"),
    },
    "digging": {"": ""},
    "movement": {
        **dict.fromkeys(("changed", "yes", "true", "1"), "changed"),
        **dict.fromkeys(("unchanged", "no", "false", "0"), "unchanged"),
    },
    "exposed": {"whole": "whole", "damaged": "damaged"},
    "test_loop": {
        **dict.fromkeys(("works", "yes", "true", "1"), "works"),
        **dict.fromkeys(("fails", "no", "false", "0"), "fails"),
    },
}
"""Words in which a result may be written, by kind, with the one word by which it goes from here on."""
KINDS: Final[dict[Kind, str]] = {
    "resistance": "ohms between two places, the transmitter unplugged (from A to B, the two terminals, where no place "
    "is named): a number, open, normal or raised",
    "tone": "a tone fed into one terminal, the other earthed, and sought from above: heard or silent at a place",
    "digging": "somebody has dug at a place lately; takes no result",
    "movement": "the wire was moved at a place: the fault changed or stayed unchanged",
    "exposed": "the wire was laid bare at a place: whole or damaged",
    "test_loop": "a short loop of test wire at the terminals instead of the buried one: works or fails",
}
_COLUMNS: Final = ("kind", "result", "at", "from", "to", "radius", "senses", "note")
_PLACED: Final = frozenset({"tone", "digging", "movement", "exposed"})
_OHMS: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(k?)\s*(?:ohms?|\u03a9|\u2126)?", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class BreakObservation:
    """One observation.

    Parameters
    ----------
    row : str
        Where it stands in its file, for messages.
    kind : str
        See :data:`KINDS`.
    result : str
        Its word in lower case; empty for digging, and where a resistance was given in ohms.
    ohms : float or None
        A resistance in figures.
    at : str
        Place as it was written; empty for resistance and test loop.
    start, end : str
        Places between which a resistance was measured; `start` is also the terminal into which a tone was fed.
    radius_m : float
        How far round the place it holds.
    senses : str
        What the probe of a tone senses: ``"voltage"`` is heard up to the break, ``"current"`` fades before it.
    note : str
        What the person added.
    """

    row: str
    kind: Kind
    result: str = ""
    ohms: float | None = None
    at: str = ""
    start: str = "A"
    end: str = "B"
    radius_m: float = DIGGING_RADIUS_M
    senses: Senses = "voltage"
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class BreakNotes:
    """Everything that was noted about a failed wire.

    Parameters
    ----------
    name : str
        The file.
    observations : tuple of BreakObservation
        In its order.
    rates : mapping of str to float
        Rates that replace the stated ones; only TOML and JSON can hold them.
    expected_ohms : float or None
        Resistance of the whole wire when it was sound, if the file states it.
    """

    name: str
    observations: tuple[BreakObservation, ...]
    rates: Mapping[str, float] = field(default_factory=dict)
    expected_ohms: float | None = None


def read_break_notes(path: Path) -> BreakNotes:
    """Read observations.

    Parameters
    ----------
    path : Path
        TOML with tables ``[[observation]]``, JSON with a list of the same (alone, or under ``observation``), or CSV
        with a heading.  TOML and JSON may also hold ``expected_ohms`` and a table ``rates``.

    Raises
    ------
    InputError
        If it cannot be read; with every row that cannot be used.
    """
    check_file(path)
    content = _content(path)
    rows = content.get("observation", [])
    faults = [
        Fault(where=path.name, found=f"{name!r} is not known here", remedy=near_matches(name, _TOP))
        for name in content
        if name not in _TOP
    ]
    observations: list[BreakObservation] = []
    if not isinstance(rows, list) or not rows:
        faults.append(Fault(where=path.name, found="it holds no observation", remedy="give at least one row"))
        rows = []
    for number, row in enumerate(rows, start=1):
        try:
            observations.append(_observation(row, row_name=f"observation {number}"))
        except SettingsError as error:
            faults.append(Fault(where=path.name, feature=f"observation {number}", found=str(error)))
    rates = content.get("rates", {})
    expected_ohms = content.get("expected_ohms")
    if not isinstance(rates, dict) or not all(_is_amount(value) for value in rates.values()):
        faults.append(Fault(where=f"{path.name} rates", found="it is no table of numbers", must="each is 0 or more"))
    if expected_ohms is not None and not (_is_amount(expected_ohms) and expected_ohms > 0):
        faults.append(Fault(where=f"{path.name} expected_ohms", found=f"{expected_ohms!r}", must="it is above 0"))
    if faults:
        raise InputError(faults)
    return BreakNotes(
        name=path.name,
        observations=tuple(observations),
        rates={str(name): float(value) for name, value in rates.items()},
        expected_ohms=None if expected_ohms is None else float(expected_ohms),
    )


_TOP: Final = ("observation", "rates", "expected_ohms")


def _content(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8-sig")
        if path.suffix.lower() == ".toml":
            return tomllib.loads(text)
        if path.suffix.lower() == ".json":
            parsed = json.loads(text)
            return parsed if isinstance(parsed, dict) else {"observation": parsed}
        rows = list(csv.DictReader(io.StringIO(text), skipinitialspace=True, strict=True))
    except (OSError, UnicodeDecodeError, ValueError, csv.Error) as error:
        must = "observations are TOML, JSON or CSV in UTF-8"
        raise InputError(Fault(where=str(path), found=f"it cannot be read ({error})", must=must)) from error
    plain = [{str(name or "").strip().lower(): value for name, value in row.items()} for row in rows]
    return {"observation": [{name: value for name, value in row.items() if value not in {None, ""}} for row in plain]}


def _observation(row: Any, *, row_name: str) -> BreakObservation:
    """Read one row; raises SettingsError."""
    if not isinstance(row, dict):
        raise SettingsError(f"{row!r} is no observation")
    for name in row:
        if name not in _COLUMNS:
            raise SettingsError(f"there is no column {name!r}; {near_matches(name, _COLUMNS)}")
    texts = {name: str(value).strip() for name, value in row.items()}
    word = texts.get("kind", "").casefold().replace(" ", "_").replace("-", "_")
    kind = next((known for known in KINDS if known == word), None)
    if kind is None:
        raise SettingsError(f"there is no kind {texts.get('kind', '')!r}; {near_matches(word, KINDS)}")
    if kind in _PLACED and not texts.get("at"):
        raise SettingsError(f"a row of kind {kind} needs a place in 'at', such as 'L1 45 m', 'S2' or 'flag 12'")
    senses = texts.get("senses", "voltage")
    if senses not in {"voltage", "current"}:
        raise SettingsError(f"senses = {senses!r} is neither voltage nor current")
    result, ohms = _result(kind, texts.get("result", ""))
    return BreakObservation(
        row=row_name,
        kind=kind,
        result=result,
        ohms=ohms,
        at=texts.get("at", ""),
        start=texts.get("from", "A"),
        end=texts.get("to", "B"),
        radius_m=_radius_m(texts.get("radius")),
        senses="current" if senses == "current" else "voltage",
        note=texts.get("note", ""),
    )


def _result(kind: Kind, text: str) -> tuple[str, float | None]:
    match = _OHMS.fullmatch(text) if kind == "resistance" else None
    if match is not None:
        return "", float(match[1]) * (1000.0 if match[2] else 1.0)
    words = _RESULTS[kind]
    if text.casefold() not in words:
        known = ", ".join(sorted(set(words.values()))) or "nothing"
        raise SettingsError(f"the result {text!r} of a row of kind {kind} is not one of: {known}")
    return words[text.casefold()], None


def _radius_m(text: str | None) -> float:
    radius_m = DIGGING_RADIUS_M if text is None else parse_length_m(text)
    if radius_m <= 0.0:
        raise SettingsError(f"the radius {text} must be more than nothing")
    return radius_m


def _is_amount(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and value >= 0
