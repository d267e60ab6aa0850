"""The cautions that every output carries by which somebody digs, wires or trains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["CAUTIONS", "Caution"]


@dataclass(frozen=True)
class Caution:
    """One caution: a short order, and what it means."""

    order: str
    meaning: str


CAUTIONS: Final[tuple[Caution, ...]] = (
    Caution(
        "Call the utility locating service before you dig.",
        "Wait until every line is marked. This sheet is no substitute for marks on the ground, and marks grow old.",
    ),
    Caution(
        "Dig by hand in tolerance zones.",
        "Lines may lie anywhere in the zone beside a mark, at any depth, and some are never marked at all.",
    ),
    Caution(
        "Local codes and licensed electricians come first.",
        "Where they ask for something else than this sheet, do as they say. Leave mains, grounding and surge "
        "protection to those who are licensed for it.",
    ),
    Caution(
        "Fit and supervise the animal.",
        "Walk the finished loop with the receiver in your hand before the animal meets it, and train it with flags.",
    ),
)
"""In the order of doing."""
