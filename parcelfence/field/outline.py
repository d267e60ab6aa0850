"""Lines of equal field: exact, closed, and as smooth as they are.

Which corners of the small cells react gives the topology: every contour is a chain of cell edges.  Along such a chain
the contour is followed in strides: at both ends of a stride the place and the direction of the contour are computed,
between them a cubic curve (Hermite's) is laid, and the field on that curve tells whether it is the contour; where it is
not, the stride is halved.  The corners of the polygon that is handed out lie on the curve, as close as it bends.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from parcelfence.compiled import compiled
from parcelfence.field.tile_field import CELLS, inverse_at, size_at, tile_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.field.tiles import Tiles

__all__ = ["outlines"]

_SIDE: Final = CELLS + 1
_LEAST_RADIUS_M: Final = 0.06
"""Strides are not halved further than so tight a curve would need: less than a wire's own bend."""
_ON_VERTICES, _ON_CURVES, _ON_CHORDS = 0.05, 0.15, 0.6
"""How the tolerance is spent: on the ends of strides, on the curves, on the chords between corners; a fifth is left."""
_LONGEST_STRIDE: Final = 3.0
"""Longest stride in slant reaches: the field varies along the wire over no less than a reach."""
_CELLS_IN_A_STRIDE: Final = 16

# Edges of a cell: its south and north edges are named by their western node, west and east by their southern one.
_SOUTH, _EAST, _NORTH, _WEST = 0, 1, 2, 3
_COLUMN: Final = np.array([0, 1, 0, 0])
_ROW: Final = np.array([0, 0, 1, 0])
_UPRIGHT: Final = np.array([0, 1, 0, 1])

# For each pattern of corners inside (1 south-west, 2 south-east, 4 north-east, 8 north-west): the edges where a line
# with the inside on its left enters and leaves.  Saddles, 5 and 10, are settled by the field at the centre.
_LINES: Final = np.full((32, 4), -1)
for _pattern, _edges in {
    1: [_SOUTH, _WEST], 2: [_EAST, _SOUTH], 4: [_NORTH, _EAST], 8: [_WEST, _NORTH],
    3: [_EAST, _WEST], 6: [_NORTH, _SOUTH], 12: [_WEST, _EAST], 9: [_SOUTH, _NORTH],
    14: [_WEST, _SOUTH], 13: [_SOUTH, _EAST], 11: [_EAST, _NORTH], 7: [_NORTH, _WEST],
    5: [_SOUTH, _WEST, _NORTH, _EAST], 10: [_EAST, _SOUTH, _WEST, _NORTH],
    5 + 16: [_SOUTH, _EAST, _NORTH, _WEST], 10 + 16: [_WEST, _SOUTH, _EAST, _NORTH],
}.items():  # fmt: skip
    _LINES[_pattern, : len(_edges)] = _edges


def outlines(tiles: Tiles, *, level: float, tolerance_m: float, plain: bool = False) -> list[NDArray[np.float64]]:
    """Trace the contour of one level.

    Parameters
    ----------
    tiles : Tiles
        Tiles that hold all of the contour.
    level : float
        Value of the normalised field.
    tolerance_m : float
        No point of a ring is farther from the contour.
    plain : bool
        Join the places where the contour crosses the cell edges by straight lines: such rings never touch.

    Returns
    -------
    list of ndarray, shape (m, 2)
        Rings as open lists of vertices, with the higher field on the left: outlines run anticlockwise, holes clockwise.
    """
    following = _followed(tiles.parts, tiles.lattice, level)
    points, sizes = _traced(tiles.parts, tiles.lattice, following, (level, tolerance_m, tiles.step_m), plain)
    return np.split(points + tiles.origin, np.cumsum(sizes)[:-1]) if len(sizes) else []


@compiled
def _slot(parts: Any, t: int, edge: tuple[int, int, int]) -> int:
    """Give the number of a lattice edge; one between two tiles has its number in the northern or eastern of them."""
    grid, centres, half = parts[0], parts[1], parts[6]
    i, j, upright = edge
    column, row = int(centres[t, 0] / (2.0 * half)), int(centres[t, 1] / (2.0 * half))
    if upright == 0 and j == CELLS and row + 1 < grid.shape[0] and grid[row + 1, column] >= 0:
        t, j = grid[row + 1, column], 0
    elif upright == 1 and i == CELLS and column + 1 < grid.shape[1] and grid[row, column + 1] >= 0:
        t, i = grid[row, column + 1], 0
    return ((t * _SIDE + j) * _SIDE + i) * 2 + upright


