"""Measuring a wire by plain arithmetic that shares nothing with the rules: what is wrong with it, and where.

Lines are sampled every few centimetres; distances are point to segment; the field is summed segment by segment by the
law of Biot and Savart.  A wrong is told with its place (nan: all of the site), so that a row of a rule of the right
kind near it answers it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from shapely import get_coordinates

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from shapely import LineString, Point, Polygon

    from tests.attack.inventing import Property

STEP_M = 0.05
MARGIN_M = 0.04
"""Below this nothing is held against a plan: the rules allow 1 cm, and samples miss the worst place by some more."""


@dataclass(frozen=True)
class Wrong:
    """Something that is wrong, by which kinds of rule it must be said, and where."""

    what: str
    rules: tuple[str, ...]
    x: float
    y: float
    by: float


@dataclass(frozen=True)
class Limits:
    """What must hold."""

    reach_m: float = 2.0
    setback_m: float = 2.3
    clearance_m: float = 2.3
    separation_m: float = 1.5
    tolerance_deg: float = 10.0
    bend_radius_m: float = 1.0


def wrongs(
    made: Property,
    rings: Sequence[LineString],
    leads: Sequence[LineString],
    *,
    limits: Limits,
    receiver_reach_m: float,
    receiver_height_m: float,
    flags: Sequence[Point] = (),
    zones: dict[str, Polygon] | None = None,
    transmitter: Point | None = None,
    currents: Sequence[float] = (),
    seed: int = 0,
) -> list[Wrong]:
    """Everything that is wrong with a wire whose rings are closed and oriented as the current runs."""
    found = [*_lot_line(made, rings, leads, limits=limits), *_buildings(made, rings, limits=limits)]
    found += _bends(rings, limits=limits)
    found += _utilities(made, [*rings, *leads], limits=limits)
    found += _joins(rings, leads, transmitter=transmitter)
    found += _touching(rings)
    found += _flags(made, flags)
    signal = _Signal(rings, currents or [1.0] * len(rings), reach_m=receiver_reach_m, height_m=receiver_height_m)
    found += _signal_beyond(made, signal)
    if zones:
        found += _zones(zones, signal, rings=rings, seed=seed)
    return found


def samples(line: LineString, step_m: float = STEP_M) -> NDArray[np.float64]:
    """Points along a line, (n, 2)."""
    xy = get_coordinates(line)
    lengths = np.hypot(*np.diff(xy, axis=0).T)
    at = np.append(0.0, np.cumsum(lengths))
    stations = np.append(np.arange(0.0, at[-1], step_m), at[-1])
    return np.column_stack([np.interp(stations, at, xy[:, 0]), np.interp(stations, at, xy[:, 1])])


def to_segments(points: NDArray[np.float64], lines: Iterable[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Distance of each point to the nearest segment of some lines, each (m, 2)."""
    least = np.full(len(points), np.inf)
    for line in lines:
        for a, b in pairwise(line):
            d = b - a
            squared = float(d @ d)
            along = np.clip((points - a) @ d / squared, 0, 1) if squared else np.zeros(len(points))
            least = np.minimum(least, np.hypot(*(points - a - along[:, None] * d).T))
    return least


