"""How long an animal is warned before it meets the strong part of the signal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from parcelfence.field.profile import reach_profiles

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["reach_for_warning_m", "warning_time_s", "warning_times_s"]


def warning_time_s(receiver: Receiver, *, speed_m_per_s: float) -> float:
    """Time from the edge of the signal zone to the edge of the core zone beside a long straight wire.

    Parameters
    ----------
    receiver : Receiver
        Reach and core ratio.
    speed_m_per_s : float
        Speed at which the animal walks straight at the wire.

    Returns
    -------
    float
        Seconds; the receiver's own delay has still to be taken off.
    """
    return receiver.reach_m * (1.0 - receiver.core_ratio) / speed_m_per_s


def reach_for_warning_m(wanted_s: float, *, speed_m_per_s: float, core_ratio: float) -> float:
    """Reach beside a long straight wire that gives a wanted warning time, the receiver's delay included in it."""
    return wanted_s * speed_m_per_s / (1.0 - core_ratio)


def warning_times_s(
    loops: Iterable[CurrentLoop], receiver: Receiver, *, speed_m_per_s: float, interval_m: float = 2.0
) -> tuple[NDArray[np.float64], ...]:
    """Warning times from inside, in the field of the real loops, along the wire of each loop.

    Parameters
    ----------
    loops : iterable of CurrentLoop
        All wires that carry the signal.
    receiver : Receiver
        Reach, height and core ratio.
    speed_m_per_s : float
        Speed at which the animal walks straight at the wire.
    interval_m : float
        Greatest distance of the places along the wire.

    Returns
    -------
    tuple of ndarray
        Seconds at the stations that :func:`~parcelfence.field.profile.reach_profiles` gives for the same interval;
        infinite where the animal cannot come from free ground, nan where the wire is silent.
    """
    rows = list(loops)
    signal = reach_profiles(rows, receiver, interval_m=interval_m)
    core = reach_profiles(rows, receiver, interval_m=interval_m, level=receiver.core_level)
    return tuple(
        np.where(np.isinf(outer.reach_inside_m), np.inf, outer.reach_inside_m - np.nan_to_num(inner.reach_inside_m))
        / speed_m_per_s
        for outer, inner in zip(signal, core, strict=True)
    )
