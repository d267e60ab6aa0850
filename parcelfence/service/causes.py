"""Causes of a weak signal along a stretch of wire, each as a change of the wires in a few sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString

from parcelfence.field.current import CurrentLoop

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.service.written_plan import WrittenPlan

__all__ = ["Surroundings", "Variant", "WeakStretch", "surroundings", "variants"]

_NEAR_REACHES: Final = 8.0
"""What lies farther from a stretch does not change its field by a tenth: two wires at eight reaches add 1 / 8."""
_EARTH_RETURN_M: Final = 66.0
"""Depth at which the ground carries the return of an induced current, 658 sqrt(rho / f) of Carson (1926), from memory,
for 100 ohm metres and 10 kHz."""
_FENCE_RADIUS_M: Final = 0.3
"""Of one wire that would carry as much as a fence of several (from memory)."""
_TOUCHES_M: Final = 1.0
"""A splice can touch a run that lies no farther: its tails stick out, and places are no better known (from memory)."""
_SAME_RUN_M: Final = 5.0
"""Along the wire; nearer than that it is the run of the splice itself."""
_STEP_M: Final = 1.0
_SIZES_M: Final = (0.3, 0.6, 1.0, 1.5, 2.0, 3.0)
_DEEPER_M: Final = (0.1, 0.2, 0.3, 0.45, 0.6)
_ASIDE_M: Final = tuple(sign * step / 5.0 for step in range(1, 9) for sign in (-1.0, 1.0))
_BESIDE_M: Final = (-2.0, -1.0, -0.4, 0.4, 1.0, 2.0)
_SHARES: Final = tuple(step / 10.0 for step in range(1, 11))
_BYPASSED: Final = tuple(step / 20.0 for step in range(1, 20))
_OTHER: Final = (-1.0, -0.7, -0.5, -0.35, -0.2, -0.1, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0)


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What lies near the wire and may change its field.

    Parameters
    ----------
    metal : tuple of (str, BaseGeometry)
        Fences and other metal, each with its name.
    other_loops : tuple of (str, BaseGeometry)
        Wires of neighbours, each with its name.
    splices : tuple of (str, Point)
        Splices of the wire, each with its name.
    loop_ids : tuple of str
        Names of the loops, in their order.
    """

    metal: tuple[tuple[str, BaseGeometry], ...] = ()
    other_loops: tuple[tuple[str, BaseGeometry], ...] = ()
    splices: tuple[tuple[str, BaseGeometry], ...] = ()
    loop_ids: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Variant:
    """One cause in one size.

    Parameters
    ----------
    kind : str
        Which cause, see :class:`parcelfence.service.signal_trouble.Cause`.
    wires : tuple of CurrentLoop
        All wires, with what the cause adds to them.
    about : str
        Feature that it concerns; empty if none.
    size : float
        Metres, or a share of the current.
    deeper_m : float
        How much deeper the stretch lies.
    """

    kind: str
    wires: tuple[CurrentLoop, ...]
    about: str = ""
    size: float = 0.0
    deeper_m: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class WeakStretch:
    """A stretch of one loop.

    Parameters
    ----------
    loops : tuple of CurrentLoop
        All wires, as they are drawn.
    loop : int
        The loop on which it lies.
    start_m, end_m : float
        Chainages; the stretch may lead over the beginning of the loop.
    reach_m : float
        Reach that is set.
    """

    loops: tuple[CurrentLoop, ...]
    loop: int
    start_m: float
    end_m: float
    reach_m: float

    @property
    def own(self) -> CurrentLoop:
        """The loop itself."""
        return self.loops[self.loop]

    @property
    def inwards(self) -> float:
        """1 where the inside lies to the left of the loop's direction, else -1."""
        return 1.0 if self.own.ring.is_ccw else -1.0

    @cached_property
    def line(self) -> LineString:
        """The stretch as a line."""
        steps_m = np.arange(self.start_m, self.end_m + _STEP_M / 2, _STEP_M / 2) % self.own.length_m
        return LineString([self.own.ring.interpolate(at_m) for at_m in steps_m])

    def holds(self, station_m: NDArray[np.float64], *, beyond_m: float = 0.0) -> NDArray[np.bool_]:
        """Tell which chainages lie on it, or no farther beyond its ends."""
        after_m = (station_m - self.start_m + beyond_m) % self.own.length_m
        return np.asarray(after_m <= self.end_m - self.start_m + 2.0 * beyond_m)


def surroundings(plan: WrittenPlan, *, loop_ids: tuple[str, ...] = ()) -> Surroundings:
    """Take what lies near the wire from the layers of a written plan; `loop_ids` names the loops that were walked."""

    def named(layer: str) -> tuple[tuple[str, BaseGeometry], ...]:
        found = plan.features(layer) if layer in plan.summary.get("layers", {}) else ()
        return tuple((_name(str(words.get("kind") or ""), str(words.get("id") or "")), shape) for shape, words in found)

    return Surroundings(
        metal=(*named("metal"), *named("fences")),
        other_loops=named("other_loops"),
        splices=named("splices"),
        loop_ids=loop_ids,
    )


