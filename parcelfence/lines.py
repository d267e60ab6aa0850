"""Plane lines: chainage, turns, circles through three points, closed lines that begin elsewhere; parts as one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import GeometryCollection, LineString, MultiLineString, MultiPoint, MultiPolygon
from shapely.ops import substring

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely import Point
    from shapely.geometry.base import BaseGeometry

__all__ = ["chainage", "circle_through", "distinct", "gather", "normal_at", "started_at", "stretch", "turn_angles"]


def distinct(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Drop vertices that repeat the one before them.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Vertices, in metres.

    Returns
    -------
    ndarray, shape (m, 2)
        At least the first.
    """
    kept: NDArray[np.float64] = xy[np.append(True, np.any(np.diff(xy, axis=0) != 0, axis=1))]
    return kept


def chainage(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the distance of every vertex along a line.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Vertices, in metres.

    Returns
    -------
    ndarray, shape (n,)
        In metres; it begins with 0.

    Examples
    --------
    >>> chainage(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0]])).tolist()
    [0.0, 5.0, 6.0]
    """
    return np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))


def turn_angles(before: NDArray[np.float64], after: NDArray[np.float64]) -> NDArray[np.float64]:
    """Measure the turn from one step to the next.

    Parameters
    ----------
    before, after : ndarray, shape (n, 2)
        Steps into and out of each vertex.

    Returns
    -------
    ndarray, shape (n,)
        In radians, positive to the left.

    Examples
    --------
    >>> turn_angles(np.array([[1.0, 0.0]]), np.array([[0.0, 2.0]])).round(6).tolist()
    [1.570796]
    """
    crosses = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turns: NDArray[np.float64] = np.arctan2(crosses, np.einsum("ij,ij->i", before, after))
    return turns


def circle_through(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Find the circle through three points.

    Parameters
    ----------
    points : ndarray, shape (3, 2)
        In metres.

    Returns
    -------
    centre : ndarray, shape (2,)
        In metres; the first point where the three are in line.
    radius_m : float
        Infinite where they are in line.

    Examples
    --------
    >>> centre, radius_m = circle_through(np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]]))
    >>> radius_m
    1.0
    """
    first = points[0]
    b, c = points[1:] - first
    twice = 2 * (b[0] * c[1] - b[1] * c[0])
    if twice == 0:
        return first, math.inf
    bb, cc = float(b @ b), float(c @ c)
    offset = np.array([c[1] * bb - b[1] * cc, b[0] * cc - c[0] * bb]) / twice
    return first + offset, math.hypot(*offset)


def normal_at(line: LineString, at_m: float, *, half_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give a place on a line and the unit vector to the left of the line there.

    Parameters
    ----------
    line : LineString
        Any line.
    at_m : float
        Distance along it.
    half_m : float
        The direction is that of the chord from so far before to so far behind the place, within the line.

    Returns
    -------
    place, left : ndarray, shape (2,)
        `left` is zero where the chord has no length.
    """
    ends_m = [max(0.0, at_m - half_m), at_m, min(line.length, at_m + half_m)]
    before, place, behind = shapely.get_coordinates(shapely.line_interpolate_point(line, ends_m))
    along = behind - before
    size = math.hypot(*along)
    left = np.array([-along[1], along[0]])
    return place, left / size if size else left


def started_at(ring: LineString, point: Point) -> LineString:
    """Turn a closed line so that it begins and ends at a point on it, which becomes a vertex."""
    at = ring.project(point)
    if at in {0.0, ring.length}:
        return ring
    xy = np.vstack([_within(ring, span=(at, ring.length)), _within(ring, span=(0.0, at))[1:]])
    xy[0] = xy[-1] = point.x, point.y
    return LineString(xy)


def stretch(ring: LineString, *, start_m: float, end_m: float) -> LineString:
    """Cut a stretch out of a closed line; over its start, where the end does not lie beyond the start."""
    if start_m < end_m:
        return LineString(_within(ring, span=(start_m, end_m)))
    return LineString(np.vstack([_within(ring, span=(start_m, ring.length)), _within(ring, span=(0.0, end_m))[1:]]))


def _within(ring: LineString, *, span: tuple[float, float]) -> NDArray[np.float64]:
    return np.asarray(shapely.get_coordinates(substring(ring, *span)))


def gather(geometries: Sequence[BaseGeometry]) -> BaseGeometry:
    """Put geometries into one, of the simplest type that holds them all."""
    if len(geometries) == 1:
        return geometries[0]
    parts = shapely.get_parts(list(geometries))
    kinds = {int(kind) for kind in shapely.get_type_id(parts)}
    if kinds == {0}:
        return MultiPoint(list(parts))
    if kinds == {1}:
        return MultiLineString(list(parts))
    return MultiPolygon(list(parts)) if kinds == {3} else GeometryCollection(list(parts))
