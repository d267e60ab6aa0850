"""Courses: bearings and distances of lines and curves, and the closure and area of a traverse."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.lines import chainage, circle_through, distinct

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray
    from shapely import LineString
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "Closure",
    "Course",
    "bearing_label",
    "courses",
    "offset_m",
    "traverse_closure",
]

FIT_M: Final = 0.001
"""Vertices this close to an arc belong to it; to a straight line only those four times closer do."""
_DEEPEST_CHORD_M: Final = 0.01
"""A chord that leaves its arc by more was not drawn as part of a curve."""
_WIDEST_CHORD_RAD: Final = math.radians(40)
_FEWEST_CHORDS: Final = 3
_LARGEST_RADIUS_M: Final = 1000.0


@dataclass(frozen=True, kw_only=True)
class Course:
    """One course of a line: a tangent, or a curve of one radius.

    Parameters
    ----------
    number : int
        From 1, in the order of the line.
    start_m, end_m : float
        Distance along the line of its ends.
    middle_m : float
        Distance along the line of the vertex nearest to its middle: on a curve, a point that lies on the arc.
    start, end : tuple of float
        Easting and northing of its ends.
    azimuth_deg : float
        Direction from start to end (for a curve: of its chord), clockwise from grid north.
    length_m : float
        Of a tangent its length, of a curve its arc.
    radius_m : float or None
        Radius of a curve; None for a tangent.
    centre : tuple of float or None
        Centre of a curve.
    turn_deg : float
        Central angle of a curve, positive to the left; 0 for a tangent.
    """

    number: int
    start_m: float
    end_m: float
    middle_m: float
    start: tuple[float, float]
    end: tuple[float, float]
    azimuth_deg: float
    length_m: float
    radius_m: float | None = None
    centre: tuple[float, float] | None = None
    turn_deg: float = 0.0

    @property
    def is_curve(self) -> bool:
        """Whether it is a curve."""
        return self.radius_m is not None

    @property
    def chord_m(self) -> float:
        """Straight distance between its ends."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True, eq=False)
class _Arc:
    centre: NDArray[np.float64]
    radius_m: float
    turn: float


@dataclass(frozen=True, kw_only=True)
class Closure:
    """Closure and area of a traverse.

    Parameters
    ----------
    perimeter : float
        Sum of the distances.
    misclosure : float
        Distance from the last point to the first.
    area : float
        Area by coordinates (cross products), without adjustment.
    """

    perimeter: float
    misclosure: float
    area: float

    @property
    def precision(self) -> float:
        """Perimeter over misclosure: 1 in so many; infinite if it closes exactly."""
        return self.perimeter / self.misclosure if self.misclosure else math.inf


def courses(line: LineString, *, fit_m: float = FIT_M) -> tuple[Course, ...]:
    """Reduce a line of many chords to tangents and curves.

    From each vertex on, the straight line or the circular arc is taken that holds most of the vertices ahead.

    Parameters
    ----------
    line : LineString
        In metres.
    fit_m : float
        How close the vertices must be to the course.

    Returns
    -------
    tuple of Course
        In the order of the line.
    """
    xy = shapely.get_coordinates(line)
    xy = distinct(xy)
    at_m = chainage(xy)
    cuts: list[int] = [0]
    arcs: list[_Arc | None] = []
    while cuts[-1] < len(xy) - 1:
        first = cuts[-1]
        straight = _furthest(xy, first=first, fits=lambda points: _is_straight(points, fit_m=fit_m / 4))
        curved = _furthest(xy, first=first, fits=lambda points: _arc(points, fit_m=fit_m) is not None, least=3)
        last = max(straight, curved, first + 1)
        if curved > straight:
            # chords at the beginning of an arc may have been taken for a part of the straight line before
            while (
                arcs and arcs[-1] is None and cuts[-1] - 1 > cuts[-2] and _arc(xy[cuts[-1] - 1 : last + 1], fit_m=fit_m)
            ):
                cuts[-1] -= 1
        arcs.append(_arc(xy[cuts[-1] : last + 1], fit_m=fit_m) if curved > straight else None)
        cuts.append(last)
    return tuple(
        _course(xy[[first, last]], at_m=at_m[first : last + 1], arc=arc, number=number)
        for number, (first, last, arc) in enumerate(zip(cuts[:-1], cuts[1:], arcs, strict=True), start=1)
    )


