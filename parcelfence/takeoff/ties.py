"""Tape ties: every point that is staked out, by two distances that a crew measures with a tape.

A tape needs no instrument and no signal from above: two distances from house corners, lot pins or a lot line give a
place where their arcs meet.  They are chosen so that the arcs cut well, the tape is short, and nothing stands in its
way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point

from parcelfence.lines import chainage
from parcelfence.takeoff.tape_marks import TapeMark, octant, tape_marks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop
    from parcelfence.site.site import Site
    from parcelfence.takeoff.flags import Flag
    from parcelfence.takeoff.leg import Splice

__all__ = ["TAPE_ERROR_M", "Tie", "flag_rows", "ties", "within_95"]

TAPE_ERROR_M: Final = 0.01
"""Standard error of one taped distance: the tape is not quite tight, level or on the mark (from memory)."""
_LONGEST_TAPE_M: Final = 60.0
"""The longest common tape, 200 ft (from memory)."""
_LONG_TAPE_M: Final = 30.0
"""Over such a length a tape counts half as much again: it sags, and two people have to shout (from memory)."""
_LEAST_CUT_DEG: Final = 30.0
"""Flatter cuts are taken only where there is nothing else."""
_NO_CUT_DEG: Final = 5.0
"""Of arcs that touch rather than cut, nobody marks the place: tapes err by a centimetre, the place by a foot."""
_MOST_MARKS: Final = 128
"""The nearest marks from which a pair is chosen: more than a lot has whose line was not drawn along a stream."""
_FROM_THE_END_M: Final = 0.3
"""A tape square to a lot line does not begin at its very end, where the pin serves better."""
STRAIGHT_ENOUGH_M: Final = 0.15
"""A string from one bend to the next leaves the wire by no more: half a foot, a spade's width."""
_ROW_OFF_M: Final = 0.3
"""Flags belong to one row while none stands farther from the straight line between its ends."""
_LIKELY: Final = 300
"""So many of the best pairs are looked at first: sorting all of them would take most of the time."""
_RATHER_NOT: Final = 3.0
"""By how much a flat cut, or more tape than a crew has, is put behind."""
_TROUBLE: Final = 1.2
"""By how much a lot pin or line is put behind a corner of a building: it must be found and dug out first."""
_LOOKS_THROUGH_M: Final = 0.05
_BESIDE_THE_LOT_M: Final = 0.3
"""A tape stays on the property as far as it can; along a lot line it may lie on the line."""


@dataclass(frozen=True, kw_only=True)
class Tie:
    """One point by two taped distances.

    Parameters
    ----------
    kind : str
        ``"start"``, ``"bend"``, ``"crossing"``, ``"splice"``, ``"flag"`` or ``"transmitter"``.
    name : str
        What the drawing calls it: ``"X2"``, ``"flag 14"``.
    point : Point
        Where it is.
    loop_id : str
        Run that it belongs to.
    station_m : float
        Chainage of the nearest point of that run; nan for what has none.
    first, second : TapeMark
        Where the two tapes begin.
    first_m, second_m : float
        What they read.
    cut_deg : float
        Angle at which the two arcs cut, at most 90; the nearer to that the better.
    side : str
        Arcs meet twice: the point is the meeting that lies farther to this side.
    within_m : float
        95 of 100 points taped so lie this close, at :data:`TAPE_ERROR_M` for each distance.
    """

    kind: str
    name: str
    point: Point
    loop_id: str
    station_m: float
    first: TapeMark
    second: TapeMark
    first_m: float
    second_m: float
    cut_deg: float
    side: str
    within_m: float

    @property
    def line(self) -> LineString:
        """The two tapes: from the first mark to the point and on to the second."""
        return LineString([self.first.held_at(self.point), self.point, self.second.held_at(self.point)])


@dataclass(frozen=True, kw_only=True)
class _Target:
    kind: str
    name: str
    point: Point
    loop_id: str = ""
    station_m: float = math.nan


def ties(
    loop: Loop,
    site: Site,
    *,
    crossings: Sequence[Crossing],
    splices: Sequence[Splice],
    flags: Sequence[Flag],
) -> tuple[Tie, ...]:
    """Tie starts, bends, crossings, splices and flag rows to the ground.

    Parameters
    ----------
    loop : Loop
        The wire, designed or as laid.
    site : Site
        Its buildings and lot line give the marks; no tape is laid through a building, and none over open water.
    crossings, splices, flags : sequence
        What is tied besides the bends; of the flags the ends of every straight row.

    Returns
    -------
    tuple of Tie
        By run and station, then the transmitter's; nothing where a property has neither building nor corner.
    """
    ground = _Ground.of(site)
    if len(ground.marks) < 2:  # noqa: PLR2004
        return ()
    targets = _targets(loop, crossings=crossings, splices=splices, flags=flags)
    return _tagged([tie for target in targets if (tie := ground.tie(target)) is not None])


