"""How a wire differs from its plan: its offset along the way, and where it is more than a tolerance off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.rules.wire import Wire
from parcelfence.wording import Wording

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.layout.loop import Loop, Run
    from parcelfence.rules.wire import Stretch
    from parcelfence.settings import Settings

__all__ = ["Differences", "differences", "off_plan_remarks"]

RULE = "off-plan"
_ONE_PLACE_M: Final = 10.0
"""A wire surveyed unevenly is off and on the plan by turns; so much is one place to walk to (from memory)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Differences:
    """Offsets of a wire from its plan.

    Parameters
    ----------
    runs : tuple of Run
        Runs of the wire.
    run_of : ndarray of int, shape (n,)
        Run of each measured point.
    station_m : ndarray, shape (n,)
        Its chainage.
    points : ndarray of Point, shape (n,)
        The points, half a metre apart or less.
    offset_m : ndarray, shape (n,)
        Distance to the nearest wire of the plan, positive outside the planned loop, negative inside.
    off : tuple of Stretch
        Stretches of the wire more than the tolerance off, with minus the greatest distance as their value.
    missed : tuple of Stretch
        Stretches of the plan that no wire comes near.
    length_m, planned_length_m : float
        Length on the ground of all runs.
    """

    runs: tuple[Run, ...]
    run_of: NDArray[np.int64]
    station_m: NDArray[np.float64]
    points: NDArray[np.object_]
    offset_m: NDArray[np.float64]
    off: tuple[Stretch, ...]
    missed: tuple[Stretch, ...]
    length_m: float
    planned_length_m: float

    @property
    def greatest_m(self) -> float:
        """Greatest distance from the plan."""
        return float(np.abs(self.offset_m).max(initial=0.0))

    @property
    def root_mean_square_m(self) -> float:
        """Root mean square of the distances."""
        return float(np.sqrt(np.mean(self.offset_m**2))) if len(self.offset_m) else 0.0


def differences(loop: Loop, planned: Loop, *, tolerance_m: float) -> Differences:
    """Compare a wire with its plan.

    Parameters
    ----------
    loop : Loop
        As drawn or as built.
    planned : Loop
        As planned, in the same CRS.
    tolerance_m : float
        Offsets up to this are left alone.
    """
    wire, plan = Wire.of(loop), Wire.of(planned)
    apart_m, points = _apart(wire, planned)
    missing_m, _ = _apart(plan, loop)
    shapely.prepare(planned.enclosed)
    inside = shapely.contains(planned.enclosed, points)
    off, missed = np.flatnonzero(apart_m > tolerance_m), np.flatnonzero(missing_m > tolerance_m)
    return Differences(
        runs=wire.runs,
        run_of=wire.run_of,
        station_m=wire.start_m,
        points=points,
        offset_m=np.where(inside, -apart_m, apart_m),
        off=wire.stretches(off, values=-apart_m[off], gap_m=_ONE_PLACE_M),
        missed=plan.stretches(missed, values=-missing_m[missed], gap_m=_ONE_PLACE_M),
        length_m=sum(run.line.length for run in loop.runs),
        planned_length_m=sum(run.line.length for run in planned.runs),
    )


def _apart(wire: Wire, other: Loop) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Distance of the start of every piece to the like part of another loop: a pair to pairs, single wire to single."""
    points = np.asarray(shapely.get_point(wire.pieces, 0), dtype=object)
    apart_m = np.full(len(points), np.inf)
    for twisted in (False, True):
        lines = [run.line for run in other.runs if run.twisted == twisted]
        own = wire.twisted == twisted
        if lines and own.any():
            apart_m[own] = shapely.distance(shapely.union_all(lines), points[own])
    return np.where(np.isfinite(apart_m), apart_m, _nearest_any(points, other)), points


def _nearest_any(points: NDArray[np.object_], other: Loop) -> NDArray[np.float64]:
    return np.asarray(shapely.distance(shapely.union_all([run.line for run in other.runs]), points), dtype=np.float64)


def off_plan_remarks(found: Differences, *, settings: Settings, tolerance_m: float) -> tuple[Conflict, ...]:
    """Turn the places that are off the plan into remarks, which become conflict rows."""
    words = Wording(settings, several_runs=True)
    allowed = words.length(tolerance_m)
    off = [
        Conflict(
            rule=RULE,
            severity="caution",
            message=f"The wire lies up to {words.length(-stretch.measured)} off the plan {words.along(stretch)}; "
            f"{allowed} is allowed for.",
            remedy="Move it, or check this place by its other rows and leave it.",
            geometry=stretch.line,
            layer="wire",
            feature=stretch.run.loop_id,
            measured=-stretch.measured,
            limit=tolerance_m,
        )
        for stretch in found.off
    ]
    missed = [
        Conflict(
            rule=RULE,
            severity="caution",
            message=f"No wire lies within {allowed} of the plan {words.along(stretch)} (stations of the plan); "
            f"the nearest is {words.length(-stretch.measured)} away.",
            remedy="Check whether this part was left out.",
            geometry=stretch.line,
            layer="wire",
            feature=stretch.run.loop_id,
            measured=-stretch.measured,
            limit=tolerance_m,
        )
        for stretch in found.missed
    ]
    return (*off, *missed)
