"""The field at a place, as the tiles of :mod:`parcelfence.field.tiles` hold it; compiled.

Near stretches are summed one by one, as in :mod:`parcelfence.field.kernels`; far ones stand in the polynomial of the
tile.  The functions pass the tiles as one tuple, see :class:`parcelfence.field.tiles.Tiles`.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numba
import numpy as np

from parcelfence.compiled import compiled

__all__ = [
    "CELLS",
    "ORDER",
    "distance2",
    "inverse_at",
    "lattice_of",
    "product",
    "pull",
    "size_at",
    "tile_at",
]

_in_lanes = numba.njit(nogil=True, cache=True, error_model="numpy", fastmath={"reassoc", "contract", "nsz"})
"""For sums over stretches: the order of adding is left to the compiler, so that it can use vector instructions."""

ORDER: Final = 8
CELLS: Final = 16
"""Cells along the side of the smallest tile."""
_AT_CORNERS = np.cos(np.outer(np.arccos(np.linspace(-1.0, 1.0, CELLS + 1)), np.arange(ORDER)))


@compiled
def distance2(x: float, y: float, wire: Any, k: int) -> Any:
    """Squared distance in plan from a point to a stretch."""
    ex, ey = wire[2, k] - wire[0, k], wire[3, k] - wire[1, k]
    ax, ay = x - wire[0, k], y - wire[1, k]
    share = min(1.0, max(0.0, (ax * ex + ay * ey) / (ex * ex + ey * ey)))
    nx, ny = ax - share * ex, ay - share * ey
    return nx * nx + ny * ny


@compiled
def pull(x: float, y: float, height2: float, wire: Any, k: int) -> Any:
    """Give ex, ey, q and e x r_a of a stretch seen from a point, see :mod:`parcelfence.field.kernels`."""
    x1, y1 = wire[2, k], wire[3, k]
    ex, ey = x1 - wire[0, k], y1 - wire[1, k]
    ax, ay, bx, by = x - wire[0, k], y - wire[1, k], x - x1, y - y1
    ra, rb = math.sqrt(ax * ax + ay * ay + height2), math.sqrt(bx * bx + by * by + height2)
    dot = ax * bx + ay * by + height2
    product = ra * rb
    spread = product + abs(dot)
    cross = ex * ay - ey * ax
    cross2 = cross * cross + (ex * ex + ey * ey) * height2
    above = (ra + rb) * spread if dot < 0.0 else ra + rb
    below = product * cross2 if dot < 0.0 else product * spread
    return ex, ey, wire[4, k] * above / below, cross


@compiled
def product(out: Any, middle: Any, left: Any, right: Any) -> None:
    """Add left @ middle @ right.T to `out`."""
    between = np.zeros((left.shape[0], middle.shape[1]))
    for i in range(left.shape[0]):
        for k in range(middle.shape[0]):
            for j in range(middle.shape[1]):
                between[i, j] += left[i, k] * middle[k, j]
    for i in range(out.shape[0]):
        for k in range(middle.shape[1]):
            for j in range(out.shape[1]):
                out[i, j] += between[i, k] * right[j, k]


@compiled
def tile_at(parts: Any, x: float, y: float) -> Any:
    """Give the number of the tile at a place, -1 where there is none."""
    grid, half = parts[0], parts[6]
    column, row = math.floor(x / (2.0 * half)), math.floor(y / (2.0 * half))
    if column < 0 or row < 0 or column >= grid.shape[1] or row >= grid.shape[0]:
        return -1
    return grid[row, column]


@_in_lanes
def _near_sum(x: float, y: float, height2: float, stretches: Any, places: tuple[int, int]) -> Any:
    """Sum the field of some stretches at a place, the parts in the plane without the factor of the height."""
    x0s, y0s, x1s, y1s, halves = stretches
    sum_x = sum_y = sum_z = 0.0
    for n in range(*places):
        ex, ey = x1s[n] - x0s[n], y1s[n] - y0s[n]
        ax, ay, bx, by = x - x0s[n], y - y0s[n], x - x1s[n], y - y1s[n]
        ra, rb = math.sqrt(ax * ax + ay * ay + height2), math.sqrt(bx * bx + by * by + height2)
        dot = ax * bx + ay * by + height2
        product = ra * rb
        spread = product + abs(dot)
        cross = ex * ay - ey * ax
        cross2 = cross * cross + (ex * ex + ey * ey) * height2
        above = (ra + rb) * spread if dot < 0.0 else ra + rb
        below = product * cross2 if dot < 0.0 else product * spread
        q = halves[n] * above / below
        sum_x += q * ey
        sum_y -= q * ex
        sum_z += q * cross
    return sum_x, sum_y, sum_z


@_in_lanes
def _near_slope(x: float, y: float, height2: float, stretches: Any, places: tuple[int, int]) -> Any:
    """Sum the field of some stretches at a place and its derivatives in x and y."""
    x0s, y0s, x1s, y1s, halves = stretches
    b_x = b_y = b_z = x_x = x_y = x_z = y_x = y_y = y_z = 0.0
    for n in range(*places):
        ex, ey = x1s[n] - x0s[n], y1s[n] - y0s[n]
        ax, ay, bx, by = x - x0s[n], y - y0s[n], x - x1s[n], y - y1s[n]
        ra, rb = math.sqrt(ax * ax + ay * ay + height2), math.sqrt(bx * bx + by * by + height2)
        dot = ax * bx + ay * by + height2
        cross = ex * ay - ey * ax
        both, product = ra + rb, ra * rb
        apart = product + abs(dot)
        above = apart if dot < 0.0 else 1.0
        below = cross * cross + (ex * ex + ey * ey) * height2 if dot < 0.0 else apart
        pull = above / below
        one = 1.0 / (both * product)
        of_a, of_b = rb * both * one, ra * both * one
        q = halves[n] * both * both * one * pull
        common = product * one - both * pull
        of_a, of_b = (common - of_a) * of_a, (common - of_b) * of_b
        dq_dx, dq_dy = q * (of_a * ax + of_b * bx), q * (of_a * ay + of_b * by)
        b_x += q * ey
        b_y -= q * ex
        b_z += q * cross
        x_x += dq_dx * ey
        x_y -= dq_dx * ex
        x_z += dq_dx * cross - q * ey
        y_x += dq_dy * ey
        y_y -= dq_dy * ex
        y_z += dq_dy * cross + q * ex
    return b_x, b_y, b_z, x_x, x_y, x_z, y_x, y_y, y_z


@compiled
def size_at(parts: Any, t: int, x: float, y: float) -> Any:
    """Give the normalised field at a place on tile `t`, or anywhere if that is -1; infinite or nan on a wire."""
    _, centres, coefficients, starts, near, wire, half, height, slant = parts
    height2 = height * height
    if t < 0:
        sums = (wire[0], wire[1], wire[2], wire[3], wire[4])
        sum_x, sum_y, sum_z = _near_sum(x, y, height2, sums, (0, wire.shape[1]))
        return slant * math.sqrt((sum_x * sum_x + sum_y * sum_y) * height2 + sum_z * sum_z)
    stretches = (near[0], near[1], near[2], near[3], near[4])
    sum_x, sum_y, sum_z = _near_sum(x, y, height2, stretches, (starts[t], starts[t + 1]))
    u, v = (x - centres[t, 0]) / half, (y - centres[t, 1]) / half
    before_u, here_u = 1.0, 1.0
    for i in range(ORDER):
        row_x = row_y = row_z = 0.0
        before_v, here_v = 1.0, 1.0
        for j in range(ORDER):
            row_x += here_v * coefficients[t, 0, i, j]
            row_y += here_v * coefficients[t, 1, i, j]
            row_z += here_v * coefficients[t, 2, i, j]
            before_v, here_v = here_v, (v if j == 0 else 2.0 * v * here_v - before_v)
        sum_x += here_u * row_x
        sum_y += here_u * row_y
        sum_z += here_u * row_z
        before_u, here_u = here_u, (u if i == 0 else 2.0 * u * here_u - before_u)
    return slant * math.sqrt((sum_x * sum_x + sum_y * sum_y) * height2 + sum_z * sum_z)


@compiled
def inverse_at(parts: Any, t: int, x: float, y: float) -> Any:
    """Give 1/f and its derivatives in x and y at a place on tile `t`."""
    _, centres, coefficients, starts, near, _, half, height, slant = parts
    height2 = height * height
    b_x = b_y = b_z = x_x = x_y = x_z = y_x = y_y = y_z = 0.0
    u, v = (x - centres[t, 0]) / half, (y - centres[t, 1]) / half
    before_u, here_u, slope_u, slope_before_u = 1.0, 1.0, 0.0, 0.0
    for i in range(ORDER):
        row_x = row_y = row_z = along_x = along_y = along_z = 0.0
        before_v, here_v, slope_v, slope_before_v = 1.0, 1.0, 0.0, 0.0
        for j in range(ORDER):
            of_x, of_y, of_z = coefficients[t, 0, i, j], coefficients[t, 1, i, j], coefficients[t, 2, i, j]
            row_x += here_v * of_x
            row_y += here_v * of_y
            row_z += here_v * of_z
            along_x += slope_v * of_x
            along_y += slope_v * of_y
            along_z += slope_v * of_z
            if j == 0:
                before_v, here_v, slope_before_v, slope_v = 1.0, v, 0.0, 1.0
            else:
                slope_before_v, slope_v = slope_v, 2.0 * here_v + 2.0 * v * slope_v - slope_before_v
                before_v, here_v = here_v, 2.0 * v * here_v - before_v
        b_x, b_y, b_z = b_x + here_u * row_x, b_y + here_u * row_y, b_z + here_u * row_z
        x_x, x_y, x_z = x_x + slope_u * row_x, x_y + slope_u * row_y, x_z + slope_u * row_z
        y_x, y_y, y_z = y_x + here_u * along_x, y_y + here_u * along_y, y_z + here_u * along_z
        if i == 0:
            before_u, here_u, slope_before_u, slope_u = 1.0, u, 0.0, 1.0
        else:
            slope_before_u, slope_u = slope_u, 2.0 * here_u + 2.0 * u * slope_u - slope_before_u
            before_u, here_u = here_u, 2.0 * u * here_u - before_u
    stretches = (near[0], near[1], near[2], near[3], near[4])
    close = _near_slope(x, y, height2, stretches, (starts[t], starts[t + 1]))
    b_x, b_y, b_z = b_x + close[0], b_y + close[1], b_z + close[2]
    x_x, x_y, x_z = x_x / half + close[3], x_y / half + close[4], x_z / half + close[5]
    y_x, y_y, y_z = y_x / half + close[6], y_y / half + close[7], y_z / half + close[8]
    squared = (b_x * b_x + b_y * b_y) * height2 + b_z * b_z
    inverse = 1.0 / (slant * math.sqrt(squared))
    along_x = (b_x * x_x + b_y * x_y) * height2 + b_z * x_z
    along_y = (b_x * y_x + b_y * y_y) * height2 + b_z * y_z
    return inverse, -along_x * inverse / squared, -along_y * inverse / squared


@compiled
def lattice_of(parts: Any) -> Any:
    """Give the normalised field at the corners of all cells of all tiles, (n, 17, 17) by tile, row and column.

    Where tiles touch, the values of one of them stand in both.
    """
    grid, centres, coefficients, starts, near, _, half, height, slant = parts
    height2, side = height * height, CELLS + 1
    field = np.empty((centres.shape[0], side, side))
    px, py = np.empty(side * side), np.empty(side * side)
    sums = np.empty((3, side, side))
    for t in range(centres.shape[0]):
        sums[:] = 0.0
        for c in range(3):
            product(sums[c], coefficients[t, c], _AT_CORNERS, _AT_CORNERS)  # by x, then y
        flat = sums.reshape(3, side * side)
        for i in range(side):
            for j in range(side):
                px[i * side + j] = centres[t, 0] + half * (2.0 * i / CELLS - 1.0)
                py[i * side + j] = centres[t, 1] + half * (2.0 * j / CELLS - 1.0)
        for n in range(starts[t], starts[t + 1]):
            for p in range(side * side):
                ex, ey, q, cross = pull(px[p], py[p], height2, near, n)
                flat[0, p] += q * ey
                flat[1, p] -= q * ex
                flat[2, p] += q * cross
        for i in range(side):
            for j in range(side):
                across2 = (sums[0, i, j] ** 2 + sums[1, i, j] ** 2) * height2
                value = slant * math.sqrt(across2 + sums[2, i, j] ** 2)
                field[t, j, i] = value if value == value else np.inf  # noqa: PLR0124  (nan on a wire)
    _agree(grid, centres, field, half)
    return field


@compiled
def _agree(grid: Any, centres: Any, field: Any, half: float) -> None:
    """Let tiles that touch share the values at their common corners: those of the north-eastern of them."""
    for t in range(centres.shape[0]):
        column, row = int(centres[t, 0] / (2.0 * half)), int(centres[t, 1] / (2.0 * half))
        for j in range(CELLS + 1):
            for i in range(CELLS + 1):
                if 0 < i < CELLS and 0 < j < CELLS:
                    continue
                for turn in range(4):  # the tiles north-east, north-west, south-east, south-west of the corner
                    east, north = 1 - turn % 2, 1 - turn // 2
                    c = column + (0 if i < CELLS else 1) - (1 - east if i % CELLS == 0 else 0)
                    r = row + (0 if j < CELLS else 1) - (1 - north if j % CELLS == 0 else 0)
                    if c < 0 or r < 0 or c >= grid.shape[1] or r >= grid.shape[0] or grid[r, c] < 0:
                        continue
                    at_i = i if i % CELLS else (0 if east else CELLS)
                    at_j = j if j % CELLS else (0 if north else CELLS)
                    field[t, j, i] = field[grid[r, c], at_j, at_i]
                    break
