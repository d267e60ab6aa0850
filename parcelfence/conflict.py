"""A conflict: one row that says what is wrong with a design, where, by how much, and what to do.

Designer, rules and the comparison with a plan all speak in this one type; severities, their words and the one order in
which conflicts are listed stand here too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

__all__ = [
    "COMMON_PRACTICE",
    "SEVERITIES",
    "SEVERITY_WORDS",
    "Conflict",
    "Severity",
    "count_severities",
    "in_order",
    "severity_tally",
]

Severity = Literal["must_fix", "caution", "note"]
SEVERITIES: Final[tuple[Severity, ...]] = ("must_fix", "caution", "note")
"""The gravest first."""
SEVERITY_WORDS: Final[dict[Severity, tuple[str, str]]] = {
    "must_fix": ("must be fixed", "must be fixed"),
    "caution": ("caution", "cautions"),
    "note": ("note", "notes"),
}
"""How a person reads a number of them: one, several."""
COMMON_PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """One thing that is wrong, or that a person has to know.

    Parameters
    ----------
    message, remedy : str
        Plain words, with lengths in the person's units.
    geometry : BaseGeometry
        Where it is.
    rule : str
        Identifier of the rule under which it is reported.  A rule's own function leaves it out, and
        :class:`~parcelfence.rules.rule.Rule` fills it in.
    severity : str, optional
        ``"must_fix"``, ``"caution"`` or ``"note"``; a rule's function states it where it differs from that of the rule.
    basis : str
        A named standard, or common practice; that of the rule where left out.
    station_m : float or None
        Chainage along the wire, where it has one.
    measured, limit : float or None
        What was measured and what the rule asks for, in `unit`.
    unit : str
        ``"m"``, ``"deg"``, ``"ohm"``...
    layer, feature : str
        Feature concerned, if any.
    """

    message: str
    remedy: str
    geometry: BaseGeometry
    rule: str = ""
    severity: Severity | None = None
    basis: str = ""
    station_m: float | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str = "m"
    layer: str = ""
    feature: str = ""


def in_order(conflicts: Iterable[Conflict]) -> tuple[Conflict, ...]:
    """Put conflicts into the one order in which they are listed: the gravest first, then along the wire.

    Parameters
    ----------
    conflicts : iterable of Conflict
        In any order; each states its severity.

    Returns
    -------
    tuple of Conflict
        Those without a station stand last within their severity.
    """
    return tuple(sorted(conflicts, key=_order))


def _order(conflict: Conflict) -> tuple[int, float, str, str, str, str]:
    station_m = math.inf if conflict.station_m is None else conflict.station_m
    return (
        SEVERITIES.index(conflict.severity),
        station_m,
        conflict.rule,
        conflict.layer,
        conflict.feature,
        conflict.message,
    )


def count_severities(conflicts: Iterable[Conflict]) -> dict[Severity, int]:
    """Count conflicts by severity, the gravest first; every severity is there."""
    severities = [conflict.severity for conflict in conflicts]
    return {severity: severities.count(severity) for severity in SEVERITIES}


def severity_tally(conflicts: Iterable[Conflict], *, between: str = ", ") -> str:
    """Say how many conflicts there are: ``"2 must be fixed, 1 caution"``; what must be fixed is always counted."""
    counts = count_severities(conflicts)
    return between.join(
        f"{number} {SEVERITY_WORDS[severity][number > 1]}"
        for severity, number in counts.items()
        if number or severity == "must_fix"
    )