def _name(kind: str, identifier: str) -> str:
    """Name a feature by kind and identifier, once where they begin alike."""
    kind = kind.replace("_", " ")
    return identifier if identifier.replace("_", " ").startswith(kind) else f"{kind} {identifier}"


def variants(stretch: WeakStretch, around: Surroundings) -> Iterator[Variant]:
    """Give every cause in its sizes.

    The first is that nothing is wrong with the wire.
    """
    drawn = stretch.loops
    yield Variant(kind="mistaken", wires=drawn)
    for deeper_m in _DEEPER_M:
        yield Variant(kind="deeper", size=deeper_m, wires=drawn, deeper_m=deeper_m)
    for aside_m in _ASIDE_M:
        moved = _moved(stretch, aside_m)
        yield Variant(kind="aside", size=aside_m, wires=_with(drawn, moved, number=stretch.loop))
    facing = _facing(stretch)
    if facing is not None:
        for nearer_m in _SIZES_M:
            yield Variant(kind="facing-run", size=nearer_m, wires=_nearer(stretch, facing, nearer_m=nearer_m))
    yield from _metal(stretch, around)
    yield from _bypassed(stretch, around)
    yield from _shorted(stretch, around)
    for name, shape in around.other_loops:
        if shape.distance(stretch.line) <= _NEAR_REACHES * stretch.reach_m:
            for share in _OTHER:
                other = CurrentLoop(shapely.get_coordinates(shape), share)
                yield Variant(kind="other-loop", about=name, size=share, wires=(*drawn, other))


def _bypassed(stretch: WeakStretch, around: Surroundings) -> Iterator[Variant]:
    """Give loops of which a bad joint or a short in the lead-in keeps part of the current: this one, or one near it."""
    if len(stretch.loops) < 2:  # noqa: PLR2004  (the whole wire of a single loop has one current: a lower level)
        return
    for number, loop in enumerate(stretch.loops):
        own = number == stretch.loop
        if own or loop.ring.distance(stretch.line) <= _NEAR_REACHES * stretch.reach_m:
            about = "" if own else dict(enumerate(around.loop_ids)).get(number, f"number {number + 1}")
            for share in _BYPASSED:
                weaker = CurrentLoop(loop.coordinates, loop.current * (1.0 - share))
                yield Variant(
                    kind="bypassed-loop", about=about, size=share, wires=_with(stretch.loops, weaker, number=number)
                )


def _shorted(stretch: WeakStretch, around: Surroundings) -> Iterator[Variant]:
    """Give splices that touch the run beside them: part of the current takes the short way, past the stretch."""
    for name, place in around.splices:
        turn = _turn(stretch, shapely.get_coordinates(place)[0])
        if turn is None:
            continue
        for share in _BYPASSED:
            past = CurrentLoop(turn, -share * stretch.own.current)  # what the short carries closes it
            yield Variant(kind="shorted-turn", about=name, size=share, wires=(*stretch.loops, past))