@compiled
def _followed(parts: Any, lattice: Any, level: float) -> Any:
    """Give for each edge that the contour crosses the next one."""
    centres, half = parts[1], parts[6]
    following = np.full(lattice.shape[0] * _SIDE * _SIDE * 2, -1, dtype=np.int32)
    inside = np.empty((_SIDE, _SIDE), dtype=np.int64)
    for t in range(lattice.shape[0]):
        for j in range(_SIDE):
            for i in range(_SIDE):
                inside[j, i] = lattice[t, j, i] >= level
        for j in range(CELLS):
            for i in range(CELLS):
                pattern = 1 * inside[j, i] + 2 * inside[j, i + 1] + 4 * inside[j + 1, i + 1] + 8 * inside[j + 1, i]
                if pattern == 0 or pattern == 15:  # noqa: PLR1714, PLR2004  (a set would be built anew for each cell)
                    continue
                if pattern == 5 or pattern == 10:  # noqa: PLR1714, PLR2004  (the two patterns of a saddle)
                    x = centres[t, 0] + half * ((2.0 * i + 1.0) / CELLS - 1.0)
                    y = centres[t, 1] + half * ((2.0 * j + 1.0) / CELLS - 1.0)
                    pattern += 16 if size_at(parts, t, x, y) >= level else 0
                for line in range(0, 4, 2):
                    first, last = _LINES[pattern, line], _LINES[pattern, line + 1]
                    if first >= 0:
                        start = _slot(parts, t, (i + _COLUMN[first], j + _ROW[first], _UPRIGHT[first]))
                        end = _slot(parts, t, (i + _COLUMN[last], j + _ROW[last], _UPRIGHT[last]))
                        following[start] = end
    return following


@compiled
def _on_edge(parts: Any, lattice: Any, slot: int, level: float, accuracy: float) -> Any:
    """Find where the contour crosses an edge, and the unit vector towards the lower field there."""
    centres, half = parts[1], parts[6]
    step = 2.0 * half / CELLS
    upright, i = slot % 2, slot // 2 % _SIDE
    j, t = slot // 2 // _SIDE % _SIDE, slot // 2 // _SIDE // _SIDE
    x0, y0 = centres[t, 0] - half + i * step, centres[t, 1] - half + j * step
    way_x, way_y = step * (1 - upright), step * upright
    at_low = level / max(lattice[t, j, i], level / 8.0) - 1.0
    at_high = level / max(lattice[t, j + upright, i + 1 - upright], level / 8.0) - 1.0
    low, high, share, gx, gy = 0.0, 1.0, at_low / (at_low - at_high), 0.0, 0.0
    for _ in range(40):  # bisection alone needs no more
        inverse, gx, gy = inverse_at(parts, t, x0 + share * way_x, y0 + share * way_y)
        excess = level * inverse - 1.0
        if (excess < 0.0) == (at_low < 0.0):
            low = share
        else:
            high = share
        guess = share - excess / (level * (gx * way_x + gy * way_y))
        if not low < guess < high:
            guess = 0.5 * (low + high)
        moved = abs(guess - share)
        share = guess
        if moved * step < accuracy:
            break
    share = min(max(share, 1e-6), 1.0 - 1e-6)  # never on a node, where the lines of two cells would touch
    size = math.hypot(gx, gy)
    return x0 + share * way_x, y0 + share * way_y, gx / size, gy / size


@compiled
def _on_curve(first: Any, last: Any, share: float) -> Any:
    """Give a place on the cubic curve between two ends (x, y and the unit vector to its right), and its direction."""
    ax, ay, a_right_x, a_right_y = first
    bx, by, b_right_x, b_right_y = last
    length = math.hypot(bx - ax, by - ay)
    tax, tay = -a_right_y * length, a_right_x * length
    tbx, tby = -b_right_y * length, b_right_x * length
    s, r = share, 1.0 - share
    of_a, of_b, of_ta, of_tb = (1.0 + 2.0 * s) * r * r, (3.0 - 2.0 * s) * s * s, s * r * r, -s * s * r
    x = of_a * ax + of_b * bx + of_ta * tax + of_tb * tbx
    y = of_a * ay + of_b * by + of_ta * tay + of_tb * tby
    rate, rate_a, rate_b = 6.0 * s * r, (1.0 - 4.0 * s + 3.0 * s * s), (3.0 * s * s - 2.0 * s)
    along_x = rate * (bx - ax) + rate_a * tax + rate_b * tbx
    along_y = rate * (by - ay) + rate_a * tay + rate_b * tby
    return x, y, along_x, along_y


