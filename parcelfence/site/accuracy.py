"""How exactly a plan can be trusted: one uncertainty for every clearance, from all that goes into it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Utility
    from parcelfence.site.provenance import InputRecord
    from parcelfence.site.site import Site

__all__ = ["DRAWING_M", "Budget", "clearance_budget", "mark_uncertainty_m", "role_budget", "signal_budget"]

DRAWING_M: Final = 0.05
"""Staking a point from a plan and laying the wire to it by hand (from memory: a few centimetres)."""
_ROLES: Final = {"parcel": "parcels", "utilities": "marks", "neighbours": "parcels"}
_LEVEL_M: Final = {"A": 0.05, "B": 0.30}
"""Horizontal accuracy of quality levels A and B in AS 5488 (A from memory); ASCE 38-22 itself gives none."""
_PAS_128: Final = {"B1": (0.15, 0.15), "B2": (0.25, 0.40), "B3": (0.50, 0.0)}
"""Sub-levels of PAS 128: an accuracy in metres, and a share of the depth; the greater counts (that from memory)."""
_DEEP_M: Final = 3.0
"""Depth taken where none is stated, so that a share of it errs on the safe side: few services on a lot lie deeper
(from memory)."""


@dataclass(frozen=True, kw_only=True)
class Budget:
    """Parts of an uncertainty, independent of each other.

    Parameters
    ----------
    parts : tuple of (str, float)
        Name and size in metres of every part.
    unknown : tuple of str
        Names of the parts that nobody stated, and for which a size was taken.
    """

    parts: tuple[tuple[str, float], ...]
    unknown: tuple[str, ...] = ()

    @property
    def total_m(self) -> float:
        """Root of the sum of squares of the parts."""
        return math.hypot(*(size_m for _, size_m in self.parts))

    def __add__(self, other: Budget) -> Budget:
        return Budget(
            parts=tuple(dict.fromkeys(self.parts + other.parts)),
            unknown=tuple(dict.fromkeys(self.unknown + other.unknown)),
        )


def role_budget(site: Site, *, role: str, settings: Settings) -> Budget:
    """Uncertainty of the coordinates of a role: its source and its datum operation, the worst of its files.

    Parameters
    ----------
    site : Site
        Its provenance is read.
    role : str
        Input role, such as ``"parcels"``.
    settings : Settings
        What is taken for a part that nobody stated; it is not nothing.
    """
    records = [record for record in site.provenance.inputs if record.role == role and record.used]
    budgets = [_record_budget(record, unstated_m=settings.unstated_accuracy_m) for record in records]
    worst = max(budgets, key=lambda budget: budget.total_m, default=Budget(parts=()))
    unknown = tuple(dict.fromkeys(name for budget in budgets for name in budget.unknown))
    return Budget(parts=worst.parts, unknown=unknown)


def _record_budget(record: InputRecord, *, unstated_m: float) -> Budget:
    named = ((f"source {record.name}", record.accuracy_m), (f"datum of {record.name}", record.operation.accuracy_m))
    parts = tuple((name, unstated_m if size_m is None else size_m) for name, size_m in named)
    # half a step each way, so half a diagonal at most
    rounding = ((f"rounding of {record.name}", record.rounded_to_m / math.sqrt(2.0)),) if record.rounded_to_m else ()
    return Budget(
        parts=(*parts, *rounding),
        unknown=tuple(name for name, size_m in named if size_m is None),
    )


def signal_budget(*, reach_m: float, height_m: float, settings: Settings) -> Budget:
    """Uncertainty of where the signal ends beside a long straight wire.

    The level is set by walking, in the steps of the transmitter and by what the receiver's first reaction tells.  At a
    set level the slant distance s to the edge stays, so a height h that differs by dh moves the edge by (h / w) dh.
    Dry or wet soil does not matter so near to the wire (its skin depth is tens of metres).

    Parameters
    ----------
    reach_m, height_m : float
        Reach w, and height h of the receiver above the wire.
    settings : Settings
        How exactly the level is set, and how far the heights may be off.
    """
    return Budget(
        parts=(
            ("setting the level", reach_m * settings.level_uncertainty_percent / 100.0),
            ("heights of receiver and wire", min(height_m / reach_m, 1.0) * settings.height_uncertainty_m),
        )
    )


def mark_uncertainty_m(utility: Utility) -> float:
    """How far the facility may lie from its mark.

    Exposed and detected facilities (quality levels A, B) have the accuracies of AS 5488, and sub-levels B1 to B3 those
    of PAS 128, which grow with the depth; where no depth is stated a deep service is assumed.  For all others, B4
    among them, the tolerance zone is the one published statement about where they may lie.
    """
    if utility.inferred:
        return utility.tolerance_m
    if utility.quality_level in _PAS_128:
        least_m, share = _PAS_128[utility.quality_level]
        return max(least_m, share * (_DEEP_M if utility.depth_m is None else utility.depth_m))
    known_m = _LEVEL_M.get(utility.quality_level)
    return utility.tolerance_m if known_m is None else min(known_m, utility.tolerance_m)


def clearance_budget(site: Site, *, layer: str, settings: Settings, utility: Utility | None = None) -> Budget:
    """Uncertainty of the distance between the laid wire and a feature.

    The wire is designed in the parcels' coordinates and staked from them; a wire that was drawn or surveyed adds the
    uncertainty of its own file.  A feature of another file adds that of its file, a mark adds where the facility may
    lie beside it.

    Parameters
    ----------
    site : Site
        Its provenance is read.
    layer : str
        Layer of the feature, such as ``"buildings"``.
    settings : Settings
        What is taken for what nobody stated.
    utility : Utility, optional
        The mark, in the layer ``"utilities"``.
    """
    budget = Budget(parts=(("laying the wire", DRAWING_M),)) + role_budget(site, role="wire", settings=settings)
    budget += role_budget(site, role=_ROLES.get(layer, layer), settings=settings)
    if utility is not None:
        budget += Budget(parts=((f"mark {utility.id}", mark_uncertainty_m(utility)),))
    return budget
