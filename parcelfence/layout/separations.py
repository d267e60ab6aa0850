"""Where straight segments lie within the separation of buried lines, and whether they cross them square there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import shapely

from parcelfence.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.settings import Settings

    Floats = NDArray[np.float64]
    Indices = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["Separations", "pieces_of", "separations"]

_SHARE_OF_TOLERANCE: Final = 0.8
"""The designer keeps this share of the tolerance, so that laying and measuring may take the rest."""
_EXACT_M: Final = 1e-6


class Separations(NamedTuple):
    """Stretches of segments within a separation, in the order of segments.

    `start_m` and `end_m` are offsets from the beginning of the segment; `square` tells stretches that cross the line.
    """

    segment: Indices
    start_m: Floats
    end_m: Floats
    square: Flags


def pieces_of(line: BuriedLine) -> Floats:
    """Give the straight pieces of a buried line; shape (n, 4)."""
    xy = np.asarray(line.line.coords)
    return np.hstack([xy[:-1], xy[1:]])


def separations(segments: Floats, lines: Sequence[BuriedLine], *, settings: Settings) -> Separations:
    """Find all stretches within a separation.

    Parameters
    ----------
    segments : ndarray, shape (s, 4)
        In metres.
    lines : sequence of BuriedLine
        Each with its separation.
    settings : Settings
        How far off square a crossing may be.
    """
    if not len(segments) or not lines:
        return Separations(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_))
    each = [pieces_of(line) for line in lines]
    pieces = np.concatenate(each)
    owner = np.repeat(np.arange(len(lines)), [len(one) for one in each])
    apart_m = np.array([line.separation_m for line in lines])[owner]
    shapes = np.asarray(shapely.linestrings(pieces.reshape(-1, 2, 2)))
    tree = shapely.STRtree(np.asarray(shapely.linestrings(segments.reshape(-1, 2, 2))))
    piece, segment = tree.query(shapes, predicate="dwithin", distance=apart_m)
    order = np.lexsort((piece, owner[piece], segment))
    piece, segment = piece[order], segment[order]
    least = math.cos(math.radians(90.0 - _SHARE_OF_TOLERANCE * settings.crossing_tolerance_deg))
    return Separations(*_stretches(segments, (pieces, owner, apart_m), (segment, piece), least))


@compiled
def _stretches(segments: Any, buried: Any, pairs: Any, least: float) -> Any:
    """Join the stretches of one segment beside the pieces of one line, where they overlap."""
    _, owner, _ = buried
    segment, piece = pairs
    count = segment.size
    of, start, end = np.empty(count, dtype=np.int64), np.empty(count), np.empty(count)
    square = np.empty(count, dtype=np.bool_)
    found, first = 0, 0
    while first < count:
        last = first + 1
        while last < count and segment[last] == segment[first] and owner[piece[last]] == owner[piece[first]]:
            last += 1
        span = np.empty((last - first, 4))
        size = 0
        for k in range(first, last):
            low, high, crossed, wrong = _beside(segments[segment[k]], buried, piece[k], least)
            if high - low > _EXACT_M:
                span[size, 0], span[size, 1], span[size, 2], span[size, 3] = low, high, crossed, wrong
                size += 1
        order = np.argsort(span[:size, 0])
        k = 0
        while k < size:
            low, high, crossed, wrong = span[order[k], 0], span[order[k], 1], span[order[k], 2], span[order[k], 3]
            k += 1
            while k < size and span[order[k], 0] <= high + _EXACT_M:
                high = max(high, span[order[k], 1])
                crossed += span[order[k], 2]
                wrong += span[order[k], 3]
                k += 1
            of[found], start[found], end[found] = segment[first], low, high
            square[found] = crossed > 0 and wrong == 0
            found += 1
        first = last
    return of[:found], start[:found], end[:found], square[:found]


@compiled
def _beside(segment: Any, buried: Any, piece: int, least: float) -> Any:
    """Find the stretch of a segment that is nearer to a piece than its separation: from, to, crossed, crossed askew.

    What is near a straight piece is a rectangle with a disc at either end; a straight line meets it in one stretch.
    """
    pieces, _, apart = buried
    x, y = segment[0], segment[1]
    length = math.hypot(segment[2] - x, segment[3] - y)
    ux, uy = (segment[2] - x) / length, (segment[3] - y) / length
    ax, ay = pieces[piece, 0] - x, pieces[piece, 1] - y
    along = math.hypot(pieces[piece, 2] - x - ax, pieces[piece, 3] - y - ay)
    if along < _EXACT_M:
        return 0.0, 0.0, 0.0, 0.0
    vx, vy = (pieces[piece, 2] - x - ax) / along, (pieces[piece, 3] - y - ay) / along
    low, high = np.inf, -np.inf
    for share in (0.0, along):
        cx, cy = ax + share * vx, ay + share * vy
        middle, aside = cx * ux + cy * uy, cx * uy - cy * ux
        if abs(aside) < apart[piece]:
            half = math.sqrt(apart[piece] ** 2 - aside * aside)
            low, high = min(low, middle - half), max(high, middle + half)
    cosine, sine = ux * vx + uy * vy, ux * vy - uy * vx
    crossed, wrong = 0.0, 0.0
    if abs(sine) > 1e-9:  # noqa: PLR2004  (parallel lines never meet)
        at = (ax * vy - ay * vx) / sine
        foot = (ax * uy - ay * ux) / sine
        if -_EXACT_M <= at <= length + _EXACT_M and -_EXACT_M <= foot <= along + _EXACT_M:
            crossed = 1.0
            wrong = 1.0 if abs(cosine) > least else 0.0
        for side in (-apart[piece], apart[piece]):
            place = at + side / sine
            share = foot + side * cosine / sine
            if 0.0 <= share <= along:
                low, high = min(low, place), max(high, place)
    return max(0.0, low), min(length, high), crossed, wrong
