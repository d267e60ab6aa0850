"""A walk test beside the plan: points beside a wire, the reach as it is seen, and what the two say of the setting."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from parcelfence.errors import Fault, InputError
from parcelfence.field.current import CurrentLoop
from parcelfence.field.flux import inverse_field
from parcelfence.field.setting import longest_straight_middle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely import LineString, Point

    from parcelfence.field.current import Receiver
    from parcelfence.inputs.walk_file import WalkedStations
    from parcelfence.inputs.walk_stations import WalkedStation
    from parcelfence.layout.laid import LaidLoop

__all__ = ["points_beside", "reach_beside_m", "reach_seen_m"]


_STEP_M: Final = 0.01
_FARTHEST_REACHES: Final = 5.0
_END_M: Final = 0.5


def points_beside(
    walk: WalkedStations, *, planned: Sequence[LaidLoop], laid: Sequence[LaidLoop]
) -> NDArray[np.float64]:
    """Turn stations with distances into points.

    A station is a chainage of the plan, as its stakes show it; the distance was taped from the wire as it lies, square
    to it. A side that is not stated is that of the animal: inside a loop, outside an inner loop.

    Parameters
    ----------
    walk : WalkedStations
        Stations, distances and sides.
    planned, laid : sequence of LaidLoop
        Loops of the plan, and loops as laid; the same where nobody surveyed them.

    Returns
    -------
    ndarray, shape (n, 2)
        Points in the order of the walk.

    Raises
    ------
    InputError
        If a station is on no loop, or it is not clear on which; with all such faults.
    """
    faults: list[Fault] = []
    points: list[NDArray[np.float64]] = []
    for station in walk.stations:
        loop, fault = _loop_of(station, planned=planned)
        if loop is None:
            faults.append(Fault(where=walk.name, feature=f"line {station.line}", found=fault))
        else:
            points.append(_beside(station, loop=loop, laid=laid))
    if faults:
        raise InputError(faults)
    return np.array(points)


def _loop_of(station: WalkedStation, *, planned: Sequence[LaidLoop]) -> tuple[LaidLoop | None, str]:
    known = ", ".join(loop.loop_id for loop in planned)
    named = [loop for loop in planned if loop.loop_id.casefold() == station.loop_id.casefold()]
    if not station.loop_id and len(planned) > 1:
        return None, f"it names no loop, and the plan has several ({known}); name it in a column loop"
    if station.loop_id and not named:
        return None, f"there is no loop {station.loop_id!r} in the plan; known are: {known}"
    loop = named[0] if named else planned[0]
    if not -_END_M <= station.station_m <= loop.line.length + _END_M:
        return None, f"station {station.station_m:.1f} m is beyond loop {loop.loop_id} of {loop.line.length:.1f} m"
    return loop, ""


def _beside(station: WalkedStation, *, loop: LaidLoop, laid: Sequence[LaidLoop]) -> NDArray[np.float64]:
    place = loop.line.interpolate(min(max(station.station_m, 0.0), loop.line.length))
    nearest = min(laid, key=lambda one: one.line.distance(place))
    inside = station.side == "inside" or (not station.side and not loop.inner)
    foot, inward = _normal(nearest.line, place)
    return foot + inward * (station.distance_m if inside else -station.distance_m)


def _normal(line: LineString, place: Point) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nearest point of a closed line, with the unit normal towards the enclosed side."""
    return longest_straight_middle(CurrentLoop.from_line(line), at=(place.x, place.y))


def reach_seen_m(
    loops: Sequence[CurrentLoop], *, receiver: Receiver, seen_from: Literal["inside", "outside", "straight"]
) -> float | None:
    """Distance at which the signal ends beside the middle of the longest straight run of the first loop.

    The inverse of :func:`parcelfence.field.setting.reach_for_wanted`.

    Parameters
    ----------
    loops : sequence of CurrentLoop
        All wires; the first is the one that is walked up to.
    receiver : Receiver
        Its reach is that beside a long straight wire.
    seen_from : {"inside", "outside", "straight"}
        Side of the first loop; ``"straight"`` gives back the reach of the receiver.

    Returns
    -------
    float or None
        Metres; None where the signal does not end within five reaches.
    """
    if seen_from == "straight":
        return receiver.reach_m
    place, inward = longest_straight_middle(loops[0])
    return reach_beside_m(place, inward if seen_from == "inside" else -inward, loops=loops, receiver=receiver)


def reach_beside_m(
    place: NDArray[np.float64], direction: NDArray[np.float64], *, loops: Sequence[CurrentLoop], receiver: Receiver
) -> float | None:
    """Distance from a place on a wire at which the signal ends in a direction; None if it does not in five reaches."""
    steps_m = np.arange(_STEP_M, _FARTHEST_REACHES * receiver.reach_m, _STEP_M)
    inverse, _ = inverse_field(place + steps_m[:, None] * direction, loops, receiver=receiver)
    silent = np.flatnonzero(inverse > 1.0)
    if not len(silent) or not silent[0]:
        return None
    return float(np.interp(1.0, inverse[silent[0] - 1 : silent[0] + 1], steps_m[silent[0] - 1 : silent[0] + 1]))
