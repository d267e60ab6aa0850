"""What a finished outline costs, measured from the outline alone: however it was designed, one price compares it.

The candidates of a layout are priced leg by leg while it is sought; here the wire is measured as it would be laid, with
its bends, so that two layouts of the same property compare.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from parcelfence.layout.prices import (
    BEND,
    BEND_PER_90,
    BESIDE,
    CLEARANCE,
    CLEARANCE_WORTH,
    COURSE,
    CUT,
    EASEMENT,
    EASEMENT_ALONG,
    FORBIDDEN,
    HAND_DUG,
    INNER_LOOP,
    ROOTS,
    SHORT_LEG_PER_M,
)
from parcelfence.lines import turn_angles
from parcelfence.site.meaning import surface

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import Buried
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

    Floats = NDArray[np.float64]

__all__ = ["Appraisal", "appraise", "axis_of", "dear_ground"]

_STEP_M: Final = 0.1
"""Wire near buried lines is looked at so often: a stretch that matters is a quarter of a metre."""
_CHORD_M: Final = 0.15
"""Directions are those of chords so long to each side: a finer look would measure how arcs are drawn."""
_SPARE_M: Final = 0.03
"""Wire this much nearer than it should be is where laying it cannot tell."""
_FOLLOWS: Final = np.cos(np.radians(60.0))
"""Wire turned by more than 30 degrees from square runs beside a line rather than across it."""
_IN_A_WALL: Final = 1000.0
"""A metre through a building: dearer than everything else."""
_WHOLE_BEND: Final = np.radians(8.0)
"""From this turn on a bend is laid out as one."""
_ONE_BEND_M: Final = 1.0
"""Turns one way with less between them are one bend."""
_SHARE_OF_RADIUS: Final = 0.35
_TIGHT: Final = 0.9
"""Nine tenths of the radius are read from chords of an arc that has all of it."""
_WORTH_A_WORD_M: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Appraisal:
    """Price and faults of an outline.

    Parameters
    ----------
    cost : float
        Of wire and trouble, in metres of plain wire.
    worth : float
        Of the free ground, in the same.
    beside_m : float
        Length of wire beside buried lines.
    off_square : int
        Crossings of buried lines that are out of the tolerance.
    forbidden_m : float
        Length of wire in walls, water, roads and ground that is not dug.
    tight_m : float
        Length of wire that turns tighter than the bend radius.
    """

    cost: float
    worth: float
    beside_m: float
    off_square: int
    forbidden_m: float
    tight_m: float

    @property
    def total(self) -> float:
        """Cost less worth: the lower, the better."""
        return self.cost - self.worth

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong with it that another layout could do without."""
        return (
            self.beside_m <= _WORTH_A_WORD_M
            and not self.off_square
            and self.forbidden_m <= _WORTH_A_WORD_M
            and self.tight_m <= _WORTH_A_WORD_M
        )


def appraise(area: Polygon, *, lines: Buried, site: Site, settings: Settings, worth_per_m2: float) -> Appraisal:
    """Measure an outline.

    Parameters
    ----------
    area : Polygon
        What is enclosed; its holes are inner loops.
    lines : Buried
        What is buried near it.
    site : Site
        What else lies there.
    settings : Settings
        Reach, clearances, radius, tolerance of crossings.
    worth_per_m2 : float
        Of free ground, in metres of plain wire.
    """
    rings = [LineString(ring) for ring in (area.exterior, *area.interiors)]
    wire = shapely.MultiLineString(rings)
    met = [_beside(ring, lines, settings=settings) for ring in rings]
    beside_m, off_square = sum(each[0] for each in met), sum(each[1] for each in met)
    roofs = site.roofs
    dug_m = sum(wire.intersection(each.geometry).length for each in site.no_dig)
    forbidden_m = _length_in(
        wire,
        [
            *((water.geometry, settings.water_clearance_m) for water in site.water),
            *((road.geometry, settings.road_clearance_m) for road in site.roads),
            *((mark.area, mark.separation_m) for mark in lines.areas),
        ],
    )
    walls_m = float(wire.intersection(roofs).length)
    near_walls_m = _length_in(wire, [(building.geometry, settings.building_clearance_m) for building in site.buildings])
    bends = [_bends(ring) for ring in rings]
    tight_m = sum(_tight_m(ring, radius_m=settings.bend_radius_m) for ring in rings)
    cost = (
        wire.length
        + INNER_LOOP * len(area.interiors)
        + BESIDE * (beside_m + off_square)
        + FORBIDDEN * forbidden_m
        + _IN_A_WALL * walls_m
        + max(CLEARANCE, CLEARANCE_WORTH * worth_per_m2) * near_walls_m
        + HAND_DUG * _length_in(wire, [(each.geometry, each.tolerance_m) for each in site.utilities])
        + sum(BEND * count + BEND_PER_90 * right_angles for count, right_angles in bends)
        + SHORT_LEG_PER_M * tight_m
        + sum(per_m * wire.intersection(shape).length for shape, per_m, _ in dear_ground(site))
        + sum(_along_m(wire, each.geometry) * EASEMENT_ALONG for each in site.easements)
    )
    free = area.buffer(-settings.reach_m).difference(roofs)
    return Appraisal(
        cost=float(cost),
        worth=worth_per_m2 * float(free.area),
        beside_m=beside_m,
        off_square=off_square,
        forbidden_m=float(forbidden_m + walls_m + dug_m),
        tight_m=tight_m,
    )


