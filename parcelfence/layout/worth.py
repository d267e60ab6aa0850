"""Whether a crossing is worth its trouble: nobody weaves across a line twice for a strip of grass."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely
from shapely.ops import substring

from parcelfence.layout.rounding import grown, parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import BuriedLine
    from parcelfence.layout.opening import Opening, Stretch

__all__ = ["not_worth_it"]

_GATE_M2: Final = 20.0
_TIGHT_GATE_M2: Final = 40.0
"""Land that must be gained by a gate: one whose bends reach into the separation has to gain more."""
_APART_M: Final = 30.0
_WIRE_M2_PER_M: Final = 2.0
"""Land that outweighs a metre of extra wire."""


def not_worth_it(
    found: Sequence[Opening], *, lines: Sequence[BuriedLine], region: BaseGeometry, radius_m: float
) -> set[Stretch]:
    """Find openings that gain less than their gates cost.

    Parameters
    ----------
    found : sequence of Opening
        All openings.
    lines : sequence of BuriedLine
        All lines.
    region : BaseGeometry
        Land that the openings leave to the loop.
    radius_m : float
        Bend radius.

    Returns
    -------
    set of Stretch
        The least worthy openings, with those that share a gate with them; empty if all are worth it.  Of neighbours
        only one at a time, since without it the others are worth something else.
    """
    doubtful: list[tuple[float, BaseGeometry, set[Stretch]]] = []
    for together in _sharing_gates(found):
        gates = {id(gate): gate for opening in together for gate in opening.gates}.values()
        price = sum(_GATE_M2 if gate.ample else _TIGHT_GATE_M2 for gate in gates)
        strips = [
            grown(substring(lines[o.number].line, o.start_m, o.end_m), max(lines[o.number].separation_m, radius_m))
            for o in together
        ]
        strip = shapely.union_all(strips)
        if not gates or strip.area >= 2 * price:
            continue
        surplus = _gain(strip, region=region) - price
        if surplus < 0:
            doubtful.append((round(surplus, 2), strip, {opening.stretch for opening in together}))
    given_up: list[BaseGeometry] = []
    result: set[Stretch] = set()
    for _, strip, stretches in sorted(doubtful, key=lambda each: (each[0], each[1].bounds)):
        if not any(other.dwithin(strip, _APART_M) for other in given_up):
            given_up.append(strip)
            result |= stretches
    return result


def _gain(strip: BaseGeometry, *, region: BaseGeometry) -> float:
    """Land gained by leaving a strip open, with the wire saved by it."""
    around = next((part for part in parts(region) if part.intersects(strip)), None)
    if around is None:
        return 0.0
    without = parts(around.difference(strip))
    if not without:
        return float(around.area)
    return float(around.area - without[0].area + _WIRE_M2_PER_M * (without[0].length - around.length))


def _sharing_gates(found: Sequence[Opening]) -> list[list[Opening]]:
    """Group openings that are bound together by common gates."""
    groups: list[list[Opening]] = []
    for opening in found:
        keys = {id(gate) for gate in opening.gates}
        bound = [group for group in groups if any(id(gate) in keys for each in group for gate in each.gates)]
        groups = [group for group in groups if group not in bound]
        groups.append([opening, *(each for group in bound for each in group)])
    return groups
