"""Candidate lines: straight lines on which wire could lie, only where a price changes.

A leg of a good loop lies on an edge of the ground that may be enclosed, on a straight line that passes its bulges,
beside a wall or a buried line at the distance that these ask for, or square across a buried line just where its bends
end outside the separation.  Nothing else is ever the cheapest.  Lines that would lie where no wire may lie, or beside a
buried line, are cut there; only the edges of the ground stay whole, so that there always is a loop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from parcelfence.layout.crossing_lines import ASIDE_M, AT_THE_EDGE_M, FAR_SIDE_M, crossing_lines
from parcelfence.layout.rounding import FOR_CHORDS
from parcelfence.layout.separations import Separations, pieces_of, separations

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.settings import Settings

    Floats = NDArray[np.float64]

__all__ = ["Candidates", "Obstacles", "candidate_lines"]

_BULGES_M: Final = (0.15, 0.5, 1.5, 4.0)
"""Sizes of bulges that a straight leg may pass by, from a hand's breadth to what a person would call a bay."""
_STRAIGHT_M: Final = 0.05
"""A buried line is known no better; its bends below this are no bends."""
_MOST_EXTENDED: Final = 4.0
"""A line that is extended by more of its own lengths turns a millimetre into a centimetre."""
_LONGEST_EXTENSION_M: Final = 80.0
_SHORTEST_M: Final = 0.05
_CORNER_LIT: Final = 1.71
"""Inside a right angle both legs must be this many reaches from a corner of a wall for it to have the field of one
straight wire at one reach: 1 + cos 45 degrees, from the field of two half lines."""
_NEAR_WALLS_M: Final = 6.0
_LEVEL: Final = 1e-3
_LINE_APART_M: Final = 1e7
"""Far more than any property measures: offsets along different segments never mix."""
_BENT: Final = math.radians(15.0)
"""The arc at the separation round a smaller bend lies within centimetres of the lines beside it."""
_SHARP: Final = math.radians(100.0)
_CHAMFER_RADII: Final = 2.6
"""The shortest leg between two bends of some sixty degrees each, with a little to spare."""


@dataclass(frozen=True, kw_only=True)
class Obstacles:
    """What the lines meet.

    Parameters
    ----------
    lines : tuple of BuriedLine
        Buried lines near the ground.
    no_wire : BaseGeometry
        Ground where no wire may lie though it may be enclosed.
    walls : tuple of Polygon
        Buildings that stand inside the ground.
    across : tuple of BaseGeometry
        Areas whose edges are events, such as easements and paved surfaces.
    """

    lines: tuple[BuriedLine, ...]
    no_wire: BaseGeometry
    walls: tuple[Polygon, ...]
    across: tuple[BaseGeometry, ...]


@dataclass(frozen=True, kw_only=True)
class Candidates:
    """Straight segments.

    Parameters
    ----------
    segments : ndarray, shape (s, 4)
        Ends x1, y1, x2, y2 in metres.
    pegless : ndarray of bool, shape (s,)
        Segments that are neither along nor square to anything that one could peg from.
    """

    segments: Floats
    pegless: NDArray[np.bool_]


def candidate_lines(ground: Polygon, obstacles: Obstacles, *, settings: Settings) -> Candidates:
    """Lay the candidate lines of a piece of ground.

    Parameters
    ----------
    ground : Polygon
        What may be enclosed at most; its holes are what is kept out.
    obstacles : Obstacles
        What the lines meet.
    settings : Settings
        Reach, clearances, separation, radius.
    """
    rings = [np.asarray(ring.coords) for ring in (ground.exterior, *ground.interiors)]
    edges = np.concatenate([np.hstack([xy[:-1], xy[1:]]) for xy in rings])
    edges = edges[np.hypot(*(edges[:, 2:] - edges[:, :2]).T) > _SHORTEST_M / 10]
    beside = np.concatenate([
        _extended(edges),
        *(_supports(xy) for xy in rings),
        _beside_walls(ground, obstacles.walls, settings=settings),
        _edges_of(obstacles.across),
        _beside_buried(obstacles.lines, settings=settings),
        _connections(ground),
    ])
    room = _Room(ground, obstacles, settings=settings)
    free = room.cut(beside)
    carriers = np.concatenate([edges, free])
    across, back = crossing_lines(carriers, obstacles.lines, ground=ground, settings=settings)
    along, aslant = (
        np.concatenate([carriers, room.cut(across)]),
        room.cut(np.concatenate([back, *(_chamfers(xy, settings=settings) for xy in rings)])),
    )
    return Candidates(
        segments=np.concatenate([along, aslant]), pegless=np.arange(len(along) + len(aslant)) >= len(along)
    )


