"""Openings: the stretches of buried lines that may lie inside the loop, from gate to gate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.loop.buried import BuriedLine
    from parcelfence.loop.gate import Gate, GateFinder, GateLevel

__all__ = ["Opening", "Stretch", "agreed", "openings", "stretches"]

_STEP_M: Final = 0.25
_STEP_GROWTH: Final = 1.03
_HALVINGS: Final = 8
_END_M: Final = 0.01


Stretch = tuple[int, float]
"""A stretch of a line, by the line's number and the distance of a place in it."""


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A stretch of a line inside the loop.

    Parameters
    ----------
    number : int
        The line.
    start_m, end_m : float
        Distances along it.
    first, last : Gate or None
        Gates at both ends; None where the line itself ends inside.
    """

    number: int
    start_m: float
    end_m: float
    first: Gate | None
    last: Gate | None

    @property
    def middle(self) -> Stretch:
        """By which it is known again, when its ends have moved."""
        return self.number, round((self.start_m + self.end_m) / 2, 2)

    def holds(self, stretch: Stretch) -> bool:
        """Whether it is, or contains, a stretch."""
        return stretch[0] == self.number and self.start_m <= stretch[1] <= self.end_m

    @property
    def gates(self) -> tuple[Gate, ...]:
        """Gates at its ends."""
        return tuple(gate for gate in (self.first, self.last) if gate is not None)


def openings(
    number: int, *, finder: GateFinder, region: BaseGeometry, core: BaseGeometry, levels: Sequence[GateLevel]
) -> list[Opening]:
    """Open a line as far as possible.

    Parameters
    ----------
    number : int
        The line.
    finder : GateFinder
        Of all lines.
    region : BaseGeometry
        Land that the loop may enclose, as far as the other lines leave it; prepared.
    core : BaseGeometry
        Part of the region where the line is no nearer to the region's edge than its separation.
    levels : sequence of GateLevel
        Tried in turn; the first at which a gate exists counts.

    Returns
    -------
    list of Opening
        In the order of the line; empty if there is no gate.
    """
    line = finder.lines[number].line
    within = stretches(line, region)
    found = []
    for start_m, end_m in stretches(line, core):
        outer = next(
            (each for each in within if each[0] <= start_m + _END_M and end_m - _END_M <= each[1]), (start_m, end_m)
        )
        first = last = None
        if start_m > _END_M:
            at = _walk(
                number,
                start_m=max(outer[0], start_m - _lead(finder, number)),
                end_m=end_m,
                finder=finder,
                region=region,
                levels=levels,
            )
            if at is None:
                continue
            start_m, first = at
        if end_m < line.length - _END_M:
            at = _walk(
                number,
                start_m=min(outer[1], end_m + _lead(finder, number)),
                end_m=start_m,
                finder=finder,
                region=region,
                levels=levels,
            )
            if at is None:
                continue
            end_m, last = at
        if end_m - start_m > _END_M:
            found.append(Opening(number=number, start_m=start_m, end_m=end_m, first=first, last=last))
    return found


def stretches(line: LineString, area: BaseGeometry) -> list[tuple[float, float]]:
    """Stretches of a line within an area, as distances along the line, in its order."""
    pieces = [part for part in shapely.get_parts(line.intersection(area)) if isinstance(part, LineString)]
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(pieces))) if len(pieces) > 1 else pieces
    spans = []
    for piece in merged:
        if piece.length < _END_M:
            continue
        ends = line.project(Point(piece.coords[0])), line.project(Point(piece.coords[-1]))
        middle = line.project(piece.interpolate(0.5, normalized=True))
        low, high = min(*ends, middle), max(*ends, middle)
        spans.append((low, high))
    return sorted(spans)


def agreed(found: list[Opening], *, lines: Sequence[BuriedLine]) -> list[Opening]:
    """Let lines that are crossed together be crossed by one and the same gate: the one farthest inside."""
    gates = [gate for opening in found for gate in opening.gates]
    chosen = {id(gate): _innermost(gate, gates) for gate in gates}
    result = []
    for opening in found:
        line = lines[opening.number].line
        first, last = (chosen[id(gate)] if gate else None for gate in (opening.first, opening.last))
        start_m = _crossed_at(line, first, else_m=opening.start_m)
        end_m = _crossed_at(line, last, else_m=opening.end_m)
        if end_m - start_m > _END_M:
            result.append(replace(opening, start_m=start_m, end_m=end_m, first=first, last=last))
    return result


def _lead(finder: GateFinder, number: int) -> float:
    """How far outside the core a gate may lie: twice the separation, measured along the line."""
    return 2 * finder.lines[number].separation_m


def _walk(
    number: int, *, start_m: float, end_m: float, finder: GateFinder, region: BaseGeometry, levels: Sequence[GateLevel]
) -> tuple[float, Gate] | None:
    """Walk from the edge inwards to the first place where a gate fits."""
    forward = end_m > start_m
    for level in levels:
        before_m = start_m
        for at_m in _places(start_m, end_m, most_m=level.walk_m):
            gate = finder.gate(number, at_m=at_m, forward=forward, region=region, level=level)
            if gate is None:
                before_m = at_m
                continue
            for _ in range(_HALVINGS if at_m != before_m else 0):
                middle_m = (before_m + at_m) / 2
                nearer = finder.gate(number, at_m=middle_m, forward=forward, region=region, level=level)
                if nearer is None:
                    before_m = middle_m
                else:
                    at_m, gate = middle_m, nearer
            return at_m, gate
    return None


def _places(start_m: float, end_m: float, *, most_m: float) -> Iterator[float]:
    """Places from the edge inwards, ever farther apart: a square crossing is usually near the edge."""
    sign = 1.0 if end_m > start_m else -1.0
    length_m = min(abs(end_m - start_m), most_m)
    gone_m, step_m = 0.0, _STEP_M
    while gone_m <= length_m:
        yield start_m + sign * gone_m
        gone_m += step_m
        step_m *= _STEP_GROWTH


def _innermost(gate: Gate, gates: list[Gate]) -> Gate:
    together = [
        other
        for other in gates
        if other.members & gate.members
        and float(other.inward @ gate.inward) > np.cos(np.radians(30))
        and other.chord.dwithin(gate.chord, gate.chord.length / 2)
    ]
    return max(
        together, key=lambda other: (round(float((other.start + other.end) @ gate.inward), 3), len(other.members))
    )


def _crossed_at(line: LineString, gate: Gate | None, *, else_m: float) -> float:
    if gate is None:
        return else_m
    places = [line.project(Point(xy)) for xy in shapely.get_coordinates(line.intersection(gate.chord))]
    return min(places, key=lambda place: abs(place - else_m)) if places else else_m