def flag_rows(flags: Sequence[Flag]) -> tuple[tuple[Flag, ...], ...]:
    """Part the flags of each loop into straight rows; neighbouring rows share the flag at which they meet."""
    rows: list[tuple[Flag, ...]] = []
    row: list[Flag] = []
    for flag in flags:
        if row and (flag.loop_id != row[0].loop_id or not _is_straight([*row, flag])):
            rows.append(tuple(row))
            row = [row[-1]] if flag.loop_id == row[0].loop_id else []
        row.append(flag)
    return (*rows, tuple(row)) if row else tuple(rows)


def _is_straight(row: Sequence[Flag]) -> bool:
    between = [flag.point for flag in row[1:-1]]
    chord = LineString([row[0].point, row[-1].point])
    return not between or bool((shapely.distance(chord, between) <= _ROW_OFF_M).all())


def _targets(
    loop: Loop, *, crossings: Sequence[Crossing], splices: Sequence[Splice], flags: Sequence[Flag]
) -> Iterator[_Target]:
    """List what is tied, run by run in the order of the wire."""
    bends = iter(range(1, 1_000_000))
    numbered = [(f"X{number}", crossing) for number, crossing in enumerate(crossings, start=1)]
    starts = {flag.flag: flag for row in flag_rows(flags) for flag in (row[0], row[-1])}
    for run in loop.runs:
        first_m = run.start_station_m
        own = [_Target(kind="start", name="start", point=shapely.get_point(run.line, 0), station_m=first_m)]
        for at_m in _bends(run.line):
            point = run.line.interpolate(at_m)
            own.append(_Target(kind="bend", name=f"bend {next(bends)}", point=point, station_m=first_m + at_m))
        own += [
            _Target(kind="crossing", name=name, point=crossing.point, station_m=crossing.station_m)
            for name, crossing in numbered
            if crossing.loop_id == run.loop_id and crossing.twisted == run.twisted
        ]
        own += [
            _Target(kind="splice", name=f"splice {splice.id}", point=splice.point, station_m=splice.station_m)
            for splice in splices
            if splice.loop_id == run.loop_id
        ]
        own += [
            _Target(kind="flag", name=f"flag {flag.flag}", point=flag.point, station_m=flag.station_m)
            for flag in starts.values()
            if flag.loop_id == run.loop_id and not run.twisted
        ]
        yield from (replace(target, loop_id=run.loop_id) for target in sorted(own, key=lambda one: one.station_m))
    if loop.transmitter is not None:
        yield _Target(kind="transmitter", name="transmitter", point=loop.transmitter.point)


def _bends(line: LineString) -> Iterator[float]:
    """Give the places along a run between which it is straight enough to be strung, the ends left out."""
    xy = shapely.get_coordinates(line)
    kept = shapely.get_coordinates(shapely.simplify(line, STRAIGHT_ENOUGH_M))[1:-1]
    along_m, place = chainage(xy), 0
    for vertex in kept:  # simplifying keeps vertices of the line, in their order
        place += int(np.flatnonzero((xy[place:] == vertex).all(axis=1))[0])
        yield float(along_m[place])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ground:
    """Marks to tape from, and what stands in the way."""

    marks: tuple[TapeMark, ...]
    geometries: NDArray[np.object_]
    trouble: NDArray[np.float64]
    obstacles: BaseGeometry
    lot: BaseGeometry

    @classmethod
    def of(cls, site: Site) -> _Ground:
        marks = tuple(tape_marks(site))
        hindering = [feature.geometry.buffer(-_LOOKS_THROUGH_M) for feature in (*site.buildings, *site.water)]
        obstacles, lot = shapely.union_all(hindering), site.parcel.buffer(_BESIDE_THE_LOT_M)
        shapely.prepare([obstacles, lot])
        return cls(
            marks=marks,
            geometries=np.array([mark.geometry for mark in marks], dtype=object),
            trouble=np.array([1.0 if mark.kind == "corner" else _TROUBLE for mark in marks]),
            obstacles=obstacles,
            lot=lot,
        )

    def tie(self, target: _Target) -> Tie | None:
        """Choose the pair of marks by which a point is taped best."""
        tapes = shapely.shortest_line(self.geometries, target.point)
        length_m = shapely.length(tapes)
        usable = np.flatnonzero((length_m > _LOOKS_THROUGH_M) & _is_square(self.geometries, tapes))
        near = usable[np.argsort(length_m[usable], kind="stable")[:_MOST_MARKS]]
        tapes, length_m = tapes[near], length_m[near]
        ends = shapely.get_coordinates(tapes).reshape(-1, 2, 2)
        ways = (ends[:, 1] - ends[:, 0]) / np.maximum(length_m, _LOOKS_THROUGH_M)[:, None]
        sines = np.abs(ways[:, None, 0] * ways[None, :, 1] - ways[:, None, 1] * ways[None, :, 0])
        cuts = np.arcsin(np.minimum(1.0, sines))
        weight = _weight(cuts, length_m) * np.multiply.outer(self.trouble[near], self.trouble[near])
        pair = self._first_free(weight, tapes)
        if pair is None:
            return None
        first, second = sorted(pair, key=lambda number: float(-length_m[number]))  # the longer tape is laid first
        cut = float(cuts[first, second])
        one, other = self.marks[near[first]], self.marks[near[second]]
        return Tie(
            kind=target.kind,
            name=target.name,
            point=target.point,
            loop_id=target.loop_id,
            station_m=target.station_m,
            first=one,
            second=other,
            first_m=float(length_m[first]),
            second_m=float(length_m[second]),
            cut_deg=math.degrees(cut),
            side=_side(one, other, point=target.point),
            within_m=TAPE_ERROR_M * within_95(cut),
        )

    def _first_free(self, weight: NDArray[np.float64], tapes: NDArray[np.object_]) -> tuple[int, int] | None:
        """Give the best pair of tapes that nothing hinders, on the property if any such pair is."""
        ones, others = np.triu_indices(len(weight), k=1)
        weights = weight[ones, others]
        likely = np.argpartition(weights, _LIKELY)[:_LIKELY] if len(weights) > _LIKELY else np.arange(len(weights))
        free = cache(lambda number: not self.obstacles.intersects(tapes[number]))
        at_home = cache(lambda number: self.lot.covers(tapes[number]))
        for places in (likely, np.arange(len(weights))):
            ordered = places[np.argsort(weights[places], kind="stable")]
            for allowed in (lambda number: free(number) and at_home(number), free):
                for place in ordered[np.isfinite(weights[ordered])]:
                    if allowed(int(ones[place])) and allowed(int(others[place])):
                        return int(ones[place]), int(others[place])
        return None


