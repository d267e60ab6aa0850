"""What the loop induces in a buried metallic line, and so why it should cross such a line square."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.circuit.inductance import mutual_inductance_h
from parcelfence.field.current import Chain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parcelfence.field.current import CurrentLoop

__all__ = ["ASSUMED_DEPTH_M", "Coupling", "coupling"]

ASSUMED_DEPTH_M: Final = 0.6
"""Depth of a line below the wire where none is stated (from memory)."""


@dataclass(frozen=True, kw_only=True)
class Coupling:
    """Magnetic coupling of the loops into one buried line.

    Parameters
    ----------
    mutual_inductance_h : float
        Largest magnitude over the parts of the line.
    depth_m : float
        Assumed depth of the line below the wire.
    """

    mutual_inductance_h: float
    depth_m: float

    def volts_per_ampere(self, frequency_hz: float) -> float:
        """Voltage along the line for each ampere in the loop: 2 pi f M."""
        return 2.0 * math.pi * frequency_hz * self.mutual_inductance_h


def coupling(
    loops: Iterable[CurrentLoop] | Chain,
    line: shapely.LineString | shapely.MultiLineString,
    *,
    depth_m: float = ASSUMED_DEPTH_M,
) -> Coupling:
    """Compute how strongly the loops couple into a buried line.

    Parameters
    ----------
    loops : iterable of CurrentLoop, or Chain
        All single wires with their signed currents.
    line : LineString or MultiLineString
        The buried line in plan, as far as it is known: parts are taken as separate conductors.
    depth_m : float
        Its depth below the wire.

    Returns
    -------
    Coupling
        Of the line by itself: how its circuit closes through the ground is not known here, and not included.
    """
    chain = loops if isinstance(loops, Chain) else Chain.of(loops)
    parts = [shapely.get_coordinates(part) for part in shapely.get_parts(line)]
    mutual = [mutual_inductance_h(chain, part, depth_m=depth_m) for part in parts]
    return Coupling(mutual_inductance_h=max((abs(value) for value in mutual), default=0.0), depth_m=depth_m)