def inside(points: NDArray[np.float64], ring: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each point lies within a closed ring, by counting crossings of a ray."""
    within = np.zeros(len(points), dtype=bool)
    for (x1, y1), (x2, y2) in pairwise(ring):
        spans = (y1 > points[:, 1]) != (y2 > points[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            cross = x1 + (points[:, 1] - y1) * (x2 - x1) / (y2 - y1)
        within ^= spans & (points[:, 0] < cross)
    return within


def _outlines(polygon: Polygon) -> list[NDArray[np.float64]]:
    return [get_coordinates(ring) for ring in (polygon.exterior, *polygon.interiors)]


def _depth(points: NDArray[np.float64], polygon: Polygon) -> NDArray[np.float64]:
    """Distance to the outline, negative outside."""
    outlines = _outlines(polygon)
    within = inside(points, outlines[0])
    for hole in outlines[1:]:
        within &= ~inside(points, hole)
    return np.where(within, 1.0, -1.0) * to_segments(points, outlines)


def _worst(
    what: str, rules: tuple[str, ...], points: NDArray[np.float64], short: NDArray[np.float64], *, margin: float
) -> list[Wrong]:
    """One wrong for each connected row of samples that fall short."""
    bad = np.flatnonzero(short > margin)
    if not len(bad):
        return []
    groups = np.split(bad, np.flatnonzero(np.diff(bad) > 1.0 / STEP_M) + 1)
    worst = [group[np.argmax(short[group])] for group in groups]
    return [Wrong(what, rules, *points[index], float(short[index])) for index in worst]


def _lot_line(
    made: Property, rings: Sequence[LineString], leads: Sequence[LineString], *, limits: Limits
) -> list[Wrong]:
    found = []
    for line, needed_m in [*((ring, limits.setback_m) for ring in rings), *((lead, 0.0) for lead in leads)]:
        points = samples(line)
        short = needed_m - _depth(points, made.parcel)
        found += _worst(
            "setback" if needed_m else "lead-in outside", ("lot-line-wire",), points, short, margin=MARGIN_M
        )
    return found


def _buildings(made: Property, rings: Sequence[LineString], *, limits: Limits) -> list[Wrong]:
    found = []
    for house in made.buildings:
        for ring in rings:
            points = samples(ring)
            short = limits.clearance_m + _depth(points, house)
            found += _worst("clearance", ("building-clearance",), points, short, margin=MARGIN_M)
    return found


def _bends(rings: Sequence[LineString], *, limits: Limits) -> list[Wrong]:  # noqa: PLR0914
    """Circles through three points a third of the least radius apart: far enough that centimetres do not matter."""
    found = []
    for ring in rings:
        xy = samples(ring, 0.02)
        leg = round(0.35 * limits.bend_radius_m / 0.02)
        before, after = np.roll(xy[:-1], leg, axis=0), np.roll(xy[:-1], -leg, axis=0)
        a, b, c = (np.hypot(*(p - q).T) for p, q in ((xy[:-1], before), (after, xy[:-1]), (after, before)))
        u, v = xy[:-1] - before, after - before
        area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        with np.errstate(divide="ignore"):
            radius = a * b * c / (4 * area)
        short = limits.bend_radius_m * 0.8 - radius
        bad = np.flatnonzero(short > 0)
        if len(bad):
            groups = np.split(bad, np.flatnonzero(np.diff(bad) > 1.0 / 0.02) + 1)
            for group in groups:
                index = group[np.argmax(short[group])]
                found.append(Wrong("bend", ("sharp-bend",), *xy[index], float(radius[index])))
    return found


def _utilities(made: Property, lines: Sequence[LineString], *, limits: Limits) -> list[Wrong]:
    found = []
    for utility in made.utilities:
        a, b = get_coordinates(utility)
        along = (b - a) / math.dist(a, b)
        for line in lines:
            xy = samples(line, 0.02)
            if line.is_closed:  # its start is a place like any other: begin where the line is farthest
                xy = np.roll(xy[:-1], -int(np.abs((xy[:-1] - a) @ np.array([-along[1], along[0]])).argmax()), axis=0)
            found += _beside_one(xy, a=a, along=along, limits=limits)
    return found


def _beside_one(
    xy: NDArray[np.float64], *, a: NDArray[np.float64], along: NDArray[np.float64], limits: Limits
) -> list[Wrong]:
    found = []
    away = (xy - a) @ np.array([-along[1], along[0]])
    crossed = np.flatnonzero(np.sign(away[:-1]) != np.sign(away[1:]))
    for index in crossed:
        step = xy[min(len(xy) - 1, index + 13)] - xy[max(0, index - 12)]
        angle = math.degrees(math.asin(min(1.0, abs(step[0] * along[1] - step[1] * along[0]) / math.hypot(*step))))
        if angle < 90 - limits.tolerance_deg - 3:
            found.append(Wrong("angle", ("utility-angle", "utility-parallel"), *xy[index], angle))
    beside = np.abs(away) < limits.separation_m - MARGIN_M
    for index in crossed:  # what a crossing takes
        beside[max(0, index - 100) : index + 101] = False
    near = np.flatnonzero(beside)
    for group in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        if len(group) > 50 and (group[0] > 100 or crossed.size == 0):
            index = group[np.argmin(np.abs(away[group]))]
            rules = ("utility-parallel", "utility-angle")
            found.append(Wrong("beside", rules, *xy[index], float(abs(away[index]))))
    return found


def _joins(rings: Sequence[LineString], leads: Sequence[LineString], *, transmitter: Point | None) -> list[Wrong]:
    """Pieces of wiring that touch no other; where nothing but rings is drawn they are to be told as well."""
    lines = [get_coordinates(line) for line in [*rings, *leads]]
    owner = list(range(len(lines)))

    def root(index: int) -> int:
        while owner[index] != index:
            index = owner[index]
        return index

    points = [samples(line) for line in [*rings, *leads]]
    for i in range(len(lines)):
        for j in range(len(lines)):
            if i < j and min(to_segments(points[i], [lines[j]]).min(), to_segments(points[j], [lines[i]]).min()) < 0.02:
                owner[root(i)] = root(j)
    found = []
    for group in {root(index) for index in range(len(lines))} if len(lines) > 1 else ():
        members = [index for index in range(len(lines)) if root(index) == group]
        if len(members) < len(lines):
            found.append(Wrong("not joined", ("unjoined-wire", "transmitter-place"), math.nan, math.nan, math.nan))
    if leads and transmitter is not None:
        away = to_segments(np.array([[transmitter.x, transmitter.y]]), [get_coordinates(lead) for lead in leads])[0]
        if away > 0.5:
            found.append(Wrong("no way to the transmitter", ("unjoined-wire",), transmitter.x, transmitter.y, away))
    return found


def _touching(rings: Sequence[LineString]) -> list[Wrong]:
    """Rings that come within a centimetre of each other."""
    found = []
    for number, ring in enumerate(rings):
        points = samples(ring, 0.02)
        for other in rings[number + 1 :]:
            away = to_segments(points, [get_coordinates(other)])
            if away.min() < 0.01:
                found.append(Wrong("rings touch", ("touching-runs",), *points[away.argmin()], float(away.min())))
    return found


def _flags(made: Property, flags: Sequence[Point]) -> list[Wrong]:
    if not flags:
        return []
    points = np.array([[flag.x, flag.y] for flag in flags])
    depth = _depth(points, made.parcel)
    rules = ("flag-place", "lot-line-signal")
    return [Wrong("flag outside", rules, *points[i], float(-depth[i])) for i in np.flatnonzero(depth < -0.05)][:1]


class _Signal:
    """Field of rings, as a share of the level at which the receiver reacts."""

    def __init__(
        self, rings: Sequence[LineString], currents: Sequence[float], *, reach_m: float, height_m: float
    ) -> None:
        self.rings = [get_coordinates(ring) for ring in rings]
        self.currents = currents
        self.scale = 2 * math.pi * math.hypot(reach_m, height_m)
        self.height_m = height_m

    def at(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.zeros((len(points), 3))
        place = np.column_stack([points, np.full(len(points), self.height_m)])
        for ring, current in zip(self.rings, self.currents, strict=True):
            ends = np.column_stack([ring, np.zeros(len(ring))])
            for a, b in pairwise(ends):
                if np.array_equal(a, b):
                    continue
                ra, rb = place - a, place - b
                la, lb = np.linalg.norm(ra, axis=1), np.linalg.norm(rb, axis=1)
                weight = (la + lb) / (la * lb * (la * lb + np.einsum("ij,ij->i", ra, rb)))
                total += current * weight[:, None] * np.cross(ra, rb) / (4 * math.pi)
        return self.scale * np.linalg.norm(total, axis=1)


def _signal_beyond(made: Property, signal: _Signal) -> list[Wrong]:
    found = []
    points = samples(made.parcel.exterior, 0.5)
    strength = signal.at(points)
    if strength.max() > 1.05:
        found.append(Wrong("signal at the lot line", ("lot-line-signal",), *points[strength.argmax()], strength.max()))
    for house in made.buildings:
        points = samples(house.exterior, 0.25)
        centre = points.mean(axis=0)
        points = centre + 0.98 * (points - centre)
        strength = signal.at(points)
        if strength.max() > 1.08:
            rules = ("building-signal",)
            found.append(Wrong("signal indoors", rules, *points[strength.argmax()], strength.max()))
    return found


def _zones(zones: dict[str, Polygon], signal: _Signal, *, rings: Sequence[LineString], seed: int) -> list[Wrong]:
    """Points around the wire: in the signal zone if and only if the field there is at least the threshold."""
    noise = np.random.default_rng(seed)
    along = np.vstack([samples(ring, 0.5) for ring in rings])
    points = along[noise.integers(0, len(along), 200)] + noise.normal(0, 2.0, (200, 2))
    strength = signal.at(points)
    zone = zones["signal"]
    within = np.zeros(len(points), dtype=bool)
    for part in getattr(zone, "geoms", [zone]):
        outlines = _outlines(part)
        own = inside(points, outlines[0])
        for hole in outlines[1:]:
            own &= ~inside(points, hole)
        within |= own
    clear = np.abs(strength - 1) > 0.02
    bad = np.flatnonzero(clear & (within != (strength > 1)))
    return [Wrong("zone", (), *points[index], float(strength[index])) for index in bad[:1]]
