"""The loop: every run of wire, in the order in which it is pulled."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from shapely import LineString, MultiPolygon, Point, Polygon

    from parcelfence.conflict import Conflict

__all__ = ["Loop", "Part", "Run", "Transmitter"]

Part = Literal["loop", "inner_loop", "return_run", "lead_in"]


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run of wire as it is drawn on the ground.

    Parameters
    ----------
    part : str
        ``"loop"`` (contains the animal), ``"inner_loop"`` (around a keep-out), ``"lead_in"`` (twisted pair, from the
        transmitter outwards), or ``"return_run"``.
    loop_id : str
        Loop to which it belongs, such as ``"L1"`` or ``"K2"``.
    line : LineString
        Closed and simple for loops, in the order of pulling; it begins and ends where the lead-in attaches.
    current : float
        Sense of the current along the line, +1 or -1; 0 for a twisted pair, which carries no net current.
    start_station_m : float
        Chainage of its first point.
    """

    part: Part
    loop_id: str
    line: LineString
    current: float
    start_station_m: float = 0.0

    @property
    def twisted(self) -> bool:
        """Whether it is a twisted pair."""
        return self.part == "lead_in"


@dataclass(frozen=True, kw_only=True)
class Transmitter:
    """Where the transmitter hangs, and how that place was found."""

    point: Point
    given: bool
    note: str

    @classmethod
    def as_given(cls, point: Point) -> Transmitter:
        """Make the one that the layer ``transmitter`` places."""
        return cls(point=point, given=True, note="where the layer transmitter places it")


@dataclass(frozen=True, kw_only=True)
class Loop:
    """The design, or a wire that somebody drew or surveyed.

    Parameters
    ----------
    runs : tuple of Run
        Outer loops first, then inner loops, then lead-ins.
    transmitter : Transmitter or None
        Place of the transmitter; None where nobody knows it.
    allowed : MultiPolygon
        Region in which wire may lie by the setbacks alone, before crossings and rounding: the upper bound of what a
        loop can enclose.
    remarks : tuple of Conflict
        What the designer has to say about it.
    ground : Polygon or MultiPolygon or None
        What is contained, where the wire does not close round it: a loop that is doubled back along open sides has
        only the strip between its two runs inside.
    """

    runs: tuple[Run, ...]
    transmitter: Transmitter | None
    allowed: MultiPolygon
    remarks: tuple[Conflict, ...] = ()
    ground: Polygon | MultiPolygon | None = None

    def of_part(self, *parts: Part) -> tuple[Run, ...]:
        """Give the runs that play one of the given parts."""
        return tuple(run for run in self.runs if run.part in parts)

    @property
    def signal_runs(self) -> tuple[Run, ...]:
        """Runs that carry a signal: all but twisted pairs."""
        return tuple(run for run in self.runs if not run.twisted)

    @cached_property
    def enclosed(self) -> Polygon | MultiPolygon:
        """Contained ground: that inside the outer loops and up to open sides, less the inside of inner loops."""
        from shapely import MultiPolygon, Polygon, get_parts, union_all

        ground = () if self.ground is None else (self.ground,)
        outer = union_all([*(Polygon(run.line) for run in self.of_part("loop", "return_run")), *ground])
        inner = union_all([Polygon(run.line) for run in self.of_part("inner_loop")])
        enclosed = outer if inner.is_empty else outer.difference(inner)
        return enclosed if isinstance(enclosed, Polygon) else MultiPolygon(get_parts(enclosed))