def _chamfers(ring: Floats, *, settings: Settings) -> Floats:
    """Cut sharp corners of a ring off, square to the line that halves them: the tip has no room for a bend."""
    step = np.diff(ring, axis=0)
    length = np.hypot(*step.T)
    behind, ahead = np.roll(length, 1), length
    unit = step / np.maximum(length, _LEVEL)[:, None]
    before = np.roll(unit, 1, axis=0)
    turn = np.arctan2(before[:, 0] * unit[:, 1] - before[:, 1] * unit[:, 0], np.einsum("ij,ij->i", before, unit))
    sharp = np.flatnonzero(turn > _SHARP)
    found = [np.empty((0, 4))]
    reach_m = settings.reach_m
    for wide_m in (_CHAMFER_RADII * settings.bend_radius_m, 2 * reach_m + settings.passage_width_m, 4 * reach_m):
        aside_m = wide_m / (2 * np.sin((np.pi - turn[sharp]) / 2))
        fits = aside_m < np.minimum(behind[sharp], ahead[sharp])
        corner, at = sharp[fits], aside_m[fits][:, None]
        found.append(np.hstack([ring[corner] - at * before[corner], ring[corner] + at * unit[corner]]))
    return _extended(np.concatenate(found), most_m=FAR_SIDE_M)


def _extended(segments: Floats, *, most_m: float = _LONGEST_EXTENSION_M) -> Floats:
    """Lengthen segments at both ends."""
    step = segments[:, 2:] - segments[:, :2]
    length = np.hypot(*step.T)
    keep = length > _SHORTEST_M
    segments, step, length = segments[keep], step[keep], length[keep]
    more = (np.minimum(_MOST_EXTENDED * length, most_m) / length)[:, None] * step
    return np.hstack([segments[:, :2] - more, segments[:, 2:] + more])


def _supports(ring: Floats) -> Floats:
    """Give straight lines that pass the bulges of a ring on its inner side, for several sizes of bulges."""
    found = []
    outline = LineString(ring)
    for bulge_m in _BULGES_M:
        kept = np.asarray(outline.simplify(bulge_m).coords)
        if len(kept) == len(ring):
            continue
        at = _places(kept, ring)
        for start, end in pairwise(at):
            if end - start < 2:  # noqa: PLR2004  (an edge of the ring itself)
                continue
            step = ring[end] - ring[start]
            length = math.hypot(*step)
            if length < _SHORTEST_M:
                continue
            inward = np.array([-step[1], step[0]]) / length
            shift = inward * max(0.0, float(((ring[start : end + 1] - ring[start]) @ inward).max()))
            found.append([*(ring[start] + shift), *(ring[end] + shift)])
    return _extended(np.array(found)) if found else np.empty((0, 4))


def _places(kept: Floats, ring: Floats) -> list[int]:
    """Find the vertices that a simplified ring kept, in order."""
    at, place = [], 0
    for x, y in kept[:-1]:
        while ring[place, 0] != x or ring[place, 1] != y:
            place += 1
        at.append(place)
    return [*at, len(ring) - 1]


def _edges_of(areas: Iterable[BaseGeometry]) -> Floats:
    """Give the edges of areas, each lengthened a little so that neighbours meet."""
    rings = [
        np.asarray(ring.coords)
        for area in areas
        for part in shapely.get_parts(area)
        if isinstance(part, Polygon)
        for ring in shapely.get_rings(part.simplify(_STRAIGHT_M))[:1]
    ]
    if not rings:
        return np.empty((0, 4))
    return _extended(np.concatenate([np.hstack([xy[:-1], xy[1:]]) for xy in rings]), most_m=FAR_SIDE_M)


def _beside_walls(ground: Polygon, walls: Sequence[Polygon], *, settings: Settings) -> Floats:
    """Lay lines beside walls near the edge of the ground: at the clearance, and where two legs light no corner."""
    distances = {settings.building_clearance_m + ASIDE_M, _CORNER_LIT * settings.reach_m + ASIDE_M}
    border = ground.boundary
    near = [wall for wall in walls if wall.dwithin(border, max(distances) + settings.reach_m + _NEAR_WALLS_M)]
    grown = [
        wall.simplify(_STRAIGHT_M).buffer(distance_m, join_style="mitre", mitre_limit=3.0)
        for wall in near
        for distance_m in sorted(distances)
    ]
    return _edges_of(grown)


