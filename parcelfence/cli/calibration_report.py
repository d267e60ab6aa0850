"""What a person reads after a walk test, and the same as data."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.field.walked import reach_seen_m
from parcelfence.outputs.escaping import visible
from parcelfence.units import unit_system

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from parcelfence.errors import Fault
    from parcelfence.field.calibration import Calibration
    from parcelfence.field.current import CurrentLoop
    from parcelfence.outputs.written_plan import WrittenPlan

__all__ = ["CAUTIONS", "CalibrationReport"]

CAUTIONS: Final = (
    "Walk again after every change of the level, of the wire or of the receiver's battery.",
    "Test with the receiver in your hand, all along the loop and inside the house, before the animal wears it.",
)
_SURE: Final = 2.0
_VAGUE_SHARE: Final = 0.1
_MANY_OUTLIERS: Final = 1.0 / 3.0
_WIDTH: Final = 100
_INDENT: Final = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class CalibrationReport:
    """A walk test beside the plan.

    Parameters
    ----------
    found : Calibration
        What the points say.
    plan : WrittenPlan
        What was set.
    loops : tuple of CurrentLoop
        Wires that the points were held against.
    walk_name, wire_name : str
        Files; the second is empty where the planned wire was taken.
    names : tuple of str
        What each point is called.
    points : ndarray, shape (n, 2)
        In the working CRS.
    remarks : tuple of Fault
        What the readers mended or left out.
    conversion_m : float
        Accuracy of the way into the working CRS where it is worse than that of a point, or 0.
    """

    found: Calibration
    plan: WrittenPlan
    loops: tuple[CurrentLoop, ...]
    walk_name: str
    wire_name: str
    names: tuple[str, ...]
    points: NDArray[np.float64]
    remarks: tuple[Fault, ...] = ()
    conversion_m: float = 0.0

    @property
    def difference_m(self) -> float:
        """How much farther the signal reaches than set."""
        return self.found.reach_m - self.plan.receiver.reach_m

    @property
    def verdict(self) -> str:
        """``"vague"`` where the walk cannot tell, ``"agrees"``, ``"farther"`` or ``"nearer"``."""
        if not self.found.uncertainty_m <= _VAGUE_SHARE * self.found.reach_m:
            return "vague"
        if abs(self.difference_m) <= _SURE * self.found.uncertainty_m:
            return "agrees"
        return "farther" if self.difference_m > 0.0 else "nearer"

    @cached_property
    def setting_m(self) -> float | None:
        """Value for the setting ``reach``, meant where the plan's own is meant; None if there is none."""
        settings = self.plan.settings
        if self.verdict in {"vague", "agrees"}:
            return settings.reach_m
        receiver = replace(self.plan.receiver, reach_m=self.found.reach_m)
        return reach_seen_m(self.loops, receiver=receiver, seen_from=settings.reach_seen_from)

    @property
    def outliers(self) -> tuple[tuple[str, float, str], ...]:
        """Name, residual in metres (nan where the wire cannot be heard at all) and likely reason of each."""
        rows = zip(self.names, self.found.residuals_m, self.found.reasons, self.found.outliers, strict=True)
        return tuple((visible(name), float(residual), reason) for name, residual, reason, out in rows if out)

    def as_text(self) -> str:
        """Write it for a terminal, in the person's units."""
        found, count = self.found, len(self.names)
        out = len(self.outliers)
        wire = f"{visible(self.wire_name)}, as laid" if self.wire_name else "as planned"
        rows = {
            "Walk": f"{visible(self.walk_name)}: {count} points, of which {count - out} fit",
            "Wire": f"{wire}: {len(self.loops)} {'loop' if len(self.loops) == 1 else 'loops'}, "
            f"{self._length(sum(loop.length_m for loop in self.loops))}",
            "Best fit": f"reach {self._length(found.reach_m)} +- {self._length(found.uncertainty_m)} (standard error) "
            "beside a long straight wire",
            "Set": f"reach {self._length(self.plan.receiver.reach_m)}{self._meant()}",
            "Compared": self._compared(),
            "Error": f"{self._length(found.scale_m)}, typical of a point that fits",
            "Outliers": f"{out} of {count} points do not fit and did not count" + (":" if out else ""),
        }
        lines = [line for name, text in rows.items() for line in _wrapped(name, text)]
        for name, residual_m, reason in self.outliers:
            lines += _wrapped("", f"{name}, {self._residual(residual_m)}: {reason}")
        lines += [line for remark in self._remarks() for line in _wrapped("Note", remark)]
        advice = [f"reach setting to use: {self._setting()}", *CAUTIONS]
        return "\n".join([*lines, "", *(part for text in advice for part in textwrap.wrap(text, width=_WIDTH))])

    def as_data(self) -> dict[str, Any]:
        """Give it as plain data, in metres."""
        found, settings = self.found, self.plan.settings
        return {
            "walk": visible(self.walk_name),
            "wire": visible(self.wire_name) or None,
            "points": len(self.names),
            "reach_m": _number(found.reach_m),
            "uncertainty_m": _number(found.uncertainty_m),
            "set_reach_m": _number(self.plan.receiver.reach_m),
            "difference_m": _number(self.difference_m),
            "verdict": self.verdict,
            "typical_error_m": _number(found.scale_m),
            "reach_setting_m": None if self.setting_m is None else _number(self.setting_m),
            "reach_seen_from": settings.reach_seen_from,
            "outliers": [
                {"point": name, "residual_m": _number(residual_m), "reason": reason}
                for name, residual_m, reason in self.outliers
            ],
            "residuals": [
                {"point": visible(name), "x_m": _number(x), "y_m": _number(y), "residual_m": _number(residual_m)}
                for name, (x, y), residual_m in zip(self.names, self.points, found.residuals_m, strict=True)
            ],
            "remarks": self._remarks(),
            "cautions": list(CAUTIONS),
        }

    def _length(self, value_m: float) -> str:
        return unit_system(self.plan.settings.units).length(value_m, digits=2)

    def _meant(self) -> str:
        settings = self.plan.settings
        if settings.reach_seen_from == "straight":
            return ""
        return f", which is {self._length(settings.reach_m)} as walked from {settings.reach_seen_from}"

    def _compared(self) -> str:
        share, difference = abs(self.difference_m) / self.plan.receiver.reach_m, self._length(abs(self.difference_m))
        return {
            "vague": "the points are too few or too uneven to judge the setting; walk up to the wire at more places",
            "agrees": f"the signal reaches as far as set, within the uncertainty of the walk (off by {difference})",
            "farther": f"the signal reaches {difference} ({share:.0%}) farther than set: it may cross the lot line or "
            "enter a building, and less ground is free",
            "nearer": f"the signal reaches {difference} ({share:.0%}) less far than set: the animal is warned later",
        }[self.verdict]

    def _setting(self) -> str:
        seen_from = self.plan.settings.reach_seen_from
        meant = "" if seen_from == "straight" else f", as walked from {seen_from}"
        if self.setting_m is None:
            return "none: at this level the signal does not end beside the longest run; turn it down"
        value = f"{self._length(self.setting_m)}{meant}"
        if self.verdict in {"vague", "agrees"}:
            return f"{value} (as set)"
        turn = "down" if self.difference_m > 0.0 else "up"
        return f"{value} (plan again with it, or turn the level of the transmitter {turn} until a walk agrees)"

    def _residual(self, residual_m: float) -> str:
        if not math.isfinite(residual_m):
            return "where the wire cannot be heard at all"
        side = "farther from" if residual_m > 0.0 else "nearer to"
        return f"{self._length(abs(residual_m))} {side} the wire than predicted"

    def _remarks(self) -> list[str]:
        remarks = [visible(remark) for remark in self.remarks]
        if self.conversion_m:
            remarks.append(
                f"The coordinates of the walk come into the CRS of the plan with an accuracy of "
                f"{self._length(self.conversion_m)} only, which may shift all points together: walk on every side of "
                "the loop, or tape distances from the wire."
            )
        if len(self.outliers) > _MANY_OUTLIERS * len(self.names):
            remarks.append("Many points do not fit. If the wire lies otherwise than planned, give it with --wire.")
        return remarks


def _wrapped(name: str, text: str) -> list[str]:
    lines = textwrap.wrap(text, width=_WIDTH - _INDENT) or [""]
    first, *rest = lines
    return [click.style(f"{name:<{_INDENT}}", bold=True) + first, *(" " * _INDENT + line for line in rest)]


def _number(value: float | np.floating[Any]) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None
