"""Gates: straight pieces of wire that cross buried lines at a right angle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon, STRtree

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.loop.buried import BuriedLine

    Vector = npt.NDArray[np.float64]

__all__ = ["Gate", "GateFinder", "GateLevel"]

_LEAST_PIECE_M: Final = 0.2
"""Shorter pieces of a drawn line say nothing about its direction."""
_TOUCH_M: Final = 0.02
_MOST_LINES: Final = 8


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


@dataclass(frozen=True, kw_only=True)
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
    """

    def __init__(self, lines: Sequence[BuriedLine]) -> None:
        self.lines = lines
        self._tree = STRtree([line.line for line in lines])

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
        separation_m = own.separation_m
        point, secant = _place(own.line, at_m=at_m, window_m=separation_m)
        if not secant.any():
            return None  # a line that turns back on itself has no direction here
        tangent = secant / math.hypot(*secant)
        members, span = {number}, (0.0, 0.0)
        for _ in range(_MOST_LINES):
            reach_m = separation_m + level.beside_m
            sides = span[0] - reach_m, span[1] + reach_m
            found = self._crossed(point, tangent, sides=sides, level=level, depth_m=separation_m)
            if found is None:
                return None
            if level.ahead_m:
                wider = sides[0] - level.ahead_m, sides[1] + level.ahead_m
                found += (
                    self._crossed(point, tangent, sides=wider, level=level, depth_m=separation_m, all_must=False) or []
                )
            members |= {member for member, _ in found}
            places = [0.0, *(place for _, place in found)]
            separation_m = max(self.lines[member].separation_m for member in members)
            before, span = span, (min(*places, span[0]), max(*places, span[1]))
            if span == before:
                break
        else:
            return None
        normal = np.array([-tangent[1], tangent[0]])
        chord = LineString([point + sides[0] * normal, point + sides[1] * normal])
        if not region.covers(chord):
            return None
        ends = shapely.get_coordinates(chord)
        inward = tangent if forward else -tangent
        return Gate(start=ends[0], end=ends[1], inward=inward, members=frozenset(members), ample=level.beside_m > 0)

    def _crossed(
        self,
        point: Vector,
        tangent: Vector,
        *,
        sides: tuple[float, float],
        level: GateLevel,
        depth_m: float,
        all_must: bool = True,
    ) -> list[tuple[int, float]] | None:
        """Lines that a chord crosses square, with the places on it; None if one that is near must be, and is not."""
        normal = np.array([-tangent[1], tangent[0]])
        depth = tangent * depth_m
        ends = point + sides[0] * normal, point + sides[1] * normal
        zone = Polygon([ends[0] - depth, ends[1] - depth, ends[1] + depth, ends[0] + depth])
        least_cosine = math.cos(math.radians(level.off_square_deg))
        crossed: list[tuple[int, float]] = []
        for member in self._tree.query(zone, predicate="intersects"):
            for piece in shapely.get_parts(self.lines[member].line.intersection(zone)):
                if piece.length < _TOUCH_M:
                    continue
                across = _crossing_place(piece, point=point, tangent=tangent, least_cosine=least_cosine)
                if across is not None:
                    crossed.append((int(member), across))
                elif all_must:
                    return None
        return crossed


def _place(line: LineString, *, at_m: float, window_m: float) -> tuple[Vector, Vector]:
    """Point on a line and the secant of the line about it, over a window each side."""
    low, high = max(0.0, at_m - window_m), min(line.length, at_m + window_m)
    before, point, after = shapely.get_coordinates(shapely.line_interpolate_point(line, [low, at_m, high]))
    return point, after - before


def _crossing_place(piece: LineString, *, point: Vector, tangent: Vector, least_cosine: float) -> float | None:
    """Where a piece of line crosses the chord's straight line, if it does so and is near enough to square throughout."""
    xy = shapely.get_coordinates(piece) - point
    steps = np.diff(xy, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    telling = lengths >= min(_LEAST_PIECE_M, lengths.max())
    if (np.abs(steps[telling] @ tangent) < least_cosine * lengths[telling]).any():
        return None
    along = xy @ tangent
    across = xy @ np.array([-tangent[1], tangent[0]])
    if along.min() > _TOUCH_M or along.max() < -_TOUCH_M:
        return None
    order = np.argsort(along)
    return float(np.interp(0.0, along[order], across[order]))
