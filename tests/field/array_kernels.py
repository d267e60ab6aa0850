"""The sums of :mod:`parcelfence.field.kernels` in plain numpy: an oracle that shares no code with the compiled ones.

Same terms in the same order, one stretch of wire at a time over a block of points.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Ground = tuple[NDArray[np.float64], NDArray[np.float64]]
    Wire = tuple[NDArray[np.float64], NDArray[np.float64]]

__all__ = ["field_kernel", "slope_kernel"]

_BLOCK = 4096


@np.errstate(all="ignore")  # on the wire itself terms are infinite: told apart by the caller
def field_kernel(ground: Ground, wire: Wire) -> None:
    """Fill `out` (n, 3) with B at `points` (n, 3)."""
    for block, filled in _blocks(*ground):
        filled[:] = 0.0
        for stretch in _stretches(*wire):
            term = _Term(block, stretch)
            filled[:, 0] += term.q * term.ey * block[:, 2]
            filled[:, 1] -= term.q * term.ex * block[:, 2]
            filled[:, 2] += term.q * term.cross


@np.errstate(all="ignore")
def slope_kernel(ground: Ground, wire: Wire) -> None:
    """Fill `out` (n, 11): B, dB/dx, dB/dy, a bound on the slope of B, and the squared distance to the wire."""
    for block, filled in _blocks(*ground):
        filled[:] = 0.0
        filled[:, 10] = np.inf
        height = block[:, 2]
        for stretch in _stretches(*wire):
            term = _Term(block, stretch)
            dq_dx, dq_dy = term.slope()
            filled[:, 0] += term.q * term.ey * height
            filled[:, 1] -= term.q * term.ex * height
            filled[:, 2] += term.q * term.cross
            filled[:, 3] += dq_dx * term.ey * height
            filled[:, 4] -= dq_dx * term.ex * height
            filled[:, 5] += dq_dx * term.cross - term.q * term.ey
            filled[:, 6] += dq_dy * term.ey * height
            filled[:, 7] -= dq_dy * term.ex * height
            filled[:, 8] += dq_dy * term.cross + term.q * term.ex
            filled[:, 9] += 2.0 * np.sqrt(term.length2) * np.abs(term.q)
            filled[:, 10] = np.minimum(filled[:, 10], term.distance2())


class _Term:
    """One stretch of wire seen from a block of points."""

    def __init__(self, points: NDArray[np.float64], stretch: NDArray[np.float64]) -> None:
        x0, y0, x1, y1, current = stretch
        self.ex, self.ey = x1 - x0, y1 - y0
        self.height2 = points[:, 2] ** 2
        self.ax, self.ay = points[:, 0] - x0, points[:, 1] - y0
        self.bx, self.by = points[:, 0] - x1, points[:, 1] - y1
        self.length2 = self.ex**2 + self.ey**2
        self.ra = np.sqrt(self.ax**2 + self.ay**2 + self.height2)
        self.rb = np.sqrt(self.bx**2 + self.by**2 + self.height2)
        dot = self.ax * self.bx + self.ay * self.by + self.height2
        self.cross = self.ex * self.ay - self.ey * self.ax
        cross2 = self.cross**2 + self.length2 * self.height2
        beside = dot < 0
        apart = self.ra * self.rb + np.abs(dot)
        self.spread = np.where(beside, cross2 / apart, apart)
        self.q = 0.5 * current * (self.ra + self.rb) / (self.ra * self.rb * self.spread)

    def slope(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give the derivatives of q in x and y."""
        common = 1.0 / (self.ra + self.rb) - (self.ra + self.rb) / self.spread
        of_a, of_b = (common - 1.0 / self.ra) / self.ra, (common - 1.0 / self.rb) / self.rb
        return self.q * (of_a * self.ax + of_b * self.bx), self.q * (of_a * self.ay + of_b * self.by)

    def distance2(self) -> NDArray[np.float64]:
        """Give the squared distance to the stretch."""
        share = np.clip((self.ax * self.ex + self.ay * self.ey) / self.length2, 0.0, 1.0)
        squared = (self.ax - share * self.ex) ** 2 + (self.ay - share * self.ey) ** 2 + self.height2
        return np.asarray(squared, dtype=np.float64)


def _blocks(
    points: NDArray[np.float64], out: NDArray[np.float64]
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    for start in range(0, len(points), _BLOCK):
        yield points[start : start + _BLOCK], out[start : start + _BLOCK]


def _stretches(vertices: NDArray[np.float64], currents: NDArray[np.float64]) -> NDArray[np.float64]:
    rows = np.column_stack([vertices[:-1], vertices[1:], currents])
    return np.asarray(rows[currents != 0.0])
