"""Legs and splices: the one order in which the wire is really pulled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely import LineString, Point

    from parcelfence.layout.loop import Part

__all__ = ["Leg", "Sequence", "Splice"]


@dataclass(frozen=True, kw_only=True)
class Leg:
    """One line of the wiring sequence.

    Parameters
    ----------
    leg : int
        Place in the sequence, from 1.
    part : str
        See :class:`parcelfence.layout.loop.Run`.
    loop_id : str
        Run to which it belongs.
    start, end : str
        Where it begins and ends, in plain words ("transmitter", "loop L1 at 0+00.0").
    line : LineString
        As it lies, in the order of pulling.
    start_station_m : float
        Chainage of its beginning along its run, measured on the plan.
    ground_length_m : float
        Length along the ground; as on the plan where the site has no terrain.
    conductor_length_m : float
        Length of single conductor: slack, and for a twisted pair both conductors with the take-up of the twist.
    running_total_m : float
        Sum of the conductor lengths up to the end of this leg.
    twisted : bool
        Whether it is a twisted pair.
    spool : int
        Spool from which its end is pulled, from 1.
    """

    leg: int
    part: Part
    loop_id: str
    start: str
    end: str
    line: LineString
    start_station_m: float
    ground_length_m: float
    conductor_length_m: float
    running_total_m: float
    twisted: bool
    spool: int


@dataclass(frozen=True, kw_only=True)
class Splice:
    """One place where wire ends are joined.

    Parameters
    ----------
    id : str
        ``"S1"``, ``"S2"`` and so on, in the order of pulling.
    point : Point
        Where.
    loop_id : str
        Run on which it lies.
    station_m : float
        Chainage along that run.
    note : str
        What to join there, in plain words.
    joints : int
        Joints of two wire ends that are made there: one at the end of a spool, two where a pair meets a loop.
    """

    id: str
    point: Point
    loop_id: str
    station_m: float
    note: str
    joints: int = 1


@dataclass(frozen=True, kw_only=True)
class Sequence:
    """The wiring sequence.

    Every leg begins at the transmitter or on a leg before it; loops come back to their beginning, and the two ends that
    are left over stand at the transmitter.
    """

    legs: tuple[Leg, ...]
    splices: tuple[Splice, ...]

    @property
    def conductor_length_m(self) -> float:
        """Length of single conductor over all legs."""
        return self.legs[-1].running_total_m if self.legs else 0.0

    @property
    def spools(self) -> int:
        """Spools that are opened."""
        return max((leg.spool for leg in self.legs), default=0)

    @property
    def joints(self) -> int:
        """Joints of two wire ends."""
        return sum(splice.joints for splice in self.splices)
