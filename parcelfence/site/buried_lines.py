"""Buried lines: segments of one utility that lie end to end are one line, for they cannot be crossed or passed apart.

Files of mains hold a segment from fitting to fitting.  Whoever crosses one square near its end does not run beside the
next, and an angle at a joint is that of the line, not of the segment.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.site.feature import Utility

__all__ = ["BuriedLine", "join_segments"]

_JOINT_M: Final = 0.05
"""Ends nearer than this are one joint: what two people shoot or draw as one point differs by centimetres."""
_STRAIGHT_ON: Final = float(np.cos(np.radians(45.0)))
"""Where more than two ends meet, a line goes on into one that turns by less than this; the others branch off."""
_LOOKED_M: Final = 1.0
"""Over this length the direction at an end is taken: the last vertices of a line are often a few centimetres apart."""

_End = tuple[int, int]
"""Segment by its place, and 0 for its first or -1 for its last point."""


@dataclass(frozen=True, kw_only=True)
class BuriedLine:
    """One buried line, or a tolerance area or single mark.

    Parameters
    ----------
    members : tuple of Utility
        What it was joined of, in the order of the site.
    geometry : BaseGeometry
        Their geometries, joined.
    """

    members: tuple[Utility, ...]
    geometry: BaseGeometry

    def member_at(self, place: BaseGeometry) -> Utility:
        """Give the member that is nearest to a place, the first of several."""
        if len(self.members) == 1:
            return self.members[0]
        return min(self.members, key=lambda utility: float(utility.geometry.distance(place)))


def join_segments(utilities: Sequence[Utility]) -> tuple[BuriedLine, ...]:
    """Join utilities of one kind that meet end to end.

    Parameters
    ----------
    utilities : sequence of Utility
        In the working CRS.

    Returns
    -------
    tuple of BuriedLine
        Each utility is a member of exactly one.  Where two ends meet, the line goes on; where more meet, it goes on
        straight, and what turns off is another line.  Areas, single marks and lines of several parts stand alone.
    """
    groups: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
    for number, utility in enumerate(utilities):
        if isinstance(utility.geometry, LineString) and not utility.geometry.is_closed:
            words = utility.raw_kind.casefold() if utility.kind == "unknown" else ""
            groups[utility.kind, words].append(number)
    onward: dict[_End, _End] = {}
    for numbers in groups.values():
        if len(numbers) > 1:
            onward |= _joints(utilities, numbers)
    return tuple(_line(utilities, chain) for chain in _chains(len(utilities), onward))


def _joints(utilities: Sequence[Utility], numbers: list[int]) -> dict[_End, _End]:
    """Pair the ends at which a line goes on into another one."""
    ends: list[_End] = [(number, side) for number in numbers for side in (0, -1)]
    xy = np.array([utilities[number].geometry.coords[side][:2] for number, side in ends])
    pairs: list[tuple[float, _End, _End]] = []
    for met in _met(xy):
        ways = {place: _way(utilities[ends[place][0]].geometry, ends[place][1]) for place in met}
        for one, other in combinations(met, 2):
            if ends[one][0] != ends[other][0]:
                straight = -float(ways[one] @ ways[other])
                if len(met) == 2 or straight > _STRAIGHT_ON:  # noqa: PLR2004  (two ends: no branch)
                    pairs.append((straight, ends[one], ends[other]))
    onward: dict[_End, _End] = {}
    for _, first, second in sorted(pairs, key=lambda pair: (-pair[0], pair[1:])):
        if first not in onward and second not in onward:
            onward |= {first: second, second: first}
    return onward


def _met(xy: NDArray[np.float64]) -> Iterator[list[int]]:
    """Gather places that lie together."""
    points = [Point(place) for place in xy]
    first, second = shapely.STRtree(points).query(points, predicate="dwithin", distance=_JOINT_M)
    root = np.arange(len(xy))
    for one, other in zip(first, second, strict=True):
        low, high = sorted((root[one], root[other]))
        if low != high:
            root[root == high] = low
    order = np.argsort(root, kind="stable")
    for group in np.split(order, np.flatnonzero(np.diff(root[order])) + 1):
        if len(group) > 1:
            yield group.tolist()


def _way(line: BaseGeometry, side: int) -> NDArray[np.float64]:
    """Give the unit vector from an end into its line."""
    inner = line.interpolate(min(_LOOKED_M, line.length) if side == 0 else max(line.length - _LOOKED_M, 0.0))
    step = np.subtract(inner.coords[0], line.coords[side][:2])
    return np.asarray(step / (np.hypot(*step) or 1.0))


def _chains(count: int, onward: dict[_End, _End]) -> Iterator[list[_End]]:
    """Follow the joints: each chain as its segments, with the end at which each is entered."""
    seen = np.zeros(count, dtype=bool)
    for number in range(count):
        if seen[number]:
            continue
        end: _End = (number, 0)
        visited = {number}
        while (before := onward.get(end)) is not None and before[0] not in visited:
            visited.add(before[0])
            end = (before[0], -1 - before[1])
        chain = [end]
        seen[end[0]] = True
        while (after := onward.get((chain[-1][0], -1 - chain[-1][1]))) is not None and not seen[after[0]]:
            chain.append(after)
            seen[after[0]] = True
        yield chain


def _line(utilities: Sequence[Utility], chain: list[_End]) -> BuriedLine:
    members = tuple(utilities[number] for number in sorted(number for number, _ in chain))
    if len(chain) == 1:
        return BuriedLine(members=members, geometry=members[0].geometry)
    parts = [_forward(utilities[number].geometry, side) for number, side in chain]
    return BuriedLine(members=members, geometry=LineString(list(_without_repeats(parts))))


def _forward(line: BaseGeometry, side: int) -> NDArray[np.float64]:
    xy = shapely.get_coordinates(line)
    return xy if side == 0 else xy[::-1]


def _without_repeats(parts: Iterable[NDArray[np.float64]]) -> Iterator[NDArray[np.float64]]:
    last = None
    for xy in np.vstack(list(parts)):
        if last is None or np.hypot(*(xy - last)) > 1e-9:  # noqa: PLR2004  (a joint drawn in both segments)
            yield xy
        last = xy
