"""Tape marks: what a crew finds on the ground and lays a tape from: house corners, lot pins and lot lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from parcelfence.lines import turn_angles

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.site.site import Site

__all__ = ["TapeMark", "octant", "tape_marks"]

_CORNER_TURN_DEG: Final = 30.0
_PIN_TURN_DEG: Final = 8.0
_PLAIN_M: Final = 0.3
"""Jogs of a footprint smaller than this are no corners that anybody finds on the ground."""
_LEAST_SIDE_M: Final = 5.0
_OCTANTS: Final = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")
_ON_THE_LINE_M: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class TapeMark:
    """A thing on the ground from which a tape is laid.

    Parameters
    ----------
    tag : str
        Its letter and number on the drawing.
    kind : str
        ``"corner"`` of a building, ``"pin"`` of the lot, or a straight part of the lot ``"line"``.
    words : str
        What a person looks for: ``"north-east corner of the house"``.
    geometry : Point or LineString
        Where it is.
    """

    tag: str
    kind: Literal["corner", "pin", "line"]
    words: str
    geometry: Point | LineString

    def held_at(self, point: Point) -> Point:
        """Give the place where the tape begins for a point: the mark, or the foot of the perpendicular on the line."""
        return shapely.shortest_line(self.geometry, point).interpolate(0.0)


def tape_marks(site: Site) -> list[TapeMark]:
    """Gather corners of buildings, lot pins and straight lot lines, each with the words by which it is found."""
    marks: list[TapeMark] = []
    largest = max(site.buildings, key=lambda building: building.geometry.area, default=None)
    for building in site.buildings:
        kind = building.kind.replace("_", " ").strip()
        plain = not kind or kind in {"building", "buildings"}
        name = ("house" if building is largest else f"building {building.id}") if plain else kind
        for part in shapely.get_parts(building.geometry):
            marks += [
                TapeMark(tag="", kind="corner", words=f"{side} corner of the {name}", geometry=Point(corner))
                for corner, side in _corners(part, turn_deg=_CORNER_TURN_DEG)
            ]
    for part in shapely.get_parts(site.parcel):
        corners = _corners(part, turn_deg=_PIN_TURN_DEG)
        marks += [
            TapeMark(tag="", kind="pin", words=f"{octant} lot pin", geometry=Point(corner))
            for corner, octant in corners
        ]
        ring = np.array([corner for corner, _ in corners])
        beside = part.boundary.buffer(_ON_THE_LINE_M)  # a side that curves gently is no straight line
        for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            if math.dist(start, end) >= _LEAST_SIDE_M:
                side = LineString([start, end])
                if beside.covers(side):
                    facing = octant(np.array([end[1] - start[1], start[0] - end[0]]))  # rings run counter-clockwise
                    marks.append(TapeMark(tag="", kind="line", words=f"{facing} lot line", geometry=side))
    return marks


def _corners(part: BaseGeometry, *, turn_deg: float) -> list[tuple[tuple[float, float], str]]:
    """Find the corners of an outline that stand out, and the side of it on which each lies."""
    if not isinstance(part, Polygon):
        return []
    plain = shapely.orient_polygons(shapely.simplify(part, _PLAIN_M if turn_deg > _PIN_TURN_DEG else 0.02))
    xy = shapely.get_coordinates(plain.exterior)[:-1]
    if len(xy) < 3:  # noqa: PLR2004
        return []
    steps = np.roll(xy, -1, axis=0) - xy
    turns = np.degrees(np.abs(turn_angles(np.roll(steps, 1, axis=0), steps)))
    middle = shapely.get_coordinates(plain.centroid)[0]
    return [
        ((float(x), float(y)), octant(np.array([x, y]) - middle))
        for (x, y), turn in zip(xy, turns, strict=True)
        if turn >= turn_deg
    ]


def octant(way: NDArray[np.float64]) -> str:
    """Name the compass direction of a way, to an eighth of the circle."""
    return _OCTANTS[round(math.degrees(math.atan2(way[1], way[0])) / 45.0) % 8]
