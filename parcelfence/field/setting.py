"""The setting that gives a wanted reach: what is walked beside a real loop is not what a lone straight wire gives."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely
from shapely import LinearRing, Point, Polygon

from parcelfence.errors import SettingsError
from parcelfence.field.current import CurrentLoop
from parcelfence.field.flux import flux_density
from parcelfence.lines import turn_angles

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = [
    "doubled_spacing_m",
    "longest_straight_middle",
    "reach_beside_return_run",
    "reach_for_return_run",
    "reach_for_wanted",
]

_STRAIGHT: Final = math.radians(2.0)
_CLOSE_M: Final = 1e-6
_SAMPLE_M: Final = 0.5
_OFF_M: Final = 1e-3
"""The way across begins this far off the wire, so that it does not end where it begins."""


def reach_for_wanted(
    loops: Sequence[CurrentLoop] | CurrentLoop,
    wanted_m: float,
    *,
    seen_from: Literal["inside", "outside", "straight"] = "straight",
    at: tuple[float, float] | None = None,
    height_m: float = 0.3,
) -> float:
    """Reach w beside a long straight wire at which a wanted reach is seen beside a real loop.

    Parameters
    ----------
    loops : CurrentLoop or sequence of CurrentLoop
        All wires; the first is the one beside which the reach is wanted.
    wanted_m : float
        Distance from the wire at which the receiver is to fall silent.
    seen_from : {"inside", "outside", "straight"}
        Side of the first loop; ``"straight"`` gives back the wanted reach, which is then w itself.
    at : (float, float), optional
        Place on the wire; by default the middle of its longest straight run.
    height_m : float
        Height of the receiver.

    Returns
    -------
    float
        w in metres.  The field at the wanted place sets it directly: sqrt(w^2 + h^2) = mu0 I / (2 pi |B|).

    Raises
    ------
    SettingsError
        If the wires cancel each other there, or the wanted distance needs no field at all at that height.
    """
    if seen_from == "straight":
        return wanted_m
    rows = [loops] if isinstance(loops, CurrentLoop) else list(loops)
    place, inward = longest_straight_middle(rows[0], at=at)
    point = place + inward * (wanted_m if seen_from == "inside" else -wanted_m)
    density = float(np.linalg.norm(flux_density([[*point, height_m]], rows)))
    slant_m = 1.0 / density if density > 0.0 else math.inf
    if not height_m < slant_m < math.inf:
        raise SettingsError(
            f"A reach of {wanted_m:g} m seen from {seen_from} cannot be set beside this loop at a receiver height of "
            f"{height_m:g} m: the field there answers to a distance of {slant_m:g} m. Choose another reach or place."
        )
    return math.sqrt(slant_m**2 - height_m**2)


def reach_for_return_run(wanted_m: float, *, spacing_m: float, height_m: float = 0.0) -> float:
    """Reach w that gives a wanted reach outside a wire whose return run lies behind it.

    The field of two long wires with opposite currents at spacing s, seen from distance x of the nearer one, is
    mu0 I / (2 pi) s / (d1 d2) with the slant distances d1, d2; at height 0 this is w = x (x + s) / s.

    Parameters
    ----------
    wanted_m : float
        Horizontal distance x from the nearer run.
    spacing_m : float
        Distance s of the two runs.
    height_m : float
        Height of the receiver.

    Returns
    -------
    float
        w in metres.
    """
    slant_m = math.hypot(wanted_m, height_m) * math.hypot(wanted_m + spacing_m, height_m) / spacing_m
    return math.sqrt(slant_m**2 - height_m**2)


def reach_beside_return_run(reach_m: float, *, spacing_m: float, height_m: float = 0.0) -> float:
    """Reach outside a wire whose return run lies behind it: the inverse of :func:`reach_for_return_run`.

    Returns
    -------
    float
        Metres from the nearer run; 0 where the receiver reacts nowhere outside.
    """
    slant_m = math.hypot(reach_m, height_m)
    low_m, high_m = 0.0, reach_m
    if height_m * math.hypot(spacing_m, height_m) >= spacing_m * slant_m:
        return 0.0
    while high_m - low_m > _CLOSE_M:
        middle_m = (low_m + high_m) / 2.0
        field = spacing_m * slant_m / (math.hypot(middle_m, height_m) * math.hypot(middle_m + spacing_m, height_m))
        low_m, high_m = (middle_m, high_m) if field > 1.0 else (low_m, middle_m)
    return (low_m + high_m) / 2.0


def doubled_spacing_m(loops: Sequence[CurrentLoop]) -> float:
    """Spacing at which doubled-back loops really lie: the median way across, from all along them.

    Parameters
    ----------
    loops : sequence of CurrentLoop
        Each goes along one side of a band and comes back along the other.

    Returns
    -------
    float
        Metres.  The ends of a band, where the wire turns back, are too short to count.
    """
    ways: list[float] = []
    for loop in loops:
        ring = shapely.orient_polygons(Polygon(loop.coordinates)).exterior
        xy = shapely.get_coordinates(shapely.segmentize(ring, _SAMPLE_M))
        steps = np.diff(xy, axis=0)
        inward = np.stack([-steps[:, 1], steps[:, 0]], axis=1) / np.hypot(*steps.T)[:, None]
        middles = (xy[:-1] + xy[1:]) / 2.0
        ends = np.stack([middles + _OFF_M * inward, middles + loop.length_m / 2.0 * inward], axis=1)
        hits = np.asarray(shapely.intersection(shapely.linestrings(ends), ring), dtype=object)
        distance_m = shapely.distance(shapely.points(middles), hits)
        ways += distance_m[np.isfinite(distance_m)].tolist()
    return float(np.median(ways))


def longest_straight_middle(
    loop: CurrentLoop, *, at: tuple[float, float] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middle of the longest straight run, or the place on the wire nearest to `at`; with the inward unit normal.

    Parameters
    ----------
    loop : CurrentLoop
        The wire; runs that turn by less than 2 degrees at a vertex count as straight.
    at : (float, float), optional
        A place near the wire.

    Returns
    -------
    place, inward : ndarray, shape (2,)
        Point on the wire, and unit vector square to it towards the enclosed side.
    """
    steps = np.diff(loop.closed_coordinates, axis=0)
    length_m = np.hypot(*steps.T)
    starts_m = np.concatenate([[0.0], np.cumsum(length_m)])
    middle_m = _longest_middle_m(steps, length_m) if at is None else _station_m(loop, at)
    segment = int(np.clip(np.searchsorted(starts_m, middle_m, side="right") - 1, 0, len(steps) - 1))
    along = steps[segment] / length_m[segment]
    inward = np.array([-along[1], along[0]]) * (1.0 if LinearRing(loop.coordinates).is_ccw else -1.0)
    return loop.coordinates[segment] + along * (middle_m - starts_m[segment]), inward


def _station_m(loop: CurrentLoop, at: tuple[float, float]) -> float:
    return float(loop.ring.project(Point(at)))


def _longest_middle_m(steps: NDArray[np.float64], length_m: NDArray[np.float64]) -> float:
    """Station of the middle of the longest run without a bend; the run may pass the start of the loop."""
    before = np.roll(steps, 1, axis=0)
    turn = turn_angles(before, steps)
    bends = np.flatnonzero(np.abs(turn) > _STRAIGHT)
    total_m = float(length_m.sum())
    if not len(bends):
        return 0.0
    starts_m = (np.cumsum(length_m) - length_m)[bends]
    runs_m = np.diff(np.append(starts_m, starts_m[0] + total_m))
    longest = int(runs_m.argmax())
    return float((starts_m[longest] + runs_m[longest] / 2.0) % total_m)