def dear_ground(site: Site) -> Iterator[tuple[BaseGeometry, float, float]]:
    """List the areas in which wire is dear, with the price of a metre and that of following them."""
    yield from ((each.geometry, FORBIDDEN, 0.0) for each in site.no_dig)
    yield from ((each.geometry, EASEMENT, EASEMENT_ALONG) for each in site.easements)
    yield from ((each.geometry, CUT[surface(each)], 0.0) for each in site.hardscape)
    yield from ((each.geometry, COURSE, 0.0) for each in site.watercourses)
    yield from ((each.geometry, ROOTS, 0.0) for each in site.trees)


def axis_of(area: BaseGeometry) -> Floats:
    """Give the direction along which most of the edge of an area runs: the mean of its edges, doubled in angle."""
    rings = [np.diff(np.asarray(ring.coords), axis=0) for ring in shapely.get_rings(area)]
    if not rings:
        return np.array([1.0, 0.0])
    x, y = np.concatenate(rings).T
    length = np.maximum(np.hypot(x, y), _SPARE_M)
    angle = np.arctan2((2 * x * y / length).sum(), ((x * x - y * y) / length).sum()) / 2
    return np.array([np.cos(angle), np.sin(angle)])


def _length_in(wire: BaseGeometry, zones: list[tuple[BaseGeometry, float]]) -> float:
    """Measure wire within a distance of features; where they overlap it counts once."""
    grown = [
        shape.buffer(distance_m - _SPARE_M, quad_segs=8) if distance_m > 0.0 else shape
        for shape, distance_m in zones
        if shape.dwithin(wire, distance_m)
    ]
    return float(wire.intersection(shapely.union_all(grown)).length) if grown else 0.0


def _along_m(wire: BaseGeometry, area: BaseGeometry) -> float:
    """Length of wire in an area as far as it follows its axis: the square of the cosine of each piece."""
    inside = shapely.get_parts(wire.intersection(area))
    axis = axis_of(area)
    steps = [np.diff(shapely.get_coordinates(part), axis=0) for part in inside if part.length > 0.0]
    if not steps:
        return 0.0
    step = np.concatenate(steps)
    return float(((step @ axis) ** 2 / np.maximum(np.hypot(*step.T), 1e-9)).sum())


def _beside(ring: LineString, lines: Buried, *, settings: Settings) -> tuple[float, int]:
    """Length of a ring beside buried lines, and the number of its crossings off square."""
    count = max(8, int(ring.length / _STEP_M))
    stations = np.arange(count) * ring.length / count
    tree = shapely.STRtree(shapely.line_interpolate_point(ring, stations))
    near_lines = [line for line in lines.lines if line.line.dwithin(ring, line.separation_m)]
    beside = np.zeros(count, dtype=bool)
    off_square = 0
    steepest = np.cos(np.radians(90.0 - settings.crossing_tolerance_deg))
    for line in near_lines:
        near = np.sort(tree.query(line.line, predicate="dwithin", distance=line.separation_m - _SPARE_M))
        if near.size:
            own = _headings(ring, stations[near])
            places = shapely.line_locate_point(line.line, tree.geometries[near])
            beside[near] |= np.abs(np.einsum("ij,ij->i", own, _headings(line.line, places))) > _FOLLOWS
        met = shapely.get_coordinates(ring.intersection(line.line))
        if len(met):
            points = shapely.points(met)
            own = _headings(ring, np.asarray(shapely.line_locate_point(ring, points)))
            other = _headings(line.line, np.asarray(shapely.line_locate_point(line.line, points)))
            off_square += int((np.abs(np.einsum("ij,ij->i", own, other)) > steepest).sum())
    return float(beside.sum() * ring.length / count), off_square


def _headings(line: LineString, stations: Floats) -> Floats:
    """Give the unit vectors along a line at stations; a closed line goes on past its start."""
    places = stations[:, None] + np.array([-_CHORD_M, _CHORD_M])
    places = np.mod(places, line.length) if line.is_closed else np.clip(places, 0.0, line.length)
    ends = shapely.get_coordinates(shapely.line_interpolate_point(line, places.ravel())).reshape(-1, 2, 2)
    step = ends[:, 1] - ends[:, 0]
    unit: Floats = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    return unit


def _bends(ring: LineString) -> tuple[int, float]:
    """Count the bends of a ring, and the right angles that they turn in all."""
    xy = shapely.get_coordinates(ring)[:-1]
    step = np.roll(xy, -1, axis=0) - xy
    turns = turn_angles(np.roll(step, 1, axis=0), step)
    apart = np.hypot(*np.roll(step, 1, axis=0).T) > _ONE_BEND_M
    begins = apart | (np.sign(turns) != np.sign(np.roll(turns, 1)))
    first = int(np.argmax(begins))
    turns, begins = np.roll(turns, -first), np.roll(begins, -first)
    total = np.abs(np.bincount(np.cumsum(begins) - 1 if begins.any() else np.zeros(len(turns), dtype=int), turns))
    return int((total >= _WHOLE_BEND).sum()), float(total.sum() / (np.pi / 2))


def _tight_m(ring: LineString, *, radius_m: float) -> float:
    """Length of a ring that turns tighter than a radius, by chords of a third of it."""
    count = max(8, int(ring.length / (_SHARE_OF_RADIUS * radius_m)))
    xy = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) * ring.length / count))
    step = np.roll(xy, -1, axis=0) - xy
    turns = np.abs(turn_angles(np.roll(step, 1, axis=0), step))
    return float((turns * _TIGHT * radius_m > ring.length / count).sum() * ring.length / count)
