"""Gates: straight pieces of wire that cross buried lines at a right angle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, STRtree
from shapely.ops import substring

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import BuriedLine

    Vector = npt.NDArray[np.float64]

__all__ = ["Gate", "GateFinder", "GateLevel"]

_LEAST_PIECE_M: Final = 0.2
"""Shorter pieces of a drawn line say nothing about its direction."""
_TOUCH_M: Final = 0.02
_MOST_LINES: Final = 8
_BARRED_M: Final = 1.0
_OWN_WINDOW: Final = 2.5
"""A line farther along than so many separations from its gate counts like another line."""


@dataclass(frozen=True, kw_only=True)
class GateLevel:
    """How strict a gate is.

    Parameters
    ----------
    off_square_deg : float
        Greatest angle off square to any piece of a line within the separation.
    beside_m : float
        How far the gate is straight and free beyond the outermost line, in addition to the separation.
    ahead_m : float
        How much farther to look for lines to be crossed by the same gate: between two gates there has to be room
        for two bends.
    walk_m : float
        How far from the edge such a gate is looked for.
    """

    off_square_deg: float
    beside_m: float
    ahead_m: float = 0.0
    walk_m: float = math.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class Gate:
    """A place where wire crosses one or several lines square.

    Parameters
    ----------
    start, end : ndarray, shape (2,)
        Ends of the chord.
    inward : ndarray, shape (2,)
        Unit vector along the lines, into the loop.
    members : frozenset of int
        Numbers of the lines that are crossed.
    ample : bool
        Whether both bends beside it lie outside the separation.
    """

    start: Vector
    end: Vector
    inward: Vector
    members: frozenset[int]
    ample: bool = True

    @cached_property
    def chord(self) -> LineString:
        """The straight piece of wire."""
        return LineString([self.start, self.end])

    def slab(self, depth_m: float) -> Polygon:
        """Rectangle on the chord: inwards for a positive depth, outwards for a negative one."""
        shift = self.inward * depth_m
        return Polygon([self.start, self.end, self.end + shift, self.start + shift])


class GateFinder:
    """Tests places on buried lines for gates.

    Parameters
    ----------
    lines : sequence of BuriedLine
        All lines near the land.

    Attributes
    ----------
    barred : list of Point
        Middles of gates that turned out to be no good: near them there are none.
    """

    def __init__(self, lines: Sequence[BuriedLine]) -> None:
        self.lines = lines
        self.barred: list[Point] = []
        self._lines = np.array([line.line for line in lines], dtype=object)
        self._tree = STRtree(self._lines)
        self._known: dict[tuple[object, ...], list[tuple[int, float]] | None] = {}

    def gate(self, number: int, *, at_m: float, forward: bool, region: BaseGeometry, level: GateLevel) -> Gate | None:
        """Give the gate at a place, or None where there can be none.

        Parameters
        ----------
        number : int
            Line on which the place is.
        at_m : float
            Distance along it.
        forward : bool
            Whether the loop's inside lies in the direction of the line.
        region : BaseGeometry
            Land that the chord must lie on; prepared.
        level : GateLevel
            How strict the gate has to be.
        """
        own = self.lines[number]
        axes = _axes(own.line, at_m=at_m, window_m=own.separation_m)
        least_m = own.separation_m + level.beside_m
        if axes is None or not region.covers(LineString([axes.across_at(-least_m), axes.across_at(least_m)])):
            return None  # before anything that costs more
        members, span, separation_m = {number}, (0.0, 0.0), own.separation_m
        for _ in range(_MOST_LINES):
            sides = span[0] - separation_m - level.beside_m, span[1] + separation_m + level.beside_m
            found = self._crossed(axes, sides, level=level, depth_m=separation_m)
            if found is None:
                return None
            if level.ahead_m:
                wider = sides[0] - level.ahead_m, sides[1] + level.ahead_m
                found = [
                    *found,
                    *(self._crossed(axes, wider, level=level, depth_m=separation_m, all_must=False) or []),
                ]
            members |= {member for member, _ in found}
            separation_m = max(self.lines[member].separation_m for member in members)
            places = [*span, *(place for _, place in found)]
            before, span = span, (min(places), max(places))
            if span == before:
                gate = _gate(axes, sides, forward=forward, members=members, ample=level.beside_m > 0)
                middle = gate.chord.interpolate(0.5, normalized=True)
                barred = any(middle.dwithin(other, _BARRED_M) for other in self.barred)
                fits = not barred and region.covers(gate.chord) and not self._turns_back(number, gate, at_m=at_m)
                return gate if fits else None
        return None

    def _turns_back(self, number: int, gate: Gate, *, at_m: float) -> bool:
        """Whether a line comes near its own gate again, without being crossed by it."""
        own = self.lines[number]
        away_m = _OWN_WINDOW * own.separation_m
        rest = [substring(own.line, 0.0, at_m - away_m)] if at_m > away_m else []
        rest += [substring(own.line, at_m + away_m, own.line.length)] if at_m + away_m < own.line.length else []
        return any(part.dwithin(gate.chord, own.separation_m) and not part.intersects(gate.chord) for part in rest)

    def _crossed(
        self, axes: _Axes, sides: tuple[float, float], *, level: GateLevel, depth_m: float, all_must: bool = True
    ) -> list[tuple[int, float]] | None:
        """List lines that a chord crosses square, with the places on it; None if one that must be is not."""
        key = (*axes.origin, *axes.along, *sides, level.off_square_deg, depth_m, all_must)
        if key not in self._known:  # the same places are tried again as the land changes elsewhere
            self._known[key] = self._measured(
                axes, sides, off_square_deg=level.off_square_deg, depth_m=depth_m, all_must=all_must
            )
        return self._known[key]

    def _measured(
        self, axes: _Axes, sides: tuple[float, float], *, off_square_deg: float, depth_m: float, all_must: bool
    ) -> list[tuple[int, float]] | None:
        depth = axes.along * depth_m
        ends = axes.across_at(sides[0]), axes.across_at(sides[1])
        zone = Polygon([ends[0] - depth, ends[1] - depth, ends[1] + depth, ends[0] + depth])
        least_cosine = math.cos(math.radians(off_square_deg))
        members = self._tree.query(zone, predicate="intersects")
        crossed: list[tuple[int, float]] = []
        for member, within in zip(members, shapely.intersection(self._lines[members], zone), strict=True):
            for piece in shapely.get_parts(within):
                if piece.length < _TOUCH_M:
                    continue
                across = _crossing_place(piece, axes, least_cosine=least_cosine)
                if across is not None:
                    crossed.append((int(member), across))
                elif all_must:
                    return None
        return crossed


@dataclass(frozen=True)
class _Axes:
    """A place on a line, with the line's direction there and the direction of a gate across it."""

    origin: Vector
    along: Vector

    @property
    def across(self) -> Vector:
        return np.array([-self.along[1], self.along[0]])

    def across_at(self, distance_m: float) -> Vector:
        return self.origin + distance_m * self.across


