"""Currents in the ground: how much they take of the signal, which the zones leave out.

At these frequencies soil is a conductor, and displacement currents do not matter.  Two closed forms of a uniform
half-space bound what is left out:

* across a loop, a small vertical dipole on the ground stands for it:
  H / H0 = (2 / (g r)^2) (9 - (9 + 9 g r + 4 (g r)^2 + (g r)^3) exp(-g r)), g = sqrt(j 2 pi f mu0 / rho)
  (Wait; in the form of Ward and Hohmann, *Electromagnetic Theory for Geophysical Applications*, 1988);
* close to a long wire the ground acts as an opposite current at the complex depth 2 / g (complex images, Wait 1969;
  from memory).
"""

from __future__ import annotations

import cmath
import math
from typing import Final

__all__ = ["MU_0", "field_across_ratio", "field_beside_wire_ratio", "skin_depth_m"]


MU_0: Final = 4.0e-7 * math.pi
"""Magnetic constant; the present CODATA value differs by 5e-10."""


def skin_depth_m(frequency_hz: float, *, resistivity_ohm_m: float) -> float:
    """Depth sqrt(rho / (pi f mu0)) at which currents in the ground have fallen to 1/e."""
    return math.sqrt(resistivity_ohm_m / (math.pi * frequency_hz * MU_0))


def field_across_ratio(distance_m: float, *, frequency_hz: float, resistivity_ohm_m: float) -> complex:
    """Vertical field on the ground at a distance from a small loop, as a multiple of that without ground.

    Parameters
    ----------
    distance_m : float
        Distance from the loop: about the width of a loop, to tell what reaches its other side.
    frequency_hz, resistivity_ohm_m : float
        Signal frequency, and resistivity of the ground.

    Returns
    -------
    complex
        1 where the ground does not matter; the magnitude tells by how much the field grows or falls.
    """
    way = _propagation(frequency_hz, resistivity_ohm_m) * distance_m
    if abs(way) < 1e-2:  # noqa: PLR2004  (the closed form cancels; the series begins with 1 + way^2 / 4)
        return 1.0 + way**2 / 4.0
    return 2.0 / way**2 * (9.0 - (9.0 + 9.0 * way + 4.0 * way**2 + way**3) * cmath.exp(-way))


def field_beside_wire_ratio(
    distance_m: float, *, height_m: float, frequency_hz: float, resistivity_ohm_m: float
) -> float:
    """Field beside a long wire on the ground, as a multiple of that without ground.

    Parameters
    ----------
    distance_m, height_m : float
        Horizontal distance from the wire, and height above it.
    frequency_hz, resistivity_ohm_m : float
        Signal frequency, and resistivity of the ground.

    Returns
    -------
    float
        Ratio of the largest flux densities (semi-major axes of the ellipse that the field describes are close to the
        root of the sum of squares of the parts, which is what is given).
    """
    depth = 2.0 / _propagation(frequency_hz, resistivity_ohm_m) + height_m
    own2, image2 = distance_m**2 + height_m**2, distance_m**2 + depth**2
    across = height_m / own2 - depth / image2
    upright = distance_m / own2 - distance_m / image2
    return math.hypot(abs(across), abs(upright)) * math.sqrt(own2)


def _propagation(frequency_hz: float, resistivity_ohm_m: float) -> complex:
    """Propagation constant sqrt(j omega mu0 / rho) of the ground, in 1/m."""
    return cmath.sqrt(2j * math.pi * frequency_hz * MU_0 / resistivity_ohm_m)