@compiled
def _follows(parts: Any, first: Any, last: Any, level: float, tolerance: float) -> Any:
    """Tell whether the curve between two ends is the contour."""
    slant = parts[8]
    chord_x, chord_y = last[0] - first[0], last[1] - first[1]
    length = math.hypot(chord_x, chord_y)
    if length > _LONGEST_STRIDE * slant:
        return False
    for end in (first, last):
        if -end[3] * chord_x + end[2] * chord_y < 0.5 * length:  # not beyond 60 degrees from the chord
            return False
    places = 1 if length < slant / 2.0 else 3
    for place in range(places):
        x, y, along_x, along_y = _on_curve(first, last, (place + 1.0) / (places + 1.0))
        t = tile_at(parts, x, y)
        if t < 0:
            return False
        inverse, gx, gy = inverse_at(parts, t, x, y)
        size, along = math.hypot(gx, gy), math.hypot(along_x, along_y)
        if not abs(inverse - 1.0 / level) <= tolerance * size:
            return False
        if along_y * gx - along_x * gy < 0.8 * size * along:  # the lower field is not to the right
            return False
    return True


@compiled
def _between(parts: Any, first: Any, last: Any, level: float, tolerance: float) -> Any:
    """Find the contour near the middle of a chord, square to it; tell whether it is there."""
    chord_x, chord_y = last[0] - first[0], last[1] - first[1]
    length = math.hypot(chord_x, chord_y)
    right_x, right_y = chord_y / length, -chord_x / length
    x, y, off = 0.5 * (first[0] + last[0]), 0.5 * (first[1] + last[1]), 0.0
    for _ in range(12):
        t = tile_at(parts, x + off * right_x, y + off * right_y)
        if t < 0:
            break
        inverse, gx, gy = inverse_at(parts, t, x + off * right_x, y + off * right_y)
        step = (1.0 / level - inverse) / (gx * right_x + gy * right_y)
        if not abs(step) <= length / 4.0:
            break
        off += step
        if abs(off) > length / 2.0:
            break
        if abs(step) < tolerance:
            size = math.hypot(gx, gy)
            return True, (x + off * right_x, y + off * right_y, gx / size, gy / size)
    return False, first


@compiled
def _corners(first: Any, last: Any, tolerance: float) -> int:
    """Give the number of chords by which the curve between two ends is drawn."""
    length = math.hypot(last[0] - first[0], last[1] - first[1])
    chord_x, chord_y = last[0] - first[0], last[1] - first[1]
    tax, tay, tbx, tby = -first[3] * length, first[2] * length, -last[3] * length, last[2] * length
    at_first = math.hypot(6.0 * chord_x - 4.0 * tax - 2.0 * tbx, 6.0 * chord_y - 4.0 * tay - 2.0 * tby)
    at_last = math.hypot(-6.0 * chord_x + 2.0 * tax + 4.0 * tbx, -6.0 * chord_y + 2.0 * tay + 4.0 * tby)
    return max(1, math.ceil(math.sqrt(max(at_first, at_last) / (8.0 * tolerance))))


@compiled
def _stride(parts: Any, span: Any, level: float, tolerance: float, out: Any) -> Any:
    """Draw the contour between two places on one cell edge and the next; give how many vertices stand in `out`."""
    buffer, size = out
    shortest = math.sqrt(8.0 * _LEAST_RADIUS_M * tolerance)
    stack = [span]
    while stack:
        first, last = stack.pop()
        length = math.hypot(last[0] - first[0], last[1] - first[1])
        if length > 1e-9:  # noqa: PLR2004  (two edges that meet in one place)
            if _follows(parts, first, last, level, _ON_CURVES * tolerance):
                buffer, size = _drawn(first, last, tolerance, (buffer, size))
                continue
            found, middle = _between(parts, first, last, level, _ON_VERTICES * tolerance)
            if found and length > shortest:
                stack.append((middle, last))
                stack.append((first, middle))
                continue
        buffer, size = _put(buffer, size, first[0], first[1])
    return buffer, size


