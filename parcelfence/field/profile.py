"""The true reach along the wire, on both sides: where corners stretch it and facing runs weaken it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from parcelfence.field.current import Chain
from parcelfence.field.flux import normalised_field
from parcelfence.field.roots import bracketed_zeros

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["ReachProfile", "reach_profiles"]

_SHARP_TURN: Final = math.radians(20.0)
_TURNS_BESIDE: Final = tuple(math.radians(turn) for turn in (-60.0, -30.0, 30.0, 60.0))
_FIRST_STEP_M: Final = 1e-3
_TOLERANCE_M: Final = 1e-6
_STEPS_IN_A_STRIDE: Final = 10


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
    loops: Iterable[CurrentLoop], receiver: Receiver, *, interval_m: float = 1.0, level: float = 1.0
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
        inside, outside = (
            _shortest_reaches(points, chain, ways=ways, loop=loop, receiver=receiver, level=level)
            for ways in (inward, -inward)
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
    points: NDArray[np.float64],
    chain: Chain,
    *,
    ways: NDArray[np.float64],
    loop: CurrentLoop,
    receiver: Receiver,
    level: float,
) -> NDArray[np.float64]:
    """Reach along each way; where that is infinite, the shortest along the ways beside it on the same side."""
    reach_m = _reaches(points, chain, ways=ways, receiver=receiver, level=level)
    endless = np.flatnonzero(np.isinf(reach_m))
    face = Polygon(loop.coordinates)
    shapely.prepare(face)
    side = _contains(face, points + _FIRST_STEP_M * ways)
    for turn in _TURNS_BESIDE:
        rotation = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        beside = ways[endless] @ rotation
        kept = _contains(face, points[endless] + _FIRST_STEP_M * beside) == side[endless]
        chosen = endless[kept]
        beside_m = _reaches(points[chosen], chain, ways=beside[kept], receiver=receiver, level=level)
        reach_m[chosen] = np.minimum(reach_m[chosen], beside_m)
    return reach_m


def _contains(face: Polygon, points: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray(shapely.contains_xy(face, points[:, 0], points[:, 1]), dtype=np.bool_)


def _reaches(
    points: NDArray[np.float64], chain: Chain, *, ways: NDArray[np.float64], receiver: Receiver, level: float
) -> NDArray[np.float64]:
    """Walk away from the wire until the field first falls to the level; infinite if a wire is met on the way."""
    end_m = math.sqrt(receiver.slant_m * chain.strength_m / (2.0 * level)) + receiver.slant_m
    step_m = receiver.slant_m / 8.0

    def field(distance_m: NDArray[np.float64], which: NDArray[np.intp]) -> NDArray[np.float64]:
        return normalised_field(points[which] + distance_m[:, None] * ways[which], chain, receiver=receiver)

    near_m, at_near = np.zeros(len(points)), field(np.zeros(len(points)), np.arange(len(points)))
    far_m, at_far = np.full(len(points), np.inf), np.zeros(len(points))
    reach_m = np.where(at_near >= level, np.inf, np.nan)
    walking = np.flatnonzero(at_near >= level)
    for stride in range(math.ceil(end_m / (step_m * _STEPS_IN_A_STRIDE))):
        if not len(walking):
            break
        ahead_m = near_m[walking, None] + step_m * np.arange(_STEPS_IN_A_STRIDE + 1)
        ahead = field(ahead_m[:, 1:].ravel(), np.repeat(walking, _STEPS_IN_A_STRIDE))
        ahead = np.column_stack([at_near[walking], ahead.reshape(len(walking), -1)])
        row, fell = np.arange(len(walking)), np.any(ahead < level, axis=1)
        last = np.where(fell, np.argmax(ahead < level, axis=1), _STEPS_IN_A_STRIDE)
        far_m[walking[fell]], at_far[walking[fell]] = ahead_m[row, last][fell], ahead[row, last][fell]
        last -= fell
        near_m[walking], at_near[walking] = ahead_m[row, last], ahead[row, last]
        walking = walking[~fell]
        if stride:
            reached = points[walking] + near_m[walking, None] * ways[walking]
            walking = np.delete(walking, _meets_wire(points[walking], chain, ends=reached))
    found = np.flatnonzero(np.isfinite(far_m))
    reach_m[found] = bracketed_zeros(
        lambda distance_m, which: level / field(distance_m, found[which]) - 1.0,
        low=np.column_stack([near_m, level / at_near - 1.0])[found],
        high=np.column_stack([far_m, level / np.maximum(at_far, 1e-9) - 1.0])[found],
        tolerance=_TOLERANCE_M,
    )
    reach_m[found[_meets_wire(points[found], chain, ends=points[found] + reach_m[found, None] * ways[found])]] = np.inf
    return reach_m


def _meets_wire(points: NDArray[np.float64], chain: Chain, *, ends: NDArray[np.float64]) -> NDArray[np.intp]:
    """Give the numbers of the straight ways that meet a wire after they have left their own."""
    starts, steps = chain.vertices[:-1][chain.currents != 0.0], chain.steps[chain.currents != 0.0]
    wires = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([starts, starts + steps], axis=1))))
    left = points + 1e-6 * (ends - points)
    way, _ = wires.query(shapely.linestrings(np.stack([left, ends], axis=1)), predicate="intersects")
    return np.unique(way)
