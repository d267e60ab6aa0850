"""Crossing lines: straight ways square across buried lines, from where a bend ends outside the separation, and back."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely
from shapely import LineString

from parcelfence.layout.rounding import FOR_CHORDS
from parcelfence.layout.separations import pieces_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely import Polygon

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.settings import Settings

    Floats = NDArray[np.float64]

__all__ = ["ASIDE_M", "AT_THE_EDGE_M", "FAR_SIDE_M", "crossing_lines"]

ASIDE_M: Final = 0.03
"""Lines at a limit keep this much off it, so that no rounding of coordinates breaks the limit."""
AT_THE_EDGE_M: Final = 0.003
"""Less than what a line may miss another one by and still meet it, so that ends at the edge of the ground meet it."""
FAR_SIDE_M: Final = 6.0
_ALREADY_SQUARE: Final = math.radians(3.0)
_BUNDLED: Final = math.radians(16.0)
"""Buried lines that differ by less than the two tolerances of a crossing can be crossed by one straight leg."""
_FARTHEST_BEND: Final = 1.5
"""Radii beyond the separation within which a carrier begins its bend: more than any tangent up to a right angle."""
_BEYOND_M: Final = 0.05
_TOGETHER_M: Final = 0.01
_DIRECTION: Final = math.radians(2.0)
_BACK: Final = (math.radians(25.0), math.radians(45.0))
"""Angles under which wire is led back to the line that it left for a crossing."""
_LONGEST_WAY_BACK_M: Final = 40.0
_LEVEL: Final = 1e-3


def crossing_lines(
    carriers: Floats, lines: Sequence[BuriedLine], *, ground: Polygon, settings: Settings
) -> tuple[Floats, Floats]:
    """Lay lines square across buried lines, from where a bend out of a carrier ends at the separation, and ways back.

    A bend from a carrier into the crossing takes the radius times the tangent of half its angle; that far beyond the
    separation the two have to meet.  From as far beyond the buried line, two slanting lines lead back to the carrier.
    """
    near = ground.buffer(settings.utility_separation_m)
    pieces = [
        (line, piece) for line in lines for piece in pieces_of(line) if LineString(piece.reshape(2, 2)).intersects(near)
    ]
    if not pieces or not len(carriers):
        return np.empty((0, 4)), np.empty((0, 4))
    room = ground.buffer(AT_THE_EDGE_M, join_style="mitre")
    shapely.prepare(room)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(carriers.reshape(-1, 2, 2))))
    found, back = [np.empty((0, 4))], [np.empty((0, 4))]
    for (line, piece), ways in zip(pieces, _ways(pieces), strict=True):
        within_m = line.separation_m + _FARTHEST_BEND * settings.bend_radius_m
        beside = carriers[np.sort(tree.query(LineString(piece.reshape(2, 2)), predicate="dwithin", distance=within_m))]
        for way in ways:
            events = _events(beside, piece, way=way, line=line, settings=settings)
            inside = shapely.contains_xy(room, events.place)
            events = _thinned(_Events(*(column[inside] for column in events)), piece=piece)
            place, forth = events.place, events.forth
            found.append(np.hstack([place - AT_THE_EDGE_M * forth, place + events.far_m[:, None] * forth]))
            back += _ways_back(events, line=line, settings=settings)
    return np.concatenate(found), np.concatenate(back)


class _Events(NamedTuple):
    """Where bends out of carriers into a crossing end at the separation.

    `place` is where carrier and crossing meet, `forth` the direction of the crossing and `along` that of the carrier;
    the buried line is crossed after `away_m`, and the crossing is drawn for `far_m`.
    """

    place: Floats
    forth: Floats
    along: Floats
    away_m: Floats
    far_m: Floats


def _ways_back(events: _Events, *, line: BuriedLine, settings: Settings) -> list[Floats]:
    """Lead crossings back to the carriers that they left, as soon as the bend lies outside the separation."""
    radius_m = FOR_CHORDS * settings.bend_radius_m
    cross = events.along[:, 0] * events.forth[:, 1] - events.along[:, 1] * events.forth[:, 0]
    bend = np.arccos(np.clip(np.einsum("ij,ij->i", events.along, events.forth), -1.0, 1.0))
    found = []
    for angle in _BACK:
        beyond_m = line.separation_m + radius_m * np.tan((bend + angle) / 2) + ASIDE_M
        start = events.place + (events.away_m + beyond_m)[:, None] * events.forth
        length_m = (events.away_m + beyond_m) * np.sin(bend) / math.sin(angle)
        turned = -np.sign(cross) * angle
        heading = np.column_stack([
            events.along[:, 0] * np.cos(turned) - events.along[:, 1] * np.sin(turned),
            events.along[:, 0] * np.sin(turned) + events.along[:, 1] * np.cos(turned),
        ])
        worth = length_m < _LONGEST_WAY_BACK_M
        found.append(np.hstack([start, start + (length_m + _BEYOND_M)[:, None] * heading])[worth])
    return found


def _events(carriers: Floats, piece: Floats, *, way: Floats, line: BuriedLine, settings: Settings) -> _Events:
    """Find where bends out of carriers into a crossing end at the separation."""
    radius_m = FOR_CHORDS * settings.bend_radius_m
    start, step = carriers[:, :2], carriers[:, 2:] - carriers[:, :2]
    length = np.hypot(*step.T)
    unit = step / length[:, None]
    along = _direction(piece)
    normal = np.array([-along[1], along[0]])
    way *= np.sign(way @ normal)
    bend = np.arccos(np.clip(np.abs(unit @ way), 0.0, 1.0))
    found = []
    for side in (-1.0, 1.0):
        away_m = line.separation_m + radius_m * np.tan(bend / 2.0) + ASIDE_M
        across = unit @ normal
        level = np.abs(across) < _LEVEL
        at = (side * away_m - (start - piece[:2]) @ normal) / np.where(level, 1.0, across)
        on = (bend > _ALREADY_SQUARE) & ~level & (at > -_BEYOND_M) & (at < length + _BEYOND_M)
        here = start[on] + at[on, None] * unit[on]
        foot = (here - side * (away_m[on] / float(way @ normal))[:, None] * way - piece[:2]) @ along
        met = (foot > -ASIDE_M) & (foot < math.hypot(*(piece[2:] - piece[:2])) + ASIDE_M)
        found.append(
            _Events(
                place=here[met],
                forth=np.tile(-side * way, (int(met.sum()), 1)),
                along=unit[on][met] * -side * np.sign(across[on][met])[:, None],
                away_m=away_m[on][met],
                far_m=away_m[on][met] + line.separation_m + radius_m + FAR_SIDE_M,
            )
        )
    return _Events(*(np.concatenate(columns) for columns in zip(*found, strict=True)))


def _thinned(events: _Events, *, piece: Floats) -> _Events:
    """Keep one of the crossings that lie together."""
    foot = (events.place - piece[:2]) @ _direction(piece)
    order = np.argsort(foot, kind="stable")
    kept: list[int] = []
    for each in order:
        if not kept or foot[each] - foot[kept[-1]] > _TOGETHER_M or events.forth[each] @ events.forth[kept[-1]] < 0:
            kept.append(each)
    return _Events(*(column[kept] for column in events))


def _ways(pieces: Sequence[tuple[BuriedLine, Floats]]) -> list[list[Floats]]:
    """Give for each piece the directions to cross it: square to it, and square to its mean with a close neighbour."""
    directions = np.array([_direction(piece) for _, piece in pieces])
    shapes = np.asarray(shapely.linestrings(np.array([piece for _, piece in pieces]).reshape(-1, 2, 2)))
    separations = np.array([line.separation_m for line, _ in pieces])
    tree = shapely.STRtree(shapes)
    found = []
    for number, way in enumerate(directions):
        ways = [np.array([-way[1], way[0]])]
        near = np.sort(tree.query(shapes[number], predicate="dwithin", distance=2.0 * separations[number]))
        for other in near:
            if other == number or pieces[other][0] is pieces[number][0]:
                continue
            beside = directions[other] * (1.0 if float(directions[other] @ way) > 0 else -1.0)
            apart = math.acos(min(1.0, float(beside @ way)))
            if _DIRECTION < apart < _BUNDLED:
                mean = (beside + way) / np.hypot(*(beside + way))
                ways.append(np.array([-mean[1], mean[0]]))
        found.append(ways[:3])
    return found


def _direction(piece: Floats) -> Floats:
    step = piece[2:] - piece[:2]
    return np.asarray(step / math.hypot(*step))
