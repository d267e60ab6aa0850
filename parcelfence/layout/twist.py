"""The twist of the lead-in: what wire a pair of conductors takes that turn about each other."""

from __future__ import annotations

import math

from parcelfence.units import FOOT_M

__all__ = ["gauge_diameter_m", "lay_m", "take_up_factor"]


def gauge_diameter_m(gauge_awg: int) -> float:
    """Diameter of a solid conductor: 0.127 mm times 92^((36 - n) / 39), the law of ASTM B258 (from memory)."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge_awg) / 39))


def lay_m(twists_per_foot: float) -> float:
    """Length of one full twist."""
    return FOOT_M / twists_per_foot


def take_up_factor(spacing_m: float, *, twists_per_foot: float) -> float:
    """Wire per length of pair, for each of its two conductors: sqrt(1 + (pi d / lay)^2), the length of a helix.

    Parameters
    ----------
    spacing_m : float
        Distance of the two conductors, the outer diameter of the jacket.
    twists_per_foot : float
        Full twists per foot.

    Returns
    -------
    float
        At least 1.
    """
    return math.hypot(1.0, math.pi * spacing_m / lay_m(twists_per_foot))
