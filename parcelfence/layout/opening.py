"""Openings: the stretches of buried lines that may lie inside the loop, from gate to gate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.layout.gate import Gate, GateFinder, GateLevel

__all__ = ["Ground", "Opening", "Stretch", "agreed", "openings", "stretches"]

_STEP_M: Final = 0.25
_STEP_GROWTH: Final = 1.03
_HALVINGS: Final = 8
_END_M: Final = 0.01


Stretch = tuple[int, float, float]
"""A stretch of a line: the line's number, and the distances along it of its ends."""


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
    def stretch(self) -> Stretch:
        """The stretch that it opens."""
        return self.number, self.start_m, self.end_m

    def lies_in(self, stretch: Stretch) -> bool:
        """Whether its middle lies in a stretch."""
        return stretch[0] == self.number and stretch[1] <= (self.start_m + self.end_m) / 2 <= stretch[2]

    @property
    def gates(self) -> tuple[Gate, ...]:
        """Gates at its ends."""
        return tuple(gate for gate in (self.first, self.last) if gate is not None)


@dataclass(frozen=True, kw_only=True)
class Ground:
    """Where the openings of a line are looked for.

    Parameters
    ----------
    finder : GateFinder
        Of all lines.
    region : BaseGeometry
        Land that the loop may enclose, as far as the other lines leave it; prepared.
    core : BaseGeometry
        Part of the region where the line is no nearer to the region's edge than its separation.
    levels : sequence of GateLevel
        Tried in turn; the first at which a gate exists counts.
    """

    finder: GateFinder
    region: BaseGeometry
    core: BaseGeometry
    levels: Sequence[GateLevel]


def openings(number: int, ground: Ground) -> list[Opening]:
    """Open a line as far as possible.

    Parameters
    ----------
    number : int
        The line.
    ground : Ground
        Where to look.

    Returns
    -------
    list of Opening
        In the order of the line; empty if there is no gate.
    """
    line = ground.finder.lines[number].line
    within = stretches(line, ground.region)
    spans = [(span, _around(span, within)) for span in stretches(line, ground.core)]
    found = (_opening(number, span, outer=outer, ground=ground) for span, outer in spans)
    return [opening for opening in found if opening is not None]


def _around(span: tuple[float, float], within: list[tuple[float, float]]) -> tuple[float, float]:
    """Stretch in the region that holds one in its core."""
    return next((each for each in within if each[0] <= span[0] + _END_M and span[1] - _END_M <= each[1]), span)


def _opening(number: int, span: tuple[float, float], *, outer: tuple[float, float], ground: Ground) -> Opening | None:
    """Open one stretch between the first places from both its ends where a gate fits."""
    length_m = ground.finder.lines[number].line.length
    lead_m = 2 * ground.finder.lines[number].separation_m  # so far outside the core a gate may lie
    start: tuple[float, Gate | None] | None = (span[0], None)
    end: tuple[float, Gate | None] | None = (span[1], None)
    if span[0] > _END_M:
        start = _walk(number, ground, start_m=max(outer[0], span[0] - lead_m), end_m=span[1])
    if start is not None and span[1] < length_m - _END_M:
        end = _walk(number, ground, start_m=min(outer[1], span[1] + lead_m), end_m=start[0])
    if start is None or end is None or end[0] - start[0] <= _END_M:
        return None
    return Opening(number=number, start_m=start[0], end_m=end[0], first=start[1], last=end[1])


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
        start_m, first = _adopted(line, opening.first, chosen=chosen, at_m=opening.start_m)
        end_m, last = _adopted(line, opening.last, chosen=chosen, at_m=opening.end_m)
        if end_m - start_m > _END_M:
            result.append(replace(opening, start_m=start_m, end_m=end_m, first=first, last=last))
    return result


def _walk(number: int, ground: Ground, *, start_m: float, end_m: float) -> tuple[float, Gate | None] | None:
    """Walk from the edge inwards to the first place where a gate fits."""
    for level in ground.levels:
        fits = partial(ground.finder.gate, number, forward=end_m > start_m, region=ground.region, level=level)
        before_m = start_m
        for at_m in _places(start_m, end_m, most_m=level.walk_m):
            gate = fits(at_m=at_m)
            if gate is not None:
                return _nearest_the_edge(fits, between=(before_m, at_m), gate=gate)
            before_m = at_m
    return None


def _nearest_the_edge(
    fits: Callable[..., Gate | None], *, between: tuple[float, float], gate: Gate
) -> tuple[float, Gate]:
    """Halve the way between the last place without a gate and the first with one."""
    before_m, at_m = between
    for _ in range(_HALVINGS if at_m != before_m else 0):
        middle_m = (before_m + at_m) / 2
        nearer = fits(at_m=middle_m)
        if nearer is None:
            before_m = middle_m
        else:
            at_m, gate = middle_m, nearer
    return at_m, gate


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


def _adopted(line: LineString, gate: Gate | None, *, chosen: dict[int, Gate], at_m: float) -> tuple[float, Gate | None]:
    """Take the common gate, with the place where it crosses the line; the line's own one if it crosses elsewhere."""
    if gate is None or chosen[id(gate)] is gate:
        return at_m, gate
    common = chosen[id(gate)]
    places = [line.project(Point(xy)) for xy in shapely.get_coordinates(line.intersection(common.chord))]
    near = [place for place in places if abs(place - at_m) <= common.chord.length]
    return (min(near, key=lambda place: abs(place - at_m)), common) if near else (at_m, gate)
