"""A rule: what is checked, why, how severe it is, and the function that checks it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from parcelfence.conflict import COMMON_PRACTICE, Conflict, Severity

if TYPE_CHECKING:
    from parcelfence.rules.draft import Draft

__all__ = ["Rule", "rule"]


Check = Callable[["Draft"], Iterable[Conflict]]


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
        Severity of its conflicts, unless one states its own.
    basis : str
        A named standard, or common practice.
    summary : str
        What must hold, in one sentence.
    function : callable
        Takes the :class:`~parcelfence.rules.draft.Draft` and yields every :class:`~parcelfence.conflict.Conflict`.
    of_signal : bool
        Whether it looks at the signal or the animal: where several animals live, it is applied to each.
    """

    id: str
    theme: str
    severity: Severity
    summary: str
    function: Check
    basis: str = COMMON_PRACTICE
    of_signal: bool = False

    def conflicts(self, draft: Draft) -> tuple[Conflict, ...]:
        """Apply the rule to a draft; what a conflict leaves out is filled in from the rule."""
        return tuple(
            replace(found, rule=self.id, severity=found.severity or self.severity, basis=found.basis or self.basis)
            for found in self.function(draft)
        )


def rule(
    rule_id: str,
    *,
    theme: str,
    severity: Severity,
    summary: str,
    basis: str = COMMON_PRACTICE,
    of_signal: bool = False,
) -> Callable[[Check], Rule]:
    """Make a rule of the function below; see :class:`Rule` for the parameters."""

    def make(function: Check) -> Rule:
        return Rule(
            id=rule_id,
            theme=theme,
            severity=severity,
            summary=summary,
            function=function,
            basis=basis,
            of_signal=of_signal,
        )

    return make
