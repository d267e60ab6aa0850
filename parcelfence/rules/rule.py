"""A rule: what is checked, why, how severe it is, and the function that checks it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from parcelfence.conflict import COMMON_PRACTICE, Conflict, Severity

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.draft import Draft

__all__ = ["Finding", "Rule", "rule"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What a rule's function found at one place.

    Parameters
    ----------
    message, remedy : str
        Plain words, with lengths in the person's units.
    geometry : BaseGeometry
        Where it is.
    severity : str, optional
        Where it differs from the severity of the rule.
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
    severity: Severity | None = None
    station_m: float | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str = "m"
    layer: str = ""
    feature: str = ""


Check = Callable[["Draft"], Iterable[Finding]]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule.

    Parameters
    ----------
    id : str
        Such as ``"lot-line-wire"``.
    theme : str
        Heading under which it is listed.
    severity : str
        Severity of its findings, unless a finding says otherwise.
    basis : str
        A named standard, or common practice.
    summary : str
        What must hold, in one sentence.
    function : callable
        Takes the :class:`~parcelfence.rules.draft.Draft` and yields every :class:`Finding`.
    """

    id: str
    theme: str
    severity: Severity
    summary: str
    function: Check
    basis: str = COMMON_PRACTICE

    def conflicts(self, draft: Draft) -> tuple[Conflict, ...]:
        """Apply the rule to a draft."""
        return tuple(self._conflict(finding) for finding in self.function(draft))

    def _conflict(self, finding: Finding) -> Conflict:
        return Conflict(
            rule=self.id,
            severity=finding.severity or self.severity,
            basis=self.basis,
            message=finding.message,
            remedy=finding.remedy,
            geometry=finding.geometry,
            station_m=finding.station_m,
            measured=finding.measured,
            limit=finding.limit,
            unit=finding.unit,
            layer=finding.layer,
            feature=finding.feature,
        )


def rule(
    rule_id: str, *, theme: str, severity: Severity, summary: str, basis: str = COMMON_PRACTICE
) -> Callable[[Check], Rule]:
    """Make a rule of the function below; see :class:`Rule` for the parameters."""

    def make(function: Check) -> Rule:
        return Rule(id=rule_id, theme=theme, severity=severity, summary=summary, function=function, basis=basis)

    return make