def _is_square(geometries: NDArray[np.object_], tapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Tell which tapes can be laid: from a point always, from a lot line square to it and on its inner side."""
    is_line = shapely.get_type_id(geometries) == 1
    from_end_m = np.nan_to_num(shapely.distance(shapely.boundary(geometries), shapely.get_point(tapes, 0)))
    ends, ways = (shapely.get_coordinates(lines[is_line]).reshape(-1, 2, 2) for lines in (geometries, tapes))
    (along_x, along_y), (way_x, way_y) = ((line[:, 1] - line[:, 0]).T for line in (ends, ways))
    inner = np.zeros(len(geometries), dtype=np.bool_)
    inner[is_line] = along_x * way_y - along_y * way_x > 0.0  # rings run counter-clockwise: the lot lies to the left
    return np.asarray(~is_line | (inner & (from_end_m > _FROM_THE_END_M)), dtype=np.bool_)


def _weight(cuts: NDArray[np.float64], length_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weigh how well two arcs cut against the length of the tapes; the least weight is best."""
    longer_m = np.maximum(length_m[:, None], length_m[None, :])
    flat, too_long = cuts < math.radians(_LEAST_CUT_DEG), longer_m > _LONGEST_TAPE_M
    weight = (1.0 + longer_m / _LONG_TAPE_M / 2.0) / np.sqrt(np.maximum(1.0 - np.cos(cuts), 1e-12))
    weight = weight * np.where(flat, _RATHER_NOT, 1.0) * np.where(too_long, _RATHER_NOT, 1.0)
    return np.asarray(np.where(cuts < math.radians(_NO_CUT_DEG), np.inf, weight))


def within_95(cut: float) -> float:
    """Radius that holds 95 of 100 points, for errors of 1 in two distances whose arcs cut at an angle.

    The errors spread over an ellipse with the half-axes 1/sqrt(1 -+ cos); the radius is theirs within 2 % (the ends,
    a circle and a line, are exact: 2.45 and 1.96 half-axes of the normal distribution).
    """
    longer, shorter = 1.0 / (1.0 - math.cos(cut)), 1.0 / (1.0 + math.cos(cut))
    return math.sqrt(1.96**2 * longer + (5.991 - 1.96**2) * shorter)


def _side(first: TapeMark, second: TapeMark, *, point: Point) -> str:
    """Say on which side of the other place with the same two distances a point lies."""
    place = shapely.get_coordinates(point)[0]
    lines = [mark for mark in (first, second) if mark.kind == "line"]
    if len(lines) == 2:  # noqa: PLR2004
        return "inside"
    (corner, *_), (other, *_) = (shapely.get_coordinates(mark.geometry) for mark in (first, second))
    if lines:
        ends = shapely.get_coordinates(lines[0].geometry)
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        corner = other if first.kind == "line" else corner
        return octant(along * float((place - corner) @ along))
    base = (other - corner) / np.hypot(*(other - corner))
    return octant(place - corner - base * float((place - corner) @ base))


def _tagged(found: Sequence[Tie]) -> tuple[Tie, ...]:
    """Give the marks that are used a number each, in the order of use."""
    used = dict.fromkeys(mark for tie in found for mark in (tie.first, tie.second))
    named = {mark: replace(mark, tag=f"P{number}") for number, mark in enumerate(used, start=1)}
    return tuple(replace(tie, first=named[tie.first], second=named[tie.second]) for tie in found)
