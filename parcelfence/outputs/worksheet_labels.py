"""Places for labels on the plan drawing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Labels"]


@dataclass
class Labels:
    """Keeps account of the paper that is taken, so that no label covers another.

    ``ties`` holds the thin lines from marks that had to move aside to their places; they are drawn beneath all marks.
    """

    width_mm: float
    height_mm: float
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    ties: list[str] = field(default_factory=list)

    def take(self, x: float, y: float, *, half_mm: float) -> None:
        """Mark the place of a symbol as taken."""
        self.taken.append((x - half_mm, y - half_mm, x + half_mm, y + half_mm))

    def place(
        self, text: str, candidates: Iterable[tuple[float, float]], *, size_mm: float
    ) -> tuple[float, float] | None:
        """Find the first free middle for a text, and take it; None where there is no room."""
        half_width, half_height = 0.31 * size_mm * max(len(text), 2), 0.6 * size_mm
        for x, y in candidates:
            box = (x - half_width, y - half_height, x + half_width, y + half_height)
            if self._inside(box) and not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return x, y
        return None

    def _inside(self, box: tuple[float, float, float, float]) -> bool:
        return box[0] >= 0 and box[1] >= 0 and box[2] <= self.width_mm and box[3] <= self.height_mm


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