def _axes(line: LineString, *, at_m: float, window_m: float) -> _Axes | None:
    """Give the axes at a place, by the secant over a window each side; None where the line turns back on itself."""
    low, high = max(0.0, at_m - window_m), min(line.length, at_m + window_m)
    before, point, after = shapely.get_coordinates(shapely.line_interpolate_point(line, [low, at_m, high]))
    length_m = math.dist(before, after)
    return _Axes(point, (after - before) / length_m) if length_m > _TOUCH_M else None


def _gate(
    axes: _Axes,
    sides: tuple[float, float],
    *,
    forward: bool,
    members: set[int],
    ample: bool,
) -> Gate:
    return Gate(
        start=axes.across_at(sides[0]),
        end=axes.across_at(sides[1]),
        inward=axes.along if forward else -axes.along,
        members=frozenset(members),
        ample=ample,
    )


def _crossing_place(piece: LineString, axes: _Axes, *, least_cosine: float) -> float | None:
    """Where a piece of line crosses the chord's straight line, if it does so and is nearly square all along."""
    xy = shapely.get_coordinates(piece) - axes.origin
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    telling = lengths >= min(_LEAST_PIECE_M, lengths.max())
    if (np.abs(steps[telling] @ axes.along) < least_cosine * lengths[telling]).any():
        return None
    along, across = xy @ axes.along, xy @ axes.across
    if along.min() > _TOUCH_M or along.max() < -_TOUCH_M:
        return None
    order = np.argsort(along)
    return float(np.interp(0.0, along[order], across[order]))
