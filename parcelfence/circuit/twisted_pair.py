"""The lead-in: how much wire a twist takes, and what little field it leaves.

Two touching conductors with opposite currents turn about their common axis.  Outside, their field is a sum over odd
orders of modified Bessel functions that falls like exp(-2 pi r / lay): Moser and Spencer, "Predicting the magnetic
fields from a twisted-pair cable", IEEE Transactions on Electromagnetic Compatibility, 1968.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.units import FOOT_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.circuit.conductor import Conductor

__all__ = ["conductor_per_ground", "lay_m", "residual_flux_density", "residual_reach_m", "take_up_factor"]

_ORDERS: Final = np.arange(1, 30, 2, dtype=np.float64)
_PHASES: Final = np.linspace(0.0, math.pi, 361)[:, None]


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


def conductor_per_ground(conductor: Conductor, *, twists_per_foot: float, slack_percent: float, twisted: bool) -> float:
    """Length of single conductor for each length along the ground: what is pulled, and what the current runs through.

    Parameters
    ----------
    conductor : Conductor
        Gives the spacing of a pair.
    twists_per_foot : float
        Full twists of a pair per foot.
    slack_percent : float
        Wire beyond the length along the ground.
    twisted : bool
        For a pair both conductors count, with the take-up of the twist.
    """
    slack = 1.0 + slack_percent / 100.0
    if not twisted:
        return slack
    return 2.0 * slack * take_up_factor(conductor.outer_diameter_m, twists_per_foot=twists_per_foot)


def residual_flux_density(distance_m: float, *, spacing_m: float, twists_per_foot: float) -> float:
    """Largest flux density around a long twisted pair.

    Parameters
    ----------
    distance_m : float
        Distance from the axis of the pair, more than half its spacing.
    spacing_m : float
        Distance of the two conductors.
    twists_per_foot : float
        Full twists per foot.

    Returns
    -------
    float
        In units of mu0 I / (2 pi), in 1/m: the largest over all directions around the pair.
    """
    from scipy.special import ive, kve

    wave, half = 2.0 * math.pi / lay_m(twists_per_foot), spacing_m / 2.0
    inner, outer = _ORDERS * wave * half, _ORDERS * wave * distance_m
    decay = np.exp(inner - outer)  # the scaled functions would overflow without it
    inner_slope = (ive(_ORDERS - 1, inner) + ive(_ORDERS + 1, inner)) / 2.0
    outer_slope = -(kve(_ORDERS - 1, outer) + kve(_ORDERS + 1, outer)) / 2.0
    common = 4.0 * wave**2 * half * _ORDERS * inner_slope * decay
    radial = (common * outer_slope * np.sin(_ORDERS * _PHASES)).sum(axis=1)
    axial = (common * kve(_ORDERS, outer) * np.cos(_ORDERS * _PHASES)).sum(axis=1)
    around: NDArray[np.float64] = axial / (wave * distance_m)
    return float(np.sqrt(radial**2 + axial**2 + around**2).max())


def residual_reach_m(slant_m: float, *, spacing_m: float, twists_per_foot: float) -> float:
    """Distance from the axis of a twisted pair at which its largest field falls to the receiver's threshold.

    Parameters
    ----------
    slant_m : float
        Distance from a long single wire at which the receiver just reacts.
    spacing_m : float
        Distance of the two conductors.
    twists_per_foot : float
        Full twists per foot.

    Returns
    -------
    float
        Some centimetres: inside the ground for any real pair.
    """
    low, high = spacing_m / 2.0 * 1.001, slant_m
    for _ in range(60):  # bisection: the field falls steadily over ten orders of magnitude
        middle = math.sqrt(low * high)
        excess = residual_flux_density(middle, spacing_m=spacing_m, twists_per_foot=twists_per_foot) * slant_m
        low, high = (middle, high) if excess >= 1.0 else (low, middle)
    return math.sqrt(low * high)
