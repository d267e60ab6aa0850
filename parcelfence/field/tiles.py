"""The field on square tiles of ground: near wire summed stretch by stretch, far wire as a polynomial.

Ground is halved again and again into square tiles.  A tile is dropped only if the field is proven to stay on one side
of every wanted level all over it: from its centre, where B and the sum G of |I| dl / r^3 over the wire are known, the
field changes over a distance s by no more than G D / 2 ((1 - s / D)^-2 - 1), with D the distance from the centre to
the nearest wire.  (The gradient of the field of a wire element is at most |I| dl / r^3, and r shrinks by at most s.)
So also parts of a zone that lie far from any wire are found, and the ground in between costs nothing.

On a tile of half side a, stretches whose nearest point lies at least 4 a from its centre are far: their field is
interpolated in Chebyshev polynomials of degree 7 in x and y, which smaller tiles inherit from larger ones without
loss.  The n-th derivative of an element's field is at most (n + 1)! |I| dl / (2 r^(n + 2)), so that the interpolation
of one stretch errs by less than 59 (a / 2 r)^8 |I| dl / (2 r^2) with r >= 2.58 a: 6e-5 of the sum of |I| dl / (2 r^2)
over the far wire at the very worst, and some 1e-7 of the field in practice.  The effort grows as n log n.

The compiled functions pass the tiles as one tuple, see :class:`Tiles`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from parcelfence.compiled import compiled
from parcelfence.field.tile_field import CELLS, ORDER, distance2, lattice_of, product, pull

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.field.current import Chain, Receiver

__all__ = ["Tiles"]

_LEAST_STEP_M, _MOST_STEP_M = 0.1, 0.5
"""The side of a cell is a quarter of the slant reach, within these; what is narrower than a cell may be missed."""
_FAR: Final = 4.0
_DOUBT: Final = 1e-4
"""A tile counts as decided only where the bound says so by this much, more than the interpolation errs."""

_TURN = (2.0 * np.arange(ORDER) + 1.0) * math.pi / (2.0 * ORDER)
_NODES = np.cos(_TURN)
_TO_COEFFICIENTS = (
    np.cos(np.outer(np.arange(ORDER), _TURN)) * np.where(np.arange(ORDER) == 0, 1.0, 2.0)[:, None] / ORDER
)
_HALVES = np.stack([
    _TO_COEFFICIENTS @ np.cos(np.outer(np.arccos((_NODES + side) / 2.0), np.arange(ORDER))) for side in (-1.0, 1.0)
])
"""From the coefficients of a tile to those of its lower and of its upper half."""


@dataclass(frozen=True, eq=False)
class Tiles:
    """The smallest tiles that a contour may cross, with what is needed to sum the field on them.

    Parameters
    ----------
    origin : ndarray, shape (2,)
        South-west corner of the first tile; all other coordinates are relative to it.
    step_m : float
        Side of a cell, a sixteenth of that of a tile.
    slant_m : float
        Distance by which the field is normalised.
    parts : tuple
        For the compiled functions: numbers of the tiles by row and column, -1 where there is none; centres (n, 2);
        coefficients (n, 3, 8, 8); first place of each tile in the list of near stretches (n + 1); that list, (5, m), as
        x and y of both ends and half the current; all stretches (5, k) likewise; half side, height and slant.
    """

    origin: NDArray[np.float64]
    step_m: float
    slant_m: float
    parts: Any

    @property
    def wire(self) -> NDArray[np.float64]:
        """Stretches as x and y of both ends and half the current, shape (5, k)."""
        return np.asarray(self.parts[5])

    @property
    def whole_within_m(self) -> float:
        """The list of a tile holds every stretch that is nearer to its centre than this."""
        return _FAR * float(self.parts[6])

    @cached_property
    def lattice(self) -> NDArray[np.float64]:
        """The normalised field at the corners of all cells, see :func:`parcelfence.field.tile_field.lattice_of`."""
        return np.asarray(lattice_of(self.parts))

    @classmethod
    def of(cls, chain: Chain, *, receiver: Receiver, levels: Sequence[float]) -> Tiles:
        """Find the tiles that the contours of some levels may cross.

        Parameters
        ----------
        chain : Chain
            All wires; at least one carries a current.
        receiver : Receiver
            Reach and height.
        levels : sequence of float
            Values of the normalised field.
        """
        step_m = float(np.clip(receiver.slant_m / 4.0, _LEAST_STEP_M, _MOST_STEP_M))
        # At distance r from all wires f < slant / 2 times the sum of |I| dl / r^2, which bounds the ground.
        margin_m = math.sqrt(receiver.slant_m * chain.strength_m / (2.0 * min(levels))) + step_m
        low, high = chain.vertices.min(axis=0) - margin_m, chain.vertices.max(axis=0) + margin_m
        side_m = CELLS * step_m
        halvings = max(0, math.ceil(math.log2(float((high - low).max()) / side_m)))
        carrying = chain.currents != 0.0
        starts, ends = chain.vertices[:-1][carrying] - low, chain.vertices[1:][carrying] - low
        wire = np.vstack([starts.T, ends.T, 0.5 * chain.currents[carrying]])
        numbers = (side_m / 2.0, receiver.height_m, receiver.slant_m)
        found = _tiles(wire, halvings, numbers, np.array(levels, dtype=np.float64))
        return cls(origin=low, step_m=step_m, slant_m=receiver.slant_m, parts=(*found, wire, *numbers))


@compiled
def _undecided(tile: Any, far: tuple[Any, float], near: Any, wire: Any, numbers: Any, levels: Any) -> Any:
    """Tell whether a tile cannot be proven to lie on one side of every level."""
    x, y, half = tile
    coefficients, far_slope = far
    _, height, slant = numbers
    height2, way = height * height, half * math.sqrt(2.0)
    sum_x = sum_y = sum_z = slope = 0.0
    for i in range(ORDER):  # T_n(0) is 1, 0, -1, 0, ...
        for j in range(ORDER):
            if i % 2 == 0 and j % 2 == 0:
                sign = 1.0 if (i + j) % 4 == 0 else -1.0
                sum_x += sign * coefficients[0, i, j]
                sum_y += sign * coefficients[1, i, j]
                sum_z += sign * coefficients[2, i, j]
    nearest2 = (2.0 * _FAR * half) ** 2
    for k in near:
        ex, ey, q, cross = pull(x, y, height2, wire, k)
        sum_x += q * ey
        sum_y -= q * ex
        sum_z += q * cross
        slope += 2.0 * math.sqrt(ex * ex + ey * ey) * abs(q)
        nearest2 = min(nearest2, distance2(x, y, wire, k) + height2)
    nearest = math.sqrt(nearest2)
    if nearest <= way:
        return True
    field = slant * math.sqrt((sum_x * sum_x + sum_y * sum_y) * height2 + sum_z * sum_z)
    change = slant * (slope * nearest / 2.0 * ((1.0 - way / nearest) ** -2 - 1.0) + far_slope * way)
    for level in levels:
        if (field - change) * (1.0 - _DOUBT) < level and (field + change) * (1.0 + _DOUBT) >= level:
            return True
    return False


@compiled
def _add_far(tile: Any, coefficients: Any, stretches: Any, wire: Any, height2: float) -> Any:
    """Add the field of far stretches to the coefficients of a tile; give a bound of its slope."""
    x, y, half = tile
    count = ORDER * ORDER
    values, px, py = np.zeros((3, count)), np.empty(count), np.empty(count)
    for i in range(ORDER):
        for j in range(ORDER):
            px[i * ORDER + j], py[i * ORDER + j] = x + half * _NODES[i], y + half * _NODES[j]
    slope = 0.0
    for k in stretches:
        apart = math.sqrt(distance2(x, y, wire, k) + height2) - half * math.sqrt(2.0)
        length = math.hypot(wire[2, k] - wire[0, k], wire[3, k] - wire[1, k])
        slope += 2.0 * abs(wire[4, k]) * length / apart**3
        for p in range(count):
            ex, ey, q, cross = pull(px[p], py[p], height2, wire, k)
            values[0, p] += q * ey
            values[1, p] -= q * ex
            values[2, p] += q * cross
    for c in range(3):
        product(coefficients[c], values[c].reshape(ORDER, ORDER), _TO_COEFFICIENTS, _TO_COEFFICIENTS)
    return slope


@compiled
def _tiles(wire: Any, halvings: int, numbers: Any, levels: Any) -> Any:
    """Halve the ground down to the smallest tiles; give grid, centres, coefficients, starts and near stretches."""
    smallest, height, _ = numbers
    half = smallest * 2.0**halvings
    column, row = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    coefficients, slopes = np.zeros((1, 3, ORDER, ORDER)), np.zeros(1)
    starts, near = np.array([0, wire.shape[1]]), np.arange(wire.shape[1])
    while True:
        count = column.shape[0]
        kept = np.zeros(count, dtype=np.bool_)
        room = 0
        for t in range(count):
            tile = ((2 * column[t] + 1) * half, (2 * row[t] + 1) * half, half)
            own = near[starts[t] : starts[t + 1]]
            kept[t] = _undecided(tile, (coefficients[t], slopes[t]), own, wire, numbers, levels)
            room += own.shape[0] if kept[t] else 0
        chosen = np.flatnonzero(kept)
        if half <= smallest * 1.001:
            break
        half /= 2.0
        parents = (column, row, coefficients, slopes, starts, near)
        column, row = np.empty(4 * chosen.shape[0], dtype=np.int64), np.empty(4 * chosen.shape[0], dtype=np.int64)
        coefficients, slopes = np.zeros((column.shape[0], 3, ORDER, ORDER)), np.zeros(column.shape[0])
        starts, near = np.zeros(column.shape[0] + 1, dtype=np.int64), np.empty(4 * room, dtype=np.int64)
        far = np.empty(wire.shape[1], dtype=np.int64)
        for number in range(column.shape[0]):
            parent, east, north = chosen[number // 4], number % 2, number // 2 % 2
            column[number], row[number] = 2 * parents[0][parent] + east, 2 * parents[1][parent] + north
            tile = ((2 * column[number] + 1) * half, (2 * row[number] + 1) * half, half)
            for c in range(3):
                product(coefficients[number, c], parents[2][parent, c], _HALVES[east], _HALVES[north])
            end, away = starts[number], 0
            for k in parents[5][parents[4][parent] : parents[4][parent + 1]]:
                if distance2(tile[0], tile[1], wire, k) < (_FAR * half) ** 2:
                    near[end] = k
                    end += 1
                else:
                    far[away] = k
                    away += 1
            starts[number + 1] = end
            slopes[number] = parents[3][parent]
            if away:
                slopes[number] += _add_far(tile, coefficients[number], far[:away], wire, height * height)
    return _smallest(chosen, (2**halvings, half), (column, row, coefficients, starts, near), wire)


@compiled
def _smallest(chosen: Any, shape: Any, tiles: Any, wire: Any) -> Any:
    """Lay out the smallest tiles by number, with the near stretches of each side by side."""
    width, half = shape
    column, row, coefficients, starts, near = tiles
    grid = np.full((width, width), -1, dtype=np.int32)
    centres, places = np.empty((chosen.shape[0], 2)), np.zeros(chosen.shape[0] + 1, dtype=np.int64)
    for number, t in enumerate(chosen):
        grid[row[t], column[t]] = number
        centres[number, 0], centres[number, 1] = (2 * column[t] + 1) * half, (2 * row[t] + 1) * half
        places[number + 1] = places[number] + starts[t + 1] - starts[t]
    stretches = np.empty((5, places[-1]))
    for number, t in enumerate(chosen):
        for n in range(starts[t], starts[t + 1]):
            for part in range(5):
                stretches[part, places[number] + n - starts[t]] = wire[part, near[n]]
    return grid, centres, coefficients[chosen], places, stretches
