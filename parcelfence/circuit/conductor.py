"""The conductor of the wire: its size by gauge, and its resistance by material, temperature and frequency."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Final

from parcelfence.errors import SettingsError, near_matches
from parcelfence.field.soil import MU_0

__all__ = ["MATERIALS", "MU_0", "Conductor", "Material", "gauge_diameter_m"]

_EPSILON_0: Final = 8.8541878e-12
_JACKET_PERMITTIVITY: Final = 2.3
"""Of polyethylene, relative; jackets of PVC have twice as much and more (handbook values, from memory)."""
_SERIES_TERMS: Final = 80


@dataclass(frozen=True)
class Material:
    """What a conductor is made of.

    Parameters
    ----------
    name : str
        Lower case.
    resistivity_ohm_m : float
        At 20 degrees Celsius.
    temperature_coefficient_per_k : float
        Relative change of the resistance, referred to 20 degrees Celsius.
    """

    name: str
    resistivity_ohm_m: float
    temperature_coefficient_per_k: float


MATERIALS: Final = {
    material.name: material
    for material in (
        Material("copper", 1e-6 / 58.0, 0.00393),  # International Annealed Copper Standard, 1/58 ohm mm2/m
        Material("aluminium", 2.8264e-8, 0.00403),  # IEC 60889, hard-drawn wire (from memory)
    )
}


@dataclass(frozen=True)
class Conductor:
    """One solid round wire with its jacket.

    Parameters
    ----------
    gauge_awg : int
        American wire gauge.
    material : str
        A name in :data:`MATERIALS`.
    temperature_c : float
        Temperature of the conductor.
    insulation_thickness_m : float
        Thickness of the jacket.

    Raises
    ------
    SettingsError
        If the material is not known or the temperature makes no sense.
    """

    gauge_awg: int = 18
    material: str = "copper"
    temperature_c: float = 20.0
    insulation_thickness_m: float = 0.0008

    def __post_init__(self) -> None:
        if self.material not in MATERIALS:
            raise SettingsError(
                f"There is no conductor material {self.material!r}: {near_matches(self.material, MATERIALS)}"
            )
        if not self.resistivity_ohm_m > 0.0 or self.insulation_thickness_m < 0.0:
            raise SettingsError(f"Temperature and insulation thickness must make sense; found {self}.")

    @property
    def diameter_m(self) -> float:
        """Diameter of the bare conductor."""
        return gauge_diameter_m(self.gauge_awg)

    @property
    def radius_m(self) -> float:
        """Radius of the bare conductor."""
        return self.diameter_m / 2.0

    @property
    def area_m2(self) -> float:
        """Cross-section of the conductor."""
        return math.pi * self.radius_m**2

    @property
    def outer_diameter_m(self) -> float:
        """Diameter over the jacket: the distance of the two conductors of a pair."""
        return self.diameter_m + 2.0 * self.insulation_thickness_m

    @property
    def capacitance_f_per_m(self) -> float:
        """Capacitance through the jacket to the soil around it: 2 pi eps / ln(D / d); 0 without a jacket."""
        if not self.insulation_thickness_m:
            return 0.0
        ratio = self.outer_diameter_m / self.diameter_m
        return 2.0 * math.pi * _EPSILON_0 * _JACKET_PERMITTIVITY / math.log(ratio)

    @property
    def resistivity_ohm_m(self) -> float:
        """Resistivity at the conductor's temperature."""
        material = MATERIALS[self.material]
        return material.resistivity_ohm_m * (1.0 + material.temperature_coefficient_per_k * (self.temperature_c - 20.0))

    @property
    def resistance_ohm_per_m(self) -> float:
        """Resistance to direct current."""
        return self.resistivity_ohm_m / self.area_m2

    def skin_depth_m(self, frequency_hz: float) -> float:
        """Depth sqrt(rho / (pi f mu0)) at which the current density has fallen to 1/e in a flat conductor."""
        return math.sqrt(self.resistivity_ohm_m / (math.pi * frequency_hz * MU_0))

    def internal_impedance_ohm_per_m(self, frequency_hz: float) -> complex:
        """Resistance and internal reactance of an isolated round wire.

        Parameters
        ----------
        frequency_hz : float
            Frequency; 0 gives the resistance to direct current.

        Returns
        -------
        complex
            R_dc (x / 2) J0(x) / J1(x) with x = (1 - j) radius / skin depth, in ohm/m (Terman, Radio Engineers'
            Handbook); the ratio of the Bessel functions by its continued fraction.
        """
        if frequency_hz == 0.0:
            return complex(self.resistance_ohm_per_m)
        squared = -2j * (self.radius_m / self.skin_depth_m(frequency_hz)) ** 2
        terms = _SERIES_TERMS + int(abs(cmath.sqrt(squared)))
        fraction = complex(2.0 * terms)
        for order in range(terms - 1, 0, -1):
            fraction = 2.0 * order - squared / fraction
        return self.resistance_ohm_per_m * fraction / 2.0

    def resistance_ratio(self, frequency_hz: float) -> float:
        """Resistance at a frequency as a multiple of that to direct current: the skin effect."""
        return self.internal_impedance_ohm_per_m(frequency_hz).real / self.resistance_ohm_per_m

    def internal_inductance_h_per_m(self, frequency_hz: float) -> float:
        """Inductance of the field inside the conductor; mu0 / (8 pi) at low frequency."""
        if frequency_hz == 0.0:
            return MU_0 / (8.0 * math.pi)
        return self.internal_impedance_ohm_per_m(frequency_hz).imag / (2.0 * math.pi * frequency_hz)


def gauge_diameter_m(gauge_awg: int) -> float:
    """Diameter of a solid conductor: 0.127 mm times 92^((36 - n) / 39), the law of ASTM B258 (from memory)."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge_awg) / 39))
