"""Whether a transmitter of a given rating can drive the loop, and which gauge would cure it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from parcelfence.circuit.conductor import MU_0
from parcelfence.circuit.inductance import pair_inductance_h_per_m

if TYPE_CHECKING:
    from parcelfence.circuit.circuit import Circuit

__all__ = ["THICKEST_AWG", "DriveCheck", "Rating", "drive_checks", "with_gauge"]

THICKEST_AWG: Final = 12
"""Gauges below this are hardly laid by hand (from memory)."""


@dataclass(frozen=True, kw_only=True)
class Rating:
    """What is known of a transmitter; None where nothing is.

    Parameters
    ----------
    volts : float or None
        Greatest output voltage (rms).
    amperes : float or None
        Current that is needed in the wire (rms).
    max_ohms : float or None
        Greatest resistance to direct current that it drives.
    max_wire_m : float or None
        Greatest length of wire that it drives.
    max_area_m2 : float or None
        Greatest enclosed area that it is rated for.
    """

    volts: float | None = None
    amperes: float | None = None
    max_ohms: float | None = None
    max_wire_m: float | None = None
    max_area_m2: float | None = None


@dataclass(frozen=True, kw_only=True)
class DriveCheck:
    """One limit of the transmitter held against the circuit.

    Parameters
    ----------
    quantity : str
        ``"impedance"``, ``"resistance"``, ``"wire length"`` or ``"area"``.
    measured, limit : float
        In `unit`.
    unit : str
        ``"ohm"``, ``"m"`` or ``"m2"``.
    cure_awg : int or None
        Thinnest gauge, no thinner than the present one, that holds the limit; None if no gauge that can be laid
        does, or the gauge has no bearing on it.
    """

    quantity: str
    measured: float
    limit: float
    unit: str
    cure_awg: int | None = None

    @property
    def holds(self) -> bool:
        """Whether the limit is kept."""
        return self.measured <= self.limit


def drive_checks(circuit: Circuit, rating: Rating, *, area_m2: float) -> tuple[DriveCheck, ...]:
    """Hold a circuit against all that is known of the transmitter.

    Parameters
    ----------
    circuit : Circuit
        Loops and lead-ins.
    rating : Rating
        The transmitter.
    area_m2 : float
        Ground enclosed by the loops.

    Returns
    -------
    tuple of DriveCheck
        One for each limit that is given; volts and amperes together limit the impedance.
    """
    checks = []
    if rating.volts is not None and rating.amperes is not None:
        limit = rating.volts / rating.amperes
        cure = _cure(circuit, limit, of_resistance=False)
        checks.append(_ohms("impedance", circuit.impedance_ohm, limit=limit, cure=cure))
    if rating.max_ohms is not None:
        limit = rating.max_ohms
        cure = _cure(circuit, limit, of_resistance=True)
        checks.append(_ohms("resistance", circuit.resistance_ohm, limit=limit, cure=cure))
    if rating.max_wire_m is not None:
        measured = circuit.conductor_length_m
        checks.append(DriveCheck(quantity="wire length", measured=measured, limit=rating.max_wire_m, unit="m"))
    if rating.max_area_m2 is not None:
        checks.append(DriveCheck(quantity="area", measured=area_m2, limit=rating.max_area_m2, unit="m2"))
    return tuple(checks)


def with_gauge(circuit: Circuit, gauge_awg: int) -> Circuit:
    """Give the same circuit in another gauge of the same material and jacket.

    The loops' inductance changes by mu0 / (2 pi) ln(old radius / new radius) for each metre, and by the field inside
    the conductor; the little that the pairs' twist and spacing change is left out.
    """
    old, new = circuit.conductor, replace(circuit.conductor, gauge_awg=gauge_awg)
    length_m, hertz = circuit.conductor_length_m, circuit.frequency_hz
    loops_h = MU_0 / (2.0 * math.pi) * math.log(old.radius_m / new.radius_m) * circuit.loop_length_m
    pairs_h = circuit.lead_in_length_m * (
        pair_inductance_h_per_m(new.outer_diameter_m, radius_m=new.radius_m)
        - pair_inductance_h_per_m(old.outer_diameter_m, radius_m=old.radius_m)
    )
    inside_h = (new.internal_inductance_h_per_m(hertz) - old.internal_inductance_h_per_m(hertz)) * length_m
    return replace(
        circuit,
        conductor=new,
        resistance_ohm=new.resistance_ohm_per_m * length_m,
        ac_resistance_ohm=new.internal_impedance_ohm_per_m(hertz).real * length_m,
        inductance_h=circuit.inductance_h + loops_h + pairs_h + inside_h,
    )


def _ohms(quantity: str, measured: float, *, limit: float, cure: int | None) -> DriveCheck:
    return DriveCheck(quantity=quantity, measured=measured, limit=limit, unit="ohm", cure_awg=cure)


def _cure(circuit: Circuit, limit_ohm: float, *, of_resistance: bool) -> int | None:
    """Thinnest gauge from the present one down to the thickest that holds the limit."""
    for gauge_awg in range(circuit.conductor.gauge_awg, THICKEST_AWG - 1, -1):
        candidate = with_gauge(circuit, gauge_awg)
        if (candidate.resistance_ohm if of_resistance else candidate.impedance_ohm) <= limit_ohm:
            return gauge_awg
    return None
