"""What a person reads after a walk test, and the same as data."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click
import numpy as np

from parcelfence.cli.trouble_report import UNTRIED, trouble_data, trouble_lines
from parcelfence.text import visible
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.service.signal_trouble import SignalTrouble
    from parcelfence.service.walking import WalkTest

__all__ = ["CAUTIONS", "CalibrationReport"]

CAUTIONS: Final = (
    "Walk again after every change of the level, of the wire or of the receiver's battery.",
    "Test with the receiver in your hand, all along the loop and inside the house, before the animal wears it.",
)
_MANY_OUTLIERS: Final = 1.0 / 3.0
_WIDTH: Final = 100
_INDENT: Final = 12


@dataclass(frozen=True, eq=False)
class CalibrationReport:
    """The words for a walk test.

    Parameters
    ----------
    test : WalkTest
        What was walked, and what it says.
    troubles : tuple of SignalTrouble
        Stretches of weak signal, with their causes.
    """

    test: WalkTest
    troubles: tuple[SignalTrouble, ...] = ()

    @property
    def outliers(self) -> tuple[tuple[str, float, str], ...]:
        """Name, residual in metres (nan where the wire cannot be heard at all) and likely reason of each."""
        rows = zip(
            self.test.names, self.test.found.residuals_m, self.test.found.reasons, self.test.found.outliers, strict=True
        )
        return tuple((visible(name), float(residual), reason) for name, residual, reason, out in rows if out)

    def as_text(self) -> str:
        """Write it for a terminal, in the person's units."""
        found, count = self.test.found, len(self.test.names)
        out = len(self.outliers)
        wire = f"{visible(self.test.wire_name)}, as laid" if self.test.wire_name else "as planned"
        rows = {
            "Walk": f"{visible(self.test.walk_name)}: {count} points, of which {count - out} fit",
            "Wire": f"{wire}: {len(self.test.loops)} {'loop' if len(self.test.loops) == 1 else 'loops'}, "
            f"{self._length(sum(loop.length_m for loop in self.test.loops))}",
            "Best fit": f"reach {self._length(found.reach_m)} +- {self._length(found.uncertainty_m)} (standard error) "
            "beside a long straight wire",
            "Set": f"reach {self._length(self.test.plan.receiver.reach_m)}{self._meant()}",
            "Compared": self._compared(),
            "Error": f"{self._length(found.scale_m)} by chance, typical of a point that fits",
            "Common": self._common(),
            "Outliers": f"{out} of {count} points do not fit and did not count" + (":" if out else ""),
        }
        lines = [line for name, text in rows.items() for line in _wrapped(name, text)]
        for name, residual_m, reason in self.outliers:
            lines += _wrapped("", f"{name}, {self._residual(residual_m)}: {reason}")
        lines += [line for trouble in self.troubles for line in self._trouble(trouble)]
        lines += [line for remark in self._remarks() for line in _wrapped("Note", remark)]
        advice = [f"reach setting to use: {self._setting()}", *CAUTIONS]
        return "\n".join([*lines, "", *(part for text in advice for part in textwrap.wrap(text, width=_WIDTH))])

    def as_data(self) -> dict[str, Any]:
        """Give it as plain data, in metres."""
        found, settings = self.test.found, self.test.plan.settings
        return {
            "walk": visible(self.test.walk_name),
            "wire": visible(self.test.wire_name) or None,
            "points": len(self.test.names),
            "reach_m": _number(found.reach_m),
            "uncertainty_m": _number(found.uncertainty_m),
            "set_reach_m": _number(self.test.plan.receiver.reach_m),
            "difference_m": _number(self.test.difference_m),
            "verdict": self.test.verdict,
            "typical_error_m": _number(found.scale_m),
            "uncertainty_by_chance_m": _number(found.chance_m),
            "uncertainty_common_m": _number(found.common_m),
            "common_shift_m": [_number(each) for each in found.fit.shift_m],
            "common_shift_is_sure": found.fit.shift_is_sure,
            "reach_mistakable_for_shift": found.is_mistakable,
            "reach_setting_m": None if self.test.setting_m is None else _number(self.test.setting_m),
            "reach_seen_from": settings.reach_seen_from,
            "outliers": [
                {"point": name, "residual_m": _number(residual_m), "reason": reason}
                for name, residual_m, reason in self.outliers
            ],
            "residuals": [
                {"point": visible(name), "x_m": _number(x), "y_m": _number(y), "residual_m": _number(residual_m)}
                for name, (x, y), residual_m in zip(self.test.names, self.test.points, found.residuals_m, strict=True)
            ],
            "weak_stretches": [trouble_data(trouble, self.test) for trouble in self.troubles],
            "remarks": self._remarks(),
            "cautions": list(CAUTIONS),
        }

    def _trouble(self, trouble: SignalTrouble) -> list[str]:
        first, *rest = trouble_lines(trouble, self.test)
        return [*_wrapped("Weak", first), *(line for text in rest for line in _wrapped("", text))]

    def _length(self, value_m: float) -> str:
        return unit_system(self.test.plan.settings.units).length(value_m, digits=2)

    def _common(self) -> str:
        """Say what all points have in common, and whether that can be told from a farther reach."""
        found, fit = self.test.found, self.test.found.fit
        if not fit.shift_covariance_m2.any():
            return "nothing: distances taped from the wire are not off together"
        size_m = float(np.hypot(*fit.shift_m))
        own = self._length(float(np.sqrt(np.linalg.eigvalsh(fit.shift_covariance_m2).max())))
        shift = (
            f"all points lie {self._length(size_m)} to the {_towards(fit.shift_m)} of where they belong, give or take "
            f"{own}: that was taken back"
            if fit.shift_is_sure
            else f"no shift of all points shows, give or take {own}"
        )
        parts = f"of the uncertainty {self._length(found.chance_m)} is by chance, {self._length(found.common_m)} common"
        if not found.is_mistakable:
            return f"{shift}; {parts}"
        return (
            f"{shift}; {parts}. The walk cannot tell a farther reach from a shift of all points to the "
            f"{_towards(fit.mistaken_for)}: walk up to the wire on the opposite side too, or tape distances from it"
        )

    def _meant(self) -> str:
        settings = self.test.plan.settings
        if settings.reach_seen_from == "straight":
            return ""
        return f", which is {self._length(settings.reach_m)} as walked from {settings.reach_seen_from}"

    def _compared(self) -> str:
        share, difference = (
            abs(self.test.difference_m) / self.test.plan.receiver.reach_m,
            self._length(abs(self.test.difference_m)),
        )
        return {
            "vague": "the points are too few or too uneven to judge the setting; walk up to the wire at more places",
            "agrees": f"the signal reaches as far as set, within the uncertainty of the walk (off by {difference})",
            "farther": f"the signal reaches {difference} ({share:.0%}) farther than set: it may cross the lot line or "
            "enter a building, and less ground is free",
            "nearer": f"the signal reaches {difference} ({share:.0%}) less far than set: the animal is warned later",
        }[self.test.verdict]

    def _setting(self) -> str:
        seen_from = self.test.plan.settings.reach_seen_from
        meant = "" if seen_from == "straight" else f", as walked from {seen_from}"
        if self.test.setting_m is None:
            return "none: at this level the signal does not end beside the longest run; turn it down"
        value = f"{self._length(self.test.setting_m)}{meant}"
        if self.test.verdict in {"vague", "agrees"}:
            return f"{value} (as set)"
        turn = "down" if self.test.difference_m > 0.0 else "up"
        return f"{value} (plan again with it, or turn the level of the transmitter {turn} until a walk agrees)"

    def _residual(self, residual_m: float) -> str:
        if not math.isfinite(residual_m):
            return "where the wire cannot be heard at all"
        side = "farther from" if residual_m > 0.0 else "nearer to"
        return f"{self._length(abs(residual_m))} {side} the wire than predicted"

    def _remarks(self) -> list[str]:
        remarks = [visible(remark) for remark in self.test.remarks]
        remarks += [UNTRIED] if self.troubles else []
        if len(self.outliers) > _MANY_OUTLIERS * len(self.test.names):
            remarks.append("Many points do not fit. If the wire lies otherwise than planned, give it with --wire.")
        return remarks


def _towards(direction: NDArray[np.float64]) -> str:
    """Name the nearest of eight directions of the compass, in the grid of the plan."""
    eighth = round(math.atan2(direction[0], direction[1]) / (math.pi / 4)) % 8
    return ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")[eighth]


def _wrapped(name: str, text: str) -> list[str]:
    lines = textwrap.wrap(text, width=_WIDTH - _INDENT) or [""]
    first, *rest = lines
    return [click.style(f"{name:<{_INDENT}}", bold=True) + first, *(" " * _INDENT + line for line in rest)]


def _number(value: float | np.floating[Any]) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None
