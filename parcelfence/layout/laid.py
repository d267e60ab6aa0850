"""Loops as they lie in the ground: read back from a plan, or surveyed after laying, with the sense of their current."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from shapely import LineString, Point, Polygon

from parcelfence.errors import Fault, InputError
from parcelfence.layout.drawn import CLOSING_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.inputs.wire_file import DrawnLine

__all__ = ["LaidLoop", "laid_loops"]

_FEWEST_VERTICES = 3


@dataclass(frozen=True, kw_only=True)
class LaidLoop:
    """One closed run of single wire; its current runs along the line.

    Parameters
    ----------
    loop_id : str
        As drawn; a number where nothing was written.
    inner : bool
        Whether it lies around a keep-out.
    line : LineString
        Closed; counter-clockwise, or clockwise where it is an inner loop.
    """

    loop_id: str
    inner: bool
    line: LineString


def laid_loops(lines: Sequence[DrawnLine], *, name: str) -> tuple[LaidLoop, ...]:
    """Take the loops among the lines of a wire, and turn each into the sense of its current.

    Lead-ins are left out, for they carry no signal. A loop is an inner loop if its part says so, or if it states no
    part and lies within another one.

    Parameters
    ----------
    lines : sequence of DrawnLine
        In the working CRS.
    name : str
        What to call the file in messages.

    Raises
    ------
    InputError
        If no line closes to a loop, or one crosses itself.
    """
    rings = [(one, ring) for one in lines if one.part != "lead_in" and (ring := _ring(one.line)) is not None]
    if not rings:
        raise InputError(_no_ring(lines, name=name))
    tangled = [_tangled(one, name=name) for one, ring in rings if not ring.is_simple]
    if tangled:
        raise InputError(tangled)
    areas = [Polygon(ring) for _, ring in rings]
    loops = []
    for number, (one, ring) in enumerate(rings):
        within = any(area.contains(ring) for other, area in enumerate(areas) if other != number)
        inner = one.part == "inner_loop" or (not one.part and within)
        turned = LineString(ring.coords[::-1]) if areas[number].exterior.is_ccw == inner else ring
        loops.append(LaidLoop(loop_id=one.loop_id or str(number + 1), inner=inner, line=turned))
    return tuple(loops)


def _ring(line: LineString) -> LineString | None:
    """Close a line whose ends all but meet; None if they do not."""
    coordinates = list(line.coords)
    closed = line if line.is_closed else LineString([*coordinates, coordinates[0]])
    gap_m = Point(coordinates[0]).distance(Point(coordinates[-1]))
    return closed if gap_m <= CLOSING_M and len(closed.coords) > _FEWEST_VERTICES else None


def _no_ring(lines: Sequence[DrawnLine], *, name: str) -> Fault:
    longest = max((one.line for one in lines), key=lambda line: line.length)
    gap_m = Point(longest.coords[0]).distance(Point(longest.coords[-1]))
    return Fault(
        where=name,
        found=f"no line of it is closed; the ends of the longest are {gap_m:.2f} m apart",
        must=f"a loop is closed, or its ends lie within {CLOSING_M:.0f} m",
        remedy="close the line where the lead-in attaches",
    )


def _tangled(one: DrawnLine, *, name: str) -> Fault:
    return Fault(
        where=name,
        feature=one.loop_id,
        found="the wire crosses itself",
        must="a loop of single wire is a simple closed line",
        remedy="correct the drawing; parcelfence check shows the place",
    )
