"""The loop as the transmitter sees it: resistance, inductance, impedance."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.circuit.conductor import MU_0, Conductor
from parcelfence.circuit.inductance import external_inductance_h, pair_inductance_h_per_m
from parcelfence.circuit.twisted_pair import conductor_per_ground
from parcelfence.field.soil import field_across_ratio

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parcelfence.field.current import CurrentLoop

__all__ = ["Circuit", "circuit", "wave_length_m"]

_GROUND_SHARE: Final = 0.2
"""Change of the field across a loop by currents in the ground that is worth saying: below it a walk test has it in."""
_CURRENT_SHARE: Final = 0.1
"""Change of the current along the wire that is worth saying: as much as the level is set by walking."""


@dataclass(frozen=True, kw_only=True)
class Circuit:
    """All single wires and lead-ins in series, in free space.

    Parameters
    ----------
    conductor : Conductor
        The wire.
    frequency_hz : float
        Frequency of the signal.
    loop_length_m : float
        Single wire in loops, slopes and slack included.
    lead_in_length_m : float
        Twisted pair along the ground, without slack.
    conductor_length_m : float
        Wire in the whole circuit, as it is pulled: loops, and both conductors of the pairs with their twist, slopes and
        slack included.
    resistance_ohm : float
        To direct current: what an ohmmeter shows at the ends of the wire.
    ac_resistance_ohm : float
        At the frequency of the signal, with the skin effect.
    inductance_h : float
        At the frequency of the signal: of the loops with their mutual terms, of the pairs, and inside the conductor.
    greatest_width_m : float
        Largest extent of the loops.
    soil_resistivity_ohm_m : float
        Resistivity of the soil.
    """

    conductor: Conductor
    frequency_hz: float
    loop_length_m: float
    lead_in_length_m: float
    conductor_length_m: float
    resistance_ohm: float
    ac_resistance_ohm: float
    inductance_h: float
    greatest_width_m: float
    soil_resistivity_ohm_m: float = 100.0

    @property
    def reactance_ohm(self) -> float:
        """Inductive reactance 2 pi f L."""
        return 2.0 * math.pi * self.frequency_hz * self.inductance_h

    @property
    def impedance_ohm(self) -> float:
        """Magnitude of the impedance at the frequency of the signal."""
        return math.hypot(self.ac_resistance_ohm, self.reactance_ohm)

    @property
    def ground_share(self) -> float:
        """Change of the field across the loop by currents in the ground, which the computation leaves out."""
        ratio = field_across_ratio(
            self.greatest_width_m, frequency_hz=self.frequency_hz, resistivity_ohm_m=self.soil_resistivity_ohm_m
        )
        return abs(ratio - 1.0)

    @property
    def ground_matters(self) -> bool:
        """Whether the loop is so wide, for its frequency and soil, that currents in the ground are worth saying."""
        return self.ground_share > _GROUND_SHARE

    @property
    def current_change_share(self) -> float:
        """Change of the current from the ends of the wire to its middle, by the capacitance of its jacket to the soil.

        The wire is taken as a line fed evenly at both ends: |1 / cosh(sqrt(Z Y) / 2)| - 1, with its impedance Z and
        the admittance Y of the jacket (telegraph equations).  An estimate: the soil counts as a perfect conductor.
        """
        admittance = 2j * math.pi * self.frequency_hz * self.conductor.capacitance_f_per_m * self.loop_length_m
        half = cmath.sqrt(complex(self.ac_resistance_ohm, self.reactance_ohm) * admittance) / 2.0
        return abs(1.0 / abs(cmath.cosh(half)) - 1.0)

    @property
    def current_changes(self) -> bool:
        """Whether that change is worth saying."""
        return self.current_change_share > _CURRENT_SHARE

    def resistance_range_ohm(self, *, low_c: float, high_c: float, tolerance_percent: float) -> tuple[float, float]:
        """Give the least and greatest resistance to direct current that an ohmmeter may show.

        Parameters
        ----------
        low_c, high_c : float
            Coldest and warmest conductor.
        tolerance_percent : float
            How far the wire is off its nominal resistance.
        """
        low, high = (
            replace(self.conductor, temperature_c=celsius).resistance_ohm_per_m * self.conductor_length_m
            for celsius in (low_c, high_c)
        )
        share = tolerance_percent / 100.0
        return min(low, high) * (1.0 - share), max(low, high) * (1.0 + share)

    def current_a(self, volts: float) -> float:
        """Give the current that a voltage at the signal frequency drives, without tuning."""
        return volts / self.impedance_ohm

    def flux_density_t_per_volt(self, distance_m: float) -> float:
        """Flux density beside a long straight run, for each volt at the ends of the wire.

        Parameters
        ----------
        distance_m : float
            Slant distance from the wire: at the reach, this is the threshold of the receiver per volt.

        Returns
        -------
        float
            mu0 / (2 pi distance |Z|), in tesla per volt.
        """
        return MU_0 / (2.0 * math.pi * distance_m) * self.current_a(1.0)


def circuit(
    loops: Iterable[CurrentLoop],
    *,
    loop_length_m: float | None = None,
    lead_in_lengths_m: Sequence[float] = (),
    conductor: Conductor | None = None,
    frequency_hz: float = 10_000.0,
    twists_per_foot: float = 11.0,
    slack_percent: float = 0.0,
) -> Circuit:
    """Compute the circuit of loops and lead-ins wired in series.

    Parameters
    ----------
    loops : iterable of CurrentLoop
        All single wires with their signed currents, of magnitude 1.
    loop_length_m : float, optional
        Length of the loops along the ground; that of the drawing where left out, which is right on flat ground.
    lead_in_lengths_m : sequence of float
        Lengths of the twisted pairs, measured along the pair and along the ground.
    conductor : Conductor, optional
        The wire; 18 AWG copper at 20 degrees Celsius where left out.
    frequency_hz : float
        Frequency of the signal.
    twists_per_foot : float
        Full twists of the pairs per foot.
    slack_percent : float
        Wire beyond the length along the ground, of the loops and of the pairs.

    Returns
    -------
    Circuit
        The field between the two conductors of a pair, and the pull of their currents on each other, are those of
        thin wires at the pair's spacing; ground currents are left out.
    """
    rows, wire = list(loops), conductor or Conductor()
    ground_m = sum(loop.length_m for loop in rows) if loop_length_m is None else loop_length_m
    pair_length_m = float(sum(lead_in_lengths_m))
    single, twisted = (
        conductor_per_ground(wire, twists_per_foot=twists_per_foot, slack_percent=slack_percent, twisted=is_pair)
        for is_pair in (False, True)
    )
    length_m = ground_m * single + pair_length_m * twisted
    inside = wire.internal_impedance_ohm_per_m(frequency_hz)
    extent = np.ptp(np.vstack([loop.coordinates for loop in rows]), axis=0)
    return Circuit(
        conductor=wire,
        frequency_hz=frequency_hz,
        loop_length_m=ground_m * single,
        lead_in_length_m=pair_length_m,
        conductor_length_m=length_m,
        resistance_ohm=wire.resistance_ohm_per_m * length_m,
        ac_resistance_ohm=inside.real * length_m,
        inductance_h=external_inductance_h(rows, radius_m=wire.radius_m)
        + pair_length_m * single * pair_inductance_h_per_m(wire.outer_diameter_m, radius_m=wire.radius_m)
        + wire.internal_inductance_h_per_m(frequency_hz) * length_m,
        greatest_width_m=float(extent.max()),
    )


def wave_length_m(conductor: Conductor, *, frequency_hz: float, loop_length_m: float) -> float:
    """Give the length of the signal's wave on a buried loop; infinite for a wire without a jacket.

    Fed evenly at both ends, the current of a loop is a standing wave about its middle: from half a wave on there are
    places without any (telegraph equations, as for :attr:`Circuit.current_change_share`).  The inductance is that of a
    circle of the same length (Rosa 1908), mu0 / (2 pi) (ln(8 R / r) - 2) for each metre.

    Parameters
    ----------
    conductor : Conductor
        The wire.
    frequency_hz : float
        Frequency of the signal.
    loop_length_m : float
        Single wire in the loop.
    """
    if not conductor.capacitance_f_per_m:
        return math.inf
    turn = 2.0 * math.pi * frequency_hz
    circle = math.log(8.0 * loop_length_m / (2.0 * math.pi * conductor.radius_m)) - 2.0
    along = complex(conductor.resistance_ohm_per_m, turn * MU_0 / (2.0 * math.pi) * circle)
    return 2.0 * math.pi / cmath.sqrt(along * complex(0.0, turn * conductor.capacitance_f_per_m)).imag
