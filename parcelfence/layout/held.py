"""Whether the rounded outline holds its gates: bends must not eat into the straight piece that crosses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely
from shapely import LineString, Polygon

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.layout.gate import Gate
    from parcelfence.layout.opening import Opening

__all__ = ["not_held"]

_ON_M: Final = 0.01
_LEAST_STRAIGHT_M: Final = 0.35


def not_held(
    found: Sequence[Opening], *, lines: Sequence[BuriedLine], outlines: Sequence[Polygon], radius_m: float
) -> list[Gate]:
    """Find gates that the rounded outline leaves.

    Where two gates meet at an angle, or a gate lies in a neck, the bend of the radius that joins them is longer than
    the room beside the crossing.

    Parameters
    ----------
    found : sequence of Opening
        All openings.
    lines : sequence of BuriedLine
        All lines.
    outlines : sequence of Polygon
        Rounded outlines.
    radius_m : float
        Bend radius.

    Returns
    -------
    list of Gate
        In the order of the openings.
    """
    wire = shapely.union_all([LineString(ring) for part in outlines for ring in (part.exterior, *part.interiors)])
    if wire.is_empty:
        return []
    wire = wire.buffer(_ON_M)
    shapely.prepare(wire)
    lost = []
    for gate in {id(gate): gate for opening in found for gate in opening.gates}.values():
        core = _core(gate, lines=lines, radius_m=radius_m)
        if wire.intersects(core) and not wire.covers(core):
            lost.append(gate)
    return lost


def _core(gate: Gate, *, lines: Sequence[BuriedLine], radius_m: float) -> LineString:
    """Part of a chord that has to stay straight: up to the separation, or what bends at the separation leave of it."""
    chord = gate.chord
    crossed = [
        chord.project(shapely.Point(xy))
        for number in gate.members
        for xy in shapely.get_coordinates(chord.intersection(lines[number].line))
    ]
    separation_m = max(lines[number].separation_m for number in gate.members)
    half_m = separation_m if gate.ample else max(_LEAST_STRAIGHT_M, separation_m - radius_m)
    low, high = (min(crossed), max(crossed)) if crossed else (chord.length / 2, chord.length / 2)
    ends = shapely.line_interpolate_point(
        chord, [max(0.0, low - half_m + _ON_M), min(chord.length, high + half_m - _ON_M)]
    )
    return LineString(shapely.get_coordinates(ends))
