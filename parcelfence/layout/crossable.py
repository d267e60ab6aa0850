"""Crossable land: what is left of a region when the loop may cross buried lines at gates only.

A line is *open* where it lies inside the loop, far enough from the wire, and *shut* elsewhere.  Round a shut stretch
a strip of the separation is taken from the region, so that no wire runs beside it; where an open stretch begins, the
edge of the region is a gate, a straight chord square to the line.  Which stretches can be open depends on what
other lines have taken, so the search is repeated until nothing changes; land is only ever taken, hence it ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import shapely
from shapely import LineString, STRtree
from shapely.ops import substring

from parcelfence.layout.gate import GateFinder
from parcelfence.layout.held import not_held
from parcelfence.layout.opening import Ground, Opening, Stretch, agreed, openings, stretches
from parcelfence.layout.rounding import QUAD_SEGS, SLACK_M, grown, inset, rounded, whole
from parcelfence.layout.worth import not_worth_it

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import Buried, BuriedLine
    from parcelfence.layout.gate import Gate, GateLevel

__all__ = ["Crossable", "crossable"]

_MOST_ROUNDS: Final = 16
_FREE_ROUNDS: Final = 8
"""After so many, a line opens only where it was open the round before, so that the search settles."""
_AROUND_M: Final = 20.0
"""Gates are looked for within this distance of a line."""


@dataclass(frozen=True, kw_only=True)
class Crossable:
    """What the buried lines leave of a region.

    Parameters
    ----------
    outlines : tuple of Polygon
        What can be enclosed, rounded, the largest first.
    openings : tuple of Opening
        Stretches inside.
    shut : tuple of (BuriedLine, LineString)
        Stretches that could have been inside, but for want of a gate.
    lines : tuple of BuriedLine
        All lines, by number.
    """

    outlines: tuple[Polygon, ...]
    openings: tuple[Opening, ...]
    shut: tuple[tuple[BuriedLine, LineString], ...]
    lines: tuple[BuriedLine, ...] = ()

    def names(self, number: int) -> tuple[str, ...]:
        """Give the identifiers of the utilities of a line."""
        return self.lines[number].names


@dataclass(frozen=True)
class _Taken:
    """Land taken for a shut stretch, and the lines for which it is no obstacle."""

    area: BaseGeometry
    friends: frozenset[int]

    @cached_property
    def key(self) -> tuple[float, ...]:
        """By which the same land is known in the next round."""
        return round(self.area.area, 3), *(round(bound, 3) for bound in self.area.bounds)


class _Search:
    """Finds the openings of one line; remembers them until something about it changes.

    Attributes
    ----------
    core : MultiPolygon
        Part of the region near the line that is far enough from its edge.
    """

    def __init__(self, number: int, *, finder: GateFinder, region: BaseGeometry, levels: Sequence[GateLevel]) -> None:
        self.number, self.line = number, finder.lines[number]
        self._finder, self._levels = finder, levels
        west, south, east, north = self.line.line.bounds
        window = west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M
        self._region = whole(shapely.make_valid(shapely.clip_by_rect(region, *window)))
        self._apart_m = self.line.separation_m - 2 * SLACK_M
        self.core = inset(self._region, self._apart_m)
        self._known: dict[frozenset[tuple[float, ...]], list[Opening]] = {}
        self._last: list[Opening] = []

    def openings(self, taken: Sequence[_Taken], *, tree: STRtree) -> list[Opening]:
        """Find the openings of the line where other lines have taken land, which `tree` holds.

        Land is only ever taken, so a line that found no opening once is not asked again.
        """
        if self._known and not self._last:
            return []
        near = tree.query(self.line.line, predicate="dwithin", distance=self.line.separation_m)
        others = [taken[index] for index in sorted(near) if self.number not in taken[index].friends]
        barred = sum(bool(place.dwithin(self.line.line, _AROUND_M)) for place in self._finder.barred)
        key = frozenset({*(piece.key for piece in others), (float(barred),)})
        if key not in self._known:
            self._known[key] = self._found([piece.area for piece in others])
        self._last = self._known[key]
        return self._last

    def _found(self, others: list[BaseGeometry]) -> list[Opening]:
        region: BaseGeometry = self._region
        core: BaseGeometry = self.core
        if others:
            blocked = shapely.union_all(others)
            region = region.difference(blocked)
            core = core.difference(blocked.buffer(self._apart_m, quad_segs=QUAD_SEGS))
        shapely.prepare(region)
        return openings(self.number, Ground(finder=self._finder, region=region, core=core, levels=self._levels))


def crossable(region: BaseGeometry, lines: Buried, *, levels: Sequence[GateLevel], radius_m: float) -> Crossable:
    """Take from a region what has to go for the sake of buried lines.

    Parameters
    ----------
    region : BaseGeometry
        Land that the loop may enclose.
    lines : Buried
        What is buried.
    levels : sequence of GateLevel
        How strict gates are; tried in turn.
    radius_m : float
        Bend radius: the corners beside a gate are rounded by it, outside the separation.
    """
    region = region.difference(_closed_areas(lines, region=region))
    finder = GateFinder(lines.lines)
    searches = [
        _Search(number, finder=finder, region=region, levels=levels)
        for number, line in enumerate(lines.lines)
        if line.line.intersects(region)
    ]
    found: list[Opening] = []
    taken: list[_Taken] = []
    given_up: set[Stretch] = set()
    left = region
    for turn in range(_MOST_ROUNDS):
        tree = STRtree([piece.area for piece in taken])
        candidates = [
            opening
            for search in searches
            for opening in search.openings(taken, tree=tree)
            if not any(opening.lies_in(stretch) for stretch in given_up)
            and (turn < _FREE_ROUNDS or any(opening.lies_in(earlier.stretch) for earlier in found))
        ]
        before, found = found, agreed(candidates, lines=lines.lines)
        settled = bool(turn) and _same(before, found)
        if settled:
            worthless = not_worth_it(found, lines=lines.lines, region=left, radius_m=radius_m)
            loose = not_held(found, lines=lines.lines, outlines=rounded(left, radius_m), radius_m=radius_m)
            if not worthless and not loose:
                break
            given_up |= worthless | {o.stretch for o in found if turn > _FREE_ROUNDS and set(o.gates) & set(loose)}
            finder.barred += [gate.chord.interpolate(0.5, normalized=True) for gate in loose]
            found = [opening for opening in found if opening.stretch not in given_up]
        taken = [
            piece
            for number, line in enumerate(lines.lines)
            for piece in _pieces(number, line, found=found, region=region, radius_m=radius_m)
        ]
        left = region.difference(shapely.union_all([piece.area for piece in taken]))
    return Crossable(
        outlines=tuple(rounded(left, radius_m)),
        openings=tuple(found),
        shut=tuple(_shut(searches, found=found)),
        lines=lines.lines,
    )


def _closed_areas(lines: Buried, *, region: BaseGeometry) -> BaseGeometry:
    """Give the land taken by marks without a direction: those that do not lie inside with room to spare."""
    near_edge = [
        grown(mark.area, mark.separation_m + SLACK_M)
        for mark in lines.areas
        if not region.covers(mark.area.buffer(mark.separation_m))
    ]
    return shapely.union_all(near_edge)


def _pieces(
    number: int, line: BuriedLine, *, found: list[Opening], region: BaseGeometry, radius_m: float
) -> list[_Taken]:
    """Land taken by the shut stretches of a line: a strip, wider behind a gate so that the bends find room."""
    strip_m = max(line.separation_m, radius_m) + SLACK_M
    pieces = []
    reached_m: float = 0.0
    gate: Gate | None = None
    own = [opening for opening in found if opening.number == number]
    for opening in [*own, None]:
        until_m = opening.start_m if opening else line.line.length
        gates = [each for each in (gate, opening.first if opening else None) if each]
        if until_m > reached_m or gates:
            area = grown(substring(line.line, reached_m, until_m), strip_m)
            for each in gates:
                area = area.difference(each.slab(strip_m * 1.1)).union(each.slab(-3 * radius_m))
            if area.intersects(region):
                pieces.append(_Taken(area, frozenset({number}).union(*(each.members for each in gates))))
        if opening:
            reached_m, gate = opening.end_m, opening.last
    return pieces


def _same(before: list[Opening], after: list[Opening]) -> bool:
    def places(found: list[Opening]) -> list[tuple[int, float, float]]:
        return [(opening.number, round(opening.start_m, 2), round(opening.end_m, 2)) for opening in found]

    return places(before) == places(after)


def _shut(searches: Sequence[_Search], *, found: list[Opening]) -> list[tuple[BuriedLine, LineString]]:
    opened = {opening.number for opening in found}
    return [
        (search.line, LineString(substring(search.line.line, low_m, high_m).coords))
        for search in searches
        if search.number not in opened
        for low_m, high_m in stretches(search.line.line, search.core)
    ]