def _furthest(
    xy: NDArray[np.float64], *, first: int, fits: Callable[[NDArray[np.float64]], bool], least: int = 1
) -> int:
    """Last vertex for which all vertices from `first` on fit; doubling steps, then halving."""
    end = len(xy) - 1
    if first + least > end or not fits(xy[first : first + least + 1]):
        return first
    good, step = first + least, 1
    while good + step <= end and fits(xy[first : good + step + 1]):
        good, step = good + step, step * 2
    while step > 1:
        step //= 2
        if good + step <= end and fits(xy[first : good + step + 1]):
            good += step
    return good


def _is_straight(points: NDArray[np.float64], *, fit_m: float) -> bool:
    chord = points[-1] - points[0]
    length = math.hypot(*chord)
    if length == 0:
        return False
    away = points - points[0]
    offsets = np.abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]) / length
    along = away @ chord / length
    return bool(offsets.max() <= fit_m and (np.diff(along) > 0).all())


def _arc(points: NDArray[np.float64], *, fit_m: float) -> _Arc | None:
    """Find the arc through some points, if there is one."""
    if len(points) <= _FEWEST_CHORDS:
        return None
    centre, radius_m = circle_through(points[[0, len(points) // 2, -1]])
    if not radius_m <= _LARGEST_RADIUS_M:
        return None
    spokes = points - centre
    if np.abs(np.hypot(*spokes.T) - radius_m).max() > fit_m:
        return None
    angles = np.arctan2(spokes[:, 1], spokes[:, 0])
    turns = (np.diff(angles) + np.pi) % (2 * np.pi) - np.pi
    one_way = bool((turns > 0).all() or (turns < 0).all())
    widest = float(np.abs(turns).max())
    depth_m = radius_m * (1 - math.cos(widest / 2))
    if not one_way or widest > _WIDEST_CHORD_RAD or depth_m > _DEEPEST_CHORD_M or abs(turns.sum()) >= 2 * np.pi - 1e-6:
        return None
    return _Arc(centre, radius_m, float(turns.sum()))


def _course(
    ends: NDArray[np.float64],
    *,
    at_m: NDArray[np.float64],
    arc: _Arc | None,
    number: int,
) -> Course:
    (x0, y0), (x1, y1) = ends.tolist()
    straight = Course(
        number=number,
        start_m=float(at_m[0]),
        end_m=float(at_m[-1]),
        middle_m=float(at_m[np.abs(at_m - (at_m[0] + at_m[-1]) / 2).argmin()]),
        start=(x0, y0),
        end=(x1, y1),
        azimuth_deg=math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0,
        length_m=float(at_m[-1] - at_m[0]),
    )
    if arc is None:
        return straight
    x, y = arc.centre.tolist()
    return replace(
        straight,
        length_m=arc.radius_m * abs(arc.turn),
        radius_m=arc.radius_m,
        centre=(x, y),
        turn_deg=math.degrees(arc.turn),
    )


def bearing_label(azimuth_deg: float) -> str:
    """Write a direction as a quadrant bearing to the second of arc, such as ``N 45-55-21 E``.

    Parameters
    ----------
    azimuth_deg : float
        Clockwise from north.
    """
    seconds = round(azimuth_deg % 360.0 * 3600)
    north = seconds <= 90 * 3600 or seconds >= 270 * 3600
    east = seconds <= 180 * 3600 or seconds == 360 * 3600
    acute = min(seconds, abs(180 * 3600 - seconds), 360 * 3600 - seconds)
    degrees, rest = divmod(acute, 3600)
    return f"{'N' if north else 'S'} {degrees:02d}-{rest // 60:02d}-{rest % 60:02d} {'E' if east else 'W'}"


def traverse_closure(coordinates: ArrayLike) -> Closure:
    """Close a traverse.

    Parameters
    ----------
    coordinates : array_like, shape (n, 2)
        Easting and northing of the start and of the end of every course run; the last should be the first again.
        Any unit; the result is in the same one.

    Returns
    -------
    Closure
        Perimeter, misclosure, and area by cross products from a local origin.
    """
    points = np.asarray(coordinates, dtype=np.float64)
    steps = np.diff(points, axis=0)
    x, y = (points[:-1] - points[0]).T
    area = abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())) / 2
    gap = points[-1] - points[0]
    return Closure(perimeter=float(np.hypot(*steps.T).sum()), misclosure=math.hypot(*gap), area=area)


def offset_m(point: shapely.Point, lot_line: BaseGeometry) -> float:
    """Distance of a point of the wire to the lot line."""
    return float(shapely.distance(point, lot_line))
