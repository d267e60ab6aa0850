"""Labour: hours of the crew by its own rates."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parcelfence.takeoff.trench import BY_HAND, SOIL

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parcelfence.layout.crossing import Crossing
    from parcelfence.takeoff.leg import Sequence

__all__ = ["labour_hours"]


def labour_hours(
    trench_m_by_surface: tuple[tuple[str, float], ...],
    *,
    sequence: Sequence,
    crossings: tuple[Crossing, ...],
    flags: int,
    crew: Mapping[str, float],
) -> dict[str, float]:
    """Work out the hours of each kind of work.

    Parameters
    ----------
    trench_m_by_surface : tuple of (str, float)
        From :func:`parcelfence.takeoff.trench.trenches`.
    sequence : Sequence
        Legs and splices.
    crossings : tuple of Crossing
        Hard surfaces are cut, utilities take their own time.
    flags : int
        Number of flags.
    crew : mapping of str to float
        Checked rates.

    Returns
    -------
    dict of str to float
        Hours by name of the rate; only work for which a rate is given.
    """
    trench_m = dict(trench_m_by_surface)
    by_hand_m = trench_m.get(BY_HAND, 0.0)
    quick_m = trench_m.get(SOIL, 0.0) + (0.0 if "hand_dig_m_per_hour" in crew else by_hand_m)
    amounts = {
        "trench_m_per_hour": quick_m,
        "hand_dig_m_per_hour": by_hand_m,
        "saw_cut_m_per_hour": sum(crossing.length_m for crossing in crossings if crossing.layer == "hardscape"),
        "wire_m_per_hour": sum(leg.ground_length_m for leg in sequence.legs),
        "flags_per_hour": float(flags),
        "joints_per_hour": float(sequence.joints),
    }
    hours = {name: amount / crew[name] for name, amount in amounts.items() if name in crew}
    if "crossing_hours" in crew:
        count = sum(crossing.layer == "utilities" for crossing in crossings)
        hours["crossing_hours"] = count * crew["crossing_hours"]
    if "setup_hours" in crew:
        hours["setup_hours"] = crew["setup_hours"]
    return hours
