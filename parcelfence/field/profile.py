"""The true reach along the wire, on both sides: where corners stretch it and facing runs weaken it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from parcelfence.compiled import compiled
from parcelfence.field.current import Chain
from parcelfence.field.tile_field import CELLS, size_at, tile_at
from parcelfence.field.tiles import Tiles

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["ReachProfile", "reach_profiles"]

_SHARP_TURN: Final = math.radians(20.0)
_TURNS_BESIDE: Final = tuple(math.radians(turn) for turn in (-60.0, -30.0, 30.0, 60.0))
_FIRST_STEP_M: Final = 1e-3
_TOLERANCE_M: Final = 1e-6
_MOST_STEPS: Final = 60
_SILENT: Final = 1e-9
_SURELY: Final = 1.4
"""In a cell at whose four corners the field is so many times the level, the receiver reacts: a cell is at most a
quarter of the slant reach wide, no place in it farther than 0.18 of that from a corner, and beside a straight wire the
field needs 0.29 of it to fall so far."""
_OFF_ITS_OWN_M: Final = 1e-6
"""A way that starts on a wire has left it after so much."""


@dataclass(frozen=True, eq=False)
class ReachProfile:
    """Reach measured square to the wire of one loop.

    Where the way square to the wire never leaves the signal before it meets the next wire, as beside a neighbouring
    leg of a corner, ways up to 60 degrees off are walked too and the shortest counts.  A reach is infinite where none
    of them leaves the signal: all ground to the next wire reacts.  It is nan where the receiver does not even react
    on the wire, because another run cancels it.

    Parameters
    ----------
    loop : int
        Number of the loop in the order given.
    station_m : ndarray, shape (n,)
        Chainage along the loop from its first vertex.
    points : ndarray, shape (n, 2)
        Places on the wire.
    inward : ndarray, shape (n, 2)
        Unit vectors square to the wire, towards the side that the loop encloses; at a sharp corner the bisector.
    reach_inside_m, reach_outside_m : ndarray, shape (n,)
        Distance from the wire along `inward`, and against it, at which the receiver first falls silent.
    """

    loop: int
    station_m: NDArray[np.float64]
    points: NDArray[np.float64]
    inward: NDArray[np.float64]
    reach_inside_m: NDArray[np.float64]
    reach_outside_m: NDArray[np.float64]

    @property
    def least_m(self) -> float:
        """Least reach on either side; nan if the wire is silent everywhere."""
        return float(np.fmin.reduce(self._both_sides))

    @property
    def greatest_m(self) -> float:
        """Greatest reach on either side, infinite where all ground to the next wire reacts."""
        return float(np.fmax.reduce(self._both_sides))

    @property
    def _both_sides(self) -> NDArray[np.float64]:
        return np.concatenate([self.reach_inside_m, self.reach_outside_m])


def reach_profiles(
    loops: Iterable[CurrentLoop],
    receiver: Receiver,
    *,
    interval_m: float = 1.0,
    level: float = 1.0,
    tiles: Tiles | None = None,
) -> tuple[ReachProfile, ...]:
    """Measure the reach along every loop.

    Parameters
    ----------
    loops : iterable of CurrentLoop
        All wires that carry the signal.
    receiver : Receiver
        Reach and height.
    interval_m : float
        Greatest distance of the places along the wire; corners that turn by more than 20 degrees are added.
    level : float
        Value of the normalised field; ``receiver.core_level`` gives the extent of the core zone.
    tiles : Tiles, optional
        The field of these loops, where it was prepared for their zones already.

    Returns
    -------
    tuple of ReachProfile
        One for each loop, in their order.
    """
    rows = list(loops)
    chain = Chain.of(rows)
    profiles = []
    for number, loop in enumerate(rows):
        station_m, points, inward = _places(loop, interval_m=interval_m)
        if not np.any(chain.currents):
            silent = np.full(len(points), np.nan)
            profiles.append(ReachProfile(number, station_m, points, inward, silent, silent))
            continue
        tiles = tiles or Tiles.of(chain, receiver=receiver, levels=[level])
        inside, outside = (
            _shortest_reaches(points, tiles, ways=ways, loop=loop, level=level) for ways in (inward, -inward)
        )
        profiles.append(ReachProfile(number, station_m, points, inward, inside, outside))
    return tuple(profiles)


def _places(
    loop: CurrentLoop, *, interval_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Stations, points and inward normals along a loop."""
    steps = np.diff(loop.closed_coordinates, axis=0)
    length_m = np.hypot(*steps.T)
    starts_m = np.concatenate([[0.0], np.cumsum(length_m)])
    left = np.column_stack([-steps[:, 1], steps[:, 0]]) / length_m[:, None]
    left *= 1.0 if LinearRing(loop.coordinates).is_ccw else -1.0
    bisector = left + np.roll(left, 1, axis=0)
    size = np.hypot(*bisector.T)
    sharp = np.flatnonzero((size < 2.0 * math.cos(_SHARP_TURN / 2.0)) & (size > 1e-9))  # noqa: PLR2004
    even_m = np.arange(math.ceil(starts_m[-1] / interval_m)) * interval_m
    even_m = even_m[np.abs(even_m[:, None] - starts_m[sharp]).min(axis=1, initial=np.inf) > interval_m / 4.0]
    segment = np.searchsorted(starts_m, even_m, side="right") - 1
    share = (even_m - starts_m[segment]) / length_m[segment]
    station_m = np.concatenate([even_m, starts_m[sharp]])
    points = np.vstack([loop.coordinates[segment] + share[:, None] * steps[segment], loop.coordinates[sharp]])
    inward = np.vstack([left[segment], bisector[sharp] / size[sharp, None]])
    order = np.argsort(station_m)
    return station_m[order], points[order], inward[order]