def _beside_buried(lines: Iterable[BuriedLine], *, settings: Settings) -> Floats:
    """Lay lines beside buried lines, at the separation and a bend farther, and past their bends and ends."""
    radius_m = FOR_CHORDS * settings.bend_radius_m
    found = []
    for line in lines:
        pieces = pieces_of(line)
        step = pieces[:, 2:] - pieces[:, :2]
        length = np.hypot(*step.T)
        pieces, step, length = pieces[length > _SHORTEST_M], step[length > _SHORTEST_M], length[length > _SHORTEST_M]
        if not len(pieces):
            continue
        unit = step / length[:, None]
        normal = np.column_stack([-unit[:, 1], unit[:, 0]])
        for aside_m in (line.separation_m + ASIDE_M, line.separation_m + radius_m + ASIDE_M):
            more = unit * np.minimum(aside_m, _MOST_EXTENDED * length)[:, None]
            for side in (-1.0, 1.0):
                shift = side * aside_m * normal
                found.append(np.hstack([pieces[:, :2] + shift - more, pieces[:, 2:] + shift + more]))
        found.append(_past_bends(pieces, unit, separation_m=line.separation_m))
        if not line.line.is_closed:
            past_m, half_m = line.separation_m + ASIDE_M, line.separation_m + 2 * radius_m
            ends = np.array([pieces[0, :2] - past_m * unit[0], pieces[-1, 2:] + past_m * unit[-1]])
            across = half_m * normal[[0, -1]]
            found.append(np.hstack([ends - across, ends + across]))
    return np.concatenate(found) if found else np.empty((0, 4))


def _past_bends(pieces: Floats, unit: Floats, *, separation_m: float) -> Floats:
    """Lay lines past the outer side of bends of a buried line, as oblique to it as a tangent can be."""
    turn = unit[:-1, 0] * unit[1:, 1] - unit[:-1, 1] * unit[1:, 0]
    bent = np.flatnonzero(np.abs(turn) > math.sin(_BENT))
    along = unit[bent] + unit[bent + 1]
    along /= np.hypot(*along.T)[:, None]
    outwards = np.column_stack([along[:, 1], -along[:, 0]]) * np.sign(turn[bent])[:, None]
    at = pieces[bent, 2:] + (separation_m + ASIDE_M) * outwards
    return np.hstack([at - 2 * separation_m * along, at + 2 * separation_m * along])


def _connections(ground: Polygon) -> Floats:
    """Draw one shortest line from each hole to the outline, so that both are one graph."""
    found = [shapely.get_coordinates(shapely.shortest_line(ground.exterior, ring)).ravel() for ring in ground.interiors]
    return np.array(found) if found else np.empty((0, 4))


class _Room:
    """Where wire could lie: on the ground, off what forbids wire, and not beside a buried line."""

    def __init__(self, ground: Polygon, obstacles: Obstacles, *, settings: Settings) -> None:
        self._area = ground.buffer(AT_THE_EDGE_M, join_style="mitre").difference(obstacles.no_wire)
        self._lines, self._settings = obstacles.lines, settings
        shapely.prepare(self._area)

    def cut(self, segments: Floats) -> Floats:
        """Keep the stretches of segments where wire could lie."""
        shapes = np.asarray(shapely.linestrings(segments.reshape(-1, 2, 2)))
        whole = shapely.covers(self._area, shapes)
        met = ~whole & shapely.intersects(self._area, shapes)
        parts = shapely.get_parts(shapely.intersection(shapes[met], self._area))
        parts = parts[(shapely.get_type_id(parts) == 1) & (shapely.length(parts) > _SHORTEST_M)]
        ends = [shapely.get_coordinates(shapely.get_point(parts, place)) for place in (0, -1)]
        left = np.concatenate([segments[whole], np.hstack(ends)])
        return _without(left, separations(left, self._lines, settings=self._settings))


def _without(segments: Floats, found: Separations) -> Floats:
    """Take from segments the stretches that lie within a separation without crossing it square."""
    beside = ~found.square
    segment, start_m, end_m = found.segment[beside], found.start_m[beside], found.end_m[beside]
    step = segments[:, 2:] - segments[:, :2]
    length = np.hypot(*step.T)
    order = np.lexsort((start_m, segment))
    segment, start_m, end_m = segment[order], start_m[order], end_m[order]
    apart = np.arange(len(segments)) * _LINE_APART_M
    reached = np.maximum.accumulate(end_m + apart[segment]) if len(segment) else end_m
    owner = np.concatenate([np.arange(len(segments)), segment])
    begin = np.concatenate([np.zeros(len(segments)), reached - apart[segment]])
    order = np.lexsort((begin, owner))
    owner, begin = owner[order], begin[order]
    nearest = np.concatenate([length + apart, start_m + apart[segment]])
    nearest_owner = np.concatenate([np.arange(len(segments)), segment])
    ends = nearest[np.lexsort((nearest, nearest_owner))] - apart[owner]
    kept = ends - begin > _SHORTEST_M
    owner, begin, ends = owner[kept], begin[kept], ends[kept]
    unit = step[owner] / length[owner, None]
    base = segments[owner, :2]
    return np.hstack([base + begin[:, None] * unit, base + ends[:, None] * unit])
