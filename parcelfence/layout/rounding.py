"""Rounding by opening and closing: regions whose outline can be laid without a sharp corner.

Opening (shrink, then grow) rounds the corners that point out of a region, closing (grow, then shrink) those that
point into it; both with a disc of the bend radius.  Every result is a shapely area; arcs are drawn with 64 chords a
circle, 1.2 mm off the true arc at a radius of 1 m.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "FOR_CHORDS",
    "QUAD_SEGS",
    "SLACK_M",
    "closed",
    "grown",
    "inset",
    "opened",
    "parts",
    "ringed",
    "rounded",
    "turnable",
    "whole",
]

QUAD_SEGS: Final = 16
FOR_CHORDS: Final = 1.02
"""Bends are made wider by this: arcs are drawn with chords, and no reading of them may come out tighter."""
SLACK_M: Final = 0.01
"""Room kept back inside the limits, so that simplifying and drawing arcs by chords never crosses one."""
_SECANT: Final = 1.0 / math.cos(math.pi / (4 * QUAD_SEGS))
_TIDY_M: Final = 0.0005
_HALVINGS: Final = 7
_MITRE_LIMIT: Final = 3.0


def grown(area: BaseGeometry, distance_m: float) -> BaseGeometry:
    """Grow an area by at least a distance: the chords that stand for arcs touch the true arc from outside."""
    return area.buffer(distance_m * _SECANT, quad_segs=QUAD_SEGS)


def inset(area: BaseGeometry, distance_m: float) -> MultiPolygon:
    """Shrink an area so that no point of the result is nearer to its edge than a distance.

    The result is simplified within :data:`SLACK_M`, always to the inner side: a road network drawn with 28,000 vertices
    costs no more in what follows than its shape deserves.
    """
    shrunk = area.buffer(-(distance_m * _SECANT + SLACK_M), quad_segs=QUAD_SEGS)
    return whole(shrunk.simplify(SLACK_M / 2))


def opened(area: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Round the corners that point outwards; what is narrower than two radii goes."""
    return _offset(_offset(area, -radius_m), radius_m)


def closed(area: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Round the corners that point inwards; gaps narrower than two radii are filled."""
    return _offset(_offset(area, radius_m), -radius_m)


def turnable(area: BaseGeometry, radius_m: float) -> BaseGeometry:
    """Take from an area what must go so that :func:`closed` no longer reaches beyond it.

    Where the land outside pokes into the area with a corner sharper than the radius, closing would fill a part
    of that corner, and the wire would lie on forbidden ground.  Those fillings, grown by the radius, are taken off: the
    wire then swings round the corner on its own side.
    """
    overshoot = closed(area, radius_m).difference(area.buffer(SLACK_M, quad_segs=2))
    if overshoot.is_empty:
        return area
    return area.difference(grown(overshoot, radius_m))


def ringed(area: BaseGeometry, clearance_m: float, *, radius_m: float) -> BaseGeometry:
    """Give the smallest area round another one that keeps a clearance and turns no tighter than the radius.

    An offset by the clearance alone would have corners as tight as the clearance.  Offset square-cornered by a
    little more and rounded, it need not be offset by the whole radius: the offset is found by halving.
    """
    needed = grown(area, clearance_m)
    if clearance_m >= radius_m:
        return needed
    low_m, high_m = clearance_m, radius_m
    ring = closed(grown(area, radius_m), radius_m)
    for _ in range(_HALVINGS):
        middle_m = (low_m + high_m) / 2
        candidate = closed(
            opened(area.buffer(middle_m, join_style="mitre", mitre_limit=_MITRE_LIMIT), radius_m), radius_m
        )
        if candidate.buffer(_TIDY_M).covers(needed):
            high_m, ring = middle_m, candidate
        else:
            low_m = middle_m
    return ring


def rounded(area: BaseGeometry, radius_m: float) -> list[Polygon]:
    """Round all corners of an area, the largest part first.

    Where the disc of the radius only just passes a neck, opening leaves a cusp on either side of it; closing each part
    once more fills it.
    """
    return parts(
        MultiPolygon([parts(closed(part, radius_m))[0] for part in parts(opened(closed(area, radius_m), radius_m))])
    )


def parts(area: BaseGeometry) -> list[Polygon]:
    """Polygons of an area, the largest first; ties are broken by position."""
    polygons = [part for part in shapely.get_parts(area) if isinstance(part, Polygon) and not part.is_empty]
    return sorted(polygons, key=lambda part: (-round(part.area, 3), part.bounds))


def whole(area: BaseGeometry) -> MultiPolygon:
    """Give an area as a MultiPolygon, without lines and points that overlay may leave."""
    return MultiPolygon(parts(area))


def _offset(area: BaseGeometry, distance_m: float) -> BaseGeometry:
    return area.buffer(distance_m, quad_segs=QUAD_SEGS).simplify(_TIDY_M)