@compiled
def _drawn(first: Any, last: Any, tolerance: float, out: Any) -> Any:
    buffer, size = out
    count = _corners(first, last, _ON_CHORDS * tolerance)
    buffer, size = _put(buffer, size, first[0], first[1])
    for corner in range(1, count):
        x, y, _, _ = _on_curve(first, last, corner / count)
        buffer, size = _put(buffer, size, x, y)
    return buffer, size


@compiled
def _put(buffer: Any, size: int, x: float, y: float) -> Any:
    if size == buffer.shape[0]:
        longer = np.empty((2 * size, 2))
        longer[:size] = buffer
        buffer = longer
    buffer[size, 0], buffer[size, 1] = x, y
    return buffer, size + 1


@compiled
def _traced(parts: Any, lattice: Any, following: Any, numbers: Any, plain: bool) -> Any:
    """Walk along every chain of edges once; give all vertices and the number of them in each ring."""
    level, tolerance, _ = numbers
    buffer, size = np.empty((1024, 2)), 0
    sizes, rings = np.empty(64, dtype=np.int64), 0
    for start in range(following.shape[0]):
        if following[start] < 0:
            continue
        count, slot = 0, start
        while following[slot] >= 0:  # count, then take the ring out
            count += 1
            slot = following[slot]
            if slot == start:
                break
        chain = np.empty(count, dtype=np.int64)
        slot = start
        for n in range(count):
            chain[n] = slot
            after = following[slot]
            following[slot] = -1
            slot = after
        before = size
        buffer, size = _ring(parts, lattice, chain, (level, tolerance), plain, (buffer, size))
        if rings == sizes.shape[0]:
            sizes = np.concatenate((sizes, np.empty_like(sizes)))
        sizes[rings] = size - before
        rings += 1
    return buffer[:size], sizes[:rings]


@compiled
def _ring(parts: Any, lattice: Any, chain: Any, numbers: Any, plain: bool, out: Any) -> Any:
    """Draw one ring."""
    level, tolerance = numbers
    buffer, size = out
    count = chain.shape[0]
    known = np.empty((count, 4))
    known[:, 0] = np.nan
    stride = 1 if plain else max(1, min(_CELLS_IN_A_STRIDE, count // 4))
    for start in range(0, count, stride):
        stack = [(start, min(start + stride, count))]
        while stack:
            i, j = stack.pop()
            for n in (i, j % count):
                if math.isnan(known[n, 0]):
                    known[n] = _on_edge(parts, lattice, chain[n], level, _ON_VERTICES * tolerance)
            a, b = known[i], known[j % count]
            first, last = (a[0], a[1], a[2], a[3]), (b[0], b[1], b[2], b[3])
            if plain:
                buffer, size = _put(buffer, size, first[0], first[1])
            elif j - i == 1:
                buffer, size = _stride(parts, (first, last), level, tolerance, (buffer, size))
            elif _on_chain(parts, chain[(i + j) // 2], first, last) and _follows(
                parts, first, last, level, _ON_CURVES * tolerance
            ):
                buffer, size = _drawn(first, last, tolerance, (buffer, size))
            else:
                stack.append(((i + j) // 2, j))
                stack.append((i, (i + j) // 2))
    return buffer, size


@compiled
def _on_chain(parts: Any, slot: int, first: Any, last: Any) -> Any:
    """Tell whether the middle of the curve between two ends lies beside the middle edge of their chain."""
    centres, half = parts[1], parts[6]
    step = 2.0 * half / CELLS
    i, j, t = slot // 2 % _SIDE, slot // 2 // _SIDE % _SIDE, slot // 2 // _SIDE // _SIDE
    x, y, _, _ = _on_curve(first, last, 0.5)
    apart = math.hypot(centres[t, 0] - half + i * step - x, centres[t, 1] - half + j * step - y)
    return apart < 0.25 * math.hypot(last[0] - first[0], last[1] - first[1]) + 2.0 * step
