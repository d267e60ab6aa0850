"""A conflict: one row that says what is wrong with a design, where, by how much, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["COMMON_PRACTICE", "SEVERITIES", "Conflict", "Severity"]

Severity = Literal["must_fix", "caution", "note"]
SEVERITIES: Final[tuple[Severity, ...]] = ("must_fix", "caution", "note")
COMMON_PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """One finding.

    Parameters
    ----------
    rule : str
        Identifier of the rule that found it.
    severity : str
        ``"must_fix"``, ``"caution"`` or ``"note"``.
    message, remedy : str
        Plain words, with lengths in the person's units.
    geometry : BaseGeometry
        Where it is.
    station_m : float or None
        Chainage along the wire, where it has one.
    measured, limit : float or None
        What was measured and what the rule asks for, in `unit`.
    unit : str
        ``"m"``, ``"deg"``, ``"ohm"``...
    basis : str
        A named standard, or common practice.
    layer, feature : str
        Feature concerned, if any.
    """

    rule: str
    severity: Severity
    message: str
    remedy: str
    geometry: BaseGeometry
    basis: str = COMMON_PRACTICE
    station_m: float | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str = "m"
    layer: str = ""
    feature: str = ""