def _turn(stretch: WeakStretch, splice_xy: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Give the part of the loop with the stretch that lies between a splice and the run beside it; None for none."""
    ring, length_m = stretch.own.ring, stretch.own.length_m
    splice = shapely.Point(splice_xy)
    xy, station_m = _dense(stretch.own)
    apart_m = np.hypot(*(xy - splice_xy).T)
    after_m = (station_m - ring.project(splice)) % length_m
    beside = (apart_m <= _TOUCHES_M) & (np.minimum(after_m, length_m - after_m) > _SAME_RUN_M)
    if ring.distance(splice) > _TOUCHES_M or not beside.any():
        return None
    end_m = float(after_m[beside][apart_m[beside].argmin()])
    order = np.argsort(after_m)
    middle_m = ((stretch.start_m + stretch.end_m) / 2.0 - ring.project(splice)) % length_m
    within = order[after_m[order] <= end_m] if middle_m <= end_m else order[after_m[order] >= end_m]
    return xy[within]


def _metal(stretch: WeakStretch, around: Surroundings) -> Iterator[Variant]:
    """Give metal beside the stretch, known and unknown: it carries an induced current against that of the wire."""
    for name, shape in around.metal:
        known = _beside(shape, stretch.line, within_m=_NEAR_REACHES / 2 * stretch.reach_m)
        if known is not None:
            for share in _SHARES:
                wires = (*stretch.loops, _induced(stretch, known, share=share))
                yield Variant(kind="metal", about=name, size=share, wires=wires)
    for beside_m in _BESIDE_M:
        line = stretch.line.offset_curve(stretch.inwards * beside_m)
        if isinstance(line, LineString) and not line.is_empty:
            for share in _SHARES:
                wires = (*stretch.loops, _induced(stretch, line, share=share))
                yield Variant(kind="unknown-metal", size=beside_m, wires=wires)


def _induced(stretch: WeakStretch, line: LineString, *, share: float) -> CurrentLoop:
    """Close a line of metal through the ground, with the current that the wire induces in it.

    A long earthed conductor at the distance s carries ln(D / s) / ln(D / a) of the current, against it: its mutual
    inductance with the wire over its own, both with their return in the ground at the depth D.
    """
    apart_m = max(float(stretch.own.ring.distance(line.interpolate(0.5, normalized=True))), 0.1)
    most = min(math.log(_EARTH_RETURN_M / apart_m) / math.log(_EARTH_RETURN_M / _FENCE_RADIUS_M), 1.0)
    along = stretch.line.project(shapely.get_point(line, 0)) <= stretch.line.project(shapely.get_point(line, -1))
    xy = shapely.get_coordinates(line if along else line.reverse())
    step = xy[-1] - xy[0]
    square = np.array([step[1], -step[0]]) / max(float(np.hypot(*step)), 1e-9)
    away = square * _EARTH_RETURN_M * stretch.inwards  # to the right of the wire where its inside is to the left
    return CurrentLoop(np.vstack([xy, xy[-1] + away, xy[0] + away]), -share * most * stretch.own.current)


def _beside(shape: BaseGeometry, stretch: LineString, *, within_m: float) -> LineString | None:
    """Give the part of a shape that lies along the stretch; None where none does."""
    lines = shapely.boundary(shape) if shapely.get_dimensions(shape) == 2 else shape  # noqa: PLR2004  (an area)
    near = shapely.line_merge(shapely.intersection(lines, stretch.buffer(within_m)))
    parts = [part for part in shapely.get_parts(near) if isinstance(part, LineString) and part.length > _STEP_M]
    return max(parts, key=lambda part: part.length, default=None)


def _with(loops: tuple[CurrentLoop, ...], changed: CurrentLoop, *, number: int) -> tuple[CurrentLoop, ...]:
    return (*loops[:number], changed, *loops[number + 1 :])


def _dense(loop: CurrentLoop) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give vertices a metre apart at most, shape (n, 2), with their chainage."""
    line = shapely.segmentize(LineString(loop.closed_coordinates), _STEP_M)
    xy = shapely.get_coordinates(line)[:-1]
    steps = np.hypot(*np.diff(xy, axis=0).T)
    return xy, np.concatenate([[0.0], np.cumsum(steps)])


def _moved(stretch: WeakStretch, aside_m: float) -> CurrentLoop:
    """Move the stretch inwards; the rest stays."""
    xy, station_m = _dense(stretch.own)
    step = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    inward = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None] * stretch.inwards
    return CurrentLoop(xy + inward * aside_m * stretch.holds(station_m)[:, None], stretch.own.current)


def _facing(stretch: WeakStretch) -> tuple[int, NDArray[np.bool_]] | None:
    """Find the run that faces the stretch: of another loop, or of the same one farther along the wire."""
    near_m = _NEAR_REACHES * stretch.reach_m
    found: list[tuple[float, int, NDArray[np.bool_]]] = []
    for number, loop in enumerate(stretch.loops):
        xy, station_m = _dense(loop)
        places = shapely.points(xy)
        apart_m = np.asarray(shapely.distance(stretch.line, places))
        foot_m = shapely.line_locate_point(stretch.line, places)
        facing = (apart_m <= near_m) & (foot_m > 0.0) & (foot_m < stretch.line.length)
        if number == stretch.loop:
            facing &= ~stretch.holds(station_m, beyond_m=_SAME_RUN_M)
        if facing.any():
            least_m = float(apart_m[facing].min())
            found.append((least_m, number, facing & (apart_m <= least_m + stretch.reach_m)))
    return min(found, key=itemgetter(0))[1:] if found else None


def _nearer(stretch: WeakStretch, facing: tuple[int, NDArray[np.bool_]], *, nearer_m: float) -> tuple[CurrentLoop, ...]:
    """Move the facing run towards the stretch, no farther than to a fifth of the way from it."""
    number, moved = facing
    loop = stretch.loops[number]
    xy, _ = _dense(loop)
    feet = shapely.get_coordinates(
        shapely.line_interpolate_point(stretch.line, shapely.line_locate_point(stretch.line, shapely.points(xy)))
    )
    towards = feet - xy
    apart_m = np.hypot(*towards.T)
    share = np.minimum(nearer_m / np.maximum(apart_m, 1e-9), 0.8) * moved
    return _with(stretch.loops, CurrentLoop(xy + towards * share[:, None], loop.current), number=number)