def _shortest_reaches(
    points: NDArray[np.float64], tiles: Tiles, *, ways: NDArray[np.float64], loop: CurrentLoop, level: float
) -> NDArray[np.float64]:
    """Reach along each way; where that is infinite, the shortest along the ways beside it on the same side."""
    reach_m = _reaches(points, tiles, ways=ways, level=level)
    endless = np.flatnonzero(np.isinf(reach_m))
    if not len(endless):
        return reach_m
    face = Polygon(loop.coordinates)
    shapely.prepare(face)
    side = _contains(face, points + _FIRST_STEP_M * ways)
    for turn in _TURNS_BESIDE:
        rotation = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        beside = ways[endless] @ rotation
        kept = _contains(face, points[endless] + _FIRST_STEP_M * beside) == side[endless]
        chosen = endless[kept]
        reach_m[chosen] = np.minimum(reach_m[chosen], _reaches(points[chosen], tiles, ways=beside[kept], level=level))
    return reach_m


def _contains(face: Polygon, points: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray(shapely.contains_xy(face, points[:, 0], points[:, 1]), dtype=np.bool_)


def _reaches(
    points: NDArray[np.float64], tiles: Tiles, *, ways: NDArray[np.float64], level: float
) -> NDArray[np.float64]:
    """Walk away from the wire until the field first falls to the level; infinite if a wire is met on the way."""
    strength_m = 2.0 * float(np.hypot(*(tiles.wire[2:4] - tiles.wire[0:2])) @ np.abs(tiles.wire[4]))
    end_m = math.sqrt(tiles.slant_m * strength_m / (2.0 * level)) + tiles.slant_m
    numbers = (level, tiles.slant_m / 8.0, end_m, tiles.whole_within_m)
    reach_m = np.empty(len(points))
    _walked(tiles.parts, tiles.lattice, points - tiles.origin, np.ascontiguousarray(ways), numbers, reach_m)
    return reach_m


@compiled
def _walked(parts: Any, lattice: Any, points: Any, ways: Any, numbers: Any, out: Any) -> None:
    """Fill `out` with the reach from each point along its way."""
    level, step, end, whole_within = numbers
    centres, starts, near, wire = parts[1], parts[3], parts[4], parts[5]
    for n in range(points.shape[0]):
        x, y, ray = points[n, 0], points[n, 1], (points[n, 0], points[n, 1], ways[n, 0], ways[n, 1])
        t = tile_at(parts, x, y)
        if not _reacts(lattice, parts, t, x, y, level) and size_at(parts, t, x, y) < level:
            out[n] = np.nan
            continue
        known = 0.0  # so far the next wire is known from the list of the tile alone
        if t >= 0:
            known = whole_within - math.hypot(x - centres[t, 0], y - centres[t, 1])
            next_wire = _to_wire(near[:, starts[t] : starts[t + 1]], points[n], ways[n])
        if t < 0 or known < step:
            known, next_wire = np.inf, _to_wire(wire, points[n], ways[n])
        begun = 0.0
        while True:
            stop = min(next_wire, known, end)
            out[n], begun = _first_silent(parts, lattice, ray, (begun, stop), (level, step))
            if out[n] < stop or stop == end or next_wire <= known:
                break
            known, next_wire = np.inf, _to_wire(wire, points[n], ways[n])


@compiled
def _first_silent(parts: Any, lattice: Any, ray: Any, span: Any, numbers: Any) -> Any:
    """Walk along a ray in even steps; give where the field first falls to the level, and the last step before that."""
    x, y, way_x, way_y = ray
    begin, stop = span
    level, step = numbers
    near = begin
    while near < stop:
        far = near + step
        px, py = x + far * way_x, y + far * way_y
        t = tile_at(parts, px, py)
        if not _reacts(lattice, parts, t, px, py, level):
            at_far = size_at(parts, t, px, py)
            if at_far < level:
                bx, by = x + near * way_x, y + near * way_y
                at_near = size_at(parts, tile_at(parts, bx, by), bx, by)
                reach = _fallen(parts, ray, (near, at_near), (far, at_far), level)
                return (reach if reach < stop else np.inf), near
        near = far
    return np.inf, near - step if near > begin else begin


@compiled
def _reacts(lattice: Any, parts: Any, t: int, x: float, y: float, level: float) -> Any:
    """Tell whether the corners of its cell alone say that the receiver reacts at a place on tile `t`."""
    if t < 0:
        return False
    centres, half = parts[1], parts[6]
    i = min(max(int((x - centres[t, 0] + half) * CELLS / (2.0 * half)), 0), CELLS - 1)
    j = min(max(int((y - centres[t, 1] + half) * CELLS / (2.0 * half)), 0), CELLS - 1)
    surely = _SURELY * level
    return (
        lattice[t, j, i] >= surely
        and lattice[t, j, i + 1] >= surely
        and lattice[t, j + 1, i] >= surely
        and lattice[t, j + 1, i + 1] >= surely
    )


@compiled
def _fallen(parts: Any, ray: Any, near: Any, far: Any, level: float) -> Any:
    """Find where the field falls to the level between two distances: false position with the Illinois rule on 1/f.

    That is nearly linear in the distance; an end that stays for a second time has its value halved, or the bracket
    would close from one side only.
    """
    x, y, way_x, way_y = ray
    low, high = near[0], far[0]
    at_low = level / near[1] - 1.0 if near[1] < np.inf else -1.0
    at_high = level / max(far[1], _SILENT) - 1.0
    slope, moved = (at_high - at_low) / (high - low), 0
    for _ in range(_MOST_STEPS):
        guess = (low * at_high - high * at_low) / (at_high - at_low)
        px, py = x + guess * way_x, y + guess * way_y
        value = level / size_at(parts, tile_at(parts, px, py), px, py) - 1.0
        if abs(value) <= _TOLERANCE_M * slope:
            return guess
        if value < 0.0:
            low, at_low, at_high = guess, value, at_high / 2.0 if moved < 0 else at_high
            moved = -1
        else:
            high, at_high, at_low = guess, value, at_low / 2.0 if moved > 0 else at_low
            moved = 1
    return (low * at_high - high * at_low) / (at_high - at_low)


@compiled
def _to_wire(wire: Any, point: Any, way: Any) -> Any:
    """Distance from a place on the wire along a way to the next wire; infinite if there is none."""
    nearest = np.inf
    for k in range(wire.shape[1]):
        ax, ay = wire[0, k] - point[0], wire[1, k] - point[1]
        ex, ey = wire[2, k] - wire[0, k], wire[3, k] - wire[1, k]
        across = way[0] * ey - way[1] * ex
        aside = ax * way[1] - ay * way[0]
        if across == 0.0:
            if abs(aside) < _OFF_ITS_OWN_M:  # the way runs along the stretch
                for along in (ax * way[0] + ay * way[1], (ax + ex) * way[0] + (ay + ey) * way[1]):
                    nearest = min(nearest, along) if along > _OFF_ITS_OWN_M else nearest
            continue
        if 0.0 <= aside / across <= 1.0:
            along = (ax * ey - ay * ex) / across
            nearest = min(nearest, along) if along > _OFF_ITS_OWN_M else nearest
    return nearest
