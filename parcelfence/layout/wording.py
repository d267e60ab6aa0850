"""What the designer says about its own decisions, in plain words and in the person's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely
from shapely import Polygon

from parcelfence.conflict import Conflict
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.layout.crossable import Crossable
    from parcelfence.layout.gate import Gate
    from parcelfence.layout.loop import Run
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["crossing_remarks", "inner_loop_remarks", "left_behind_remarks"]

_ON_THE_WIRE_M: Final = 0.1
_WORTH_SAYING_M: Final = 5.0
_LARGE_M2: Final = 2000.0
_ALL_REACTS: Final = 2.0
"""A strip between two long wires reacts all over up to a width of 4 w, 2 w to each (f = 4 w / width in its middle)."""


def crossing_remarks(crossed: Crossable, *, area: Polygon, settings: Settings) -> list[Conflict]:
    """Say where a crossing is tight, and which lines could not be crossed at all."""
    units = unit_system(settings.units)
    separation = units.length(settings.utility_separation_m, digits=2)
    remarks = []
    tight = {id(gate): gate for opening in crossed.openings for gate in opening.gates if not gate.ample}
    for gate in tight.values():
        if gate.chord.dwithin(area.exterior, _ON_THE_WIRE_M):
            names = ", ".join(_names(gate, crossed=crossed))
            remarks.append(
                Conflict(
                    rule="utility-parallel",
                    severity="caution",
                    message=f"The crossing of {names} is square, but between the marks and the edge of the allowed "
                    f"land there is no room for its bends outside the separation of {separation}: they reach into it",
                    remedy="have the line located exactly and dig by hand there, or leave that corner out",
                    geometry=gate.chord,
                    layer="utilities",
                    feature=next(iter(_names(gate, crossed=crossed)), ""),
                    limit=settings.utility_separation_m,
                )
            )
    for line, stretch in crossed.shut:
        outside = stretch.difference(area)
        if outside.length > _WORTH_SAYING_M:
            name = ", ".join(line.names)
            remarks.append(
                Conflict(
                    rule="utility-angle",
                    severity="note",
                    message=f"There is no place at which {name} can be crossed square with "
                    f"{separation} to either side, or no gain in it; the loop stays on one side of it over "
                    f"{units.length(outside.length, digits=0)}",
                    remedy="accept the smaller yard, or have the line located again",
                    geometry=outside,
                    layer="utilities",
                    feature=line.names[0] if line.names else "",
                    measured=outside.length,
                )
            )
    return remarks


def left_behind_remarks(rest: Sequence[Polygon], *, crossed: Crossable, settings: Settings) -> list[Conflict]:
    """Say which parts of the allowed land lie outside the loop, and what parts them from it."""
    units = unit_system(settings.units)
    remarks = []
    for part in rest:
        beside = sorted({name for line, stretch in crossed.shut if stretch.dwithin(part, 3.0) for name in line.names})
        why = (
            f"{', '.join(beside)} cannot be crossed square on the way there"
            if beside
            else f"what joins them to the rest is narrower than two bends of {units.length(settings.bend_radius_m)}"
        )
        remarks.append(
            Conflict(
                rule="narrow-passage",
                severity="note",
                message=f"{_area(part.area, settings=settings)} of the property stay outside the loop: {why}",
                remedy="plan that part as a property of its own, or lower the reach",
                geometry=part,
                layer="parcel",
                measured=part.area,
                unit="m2",
            )
        )
    return remarks


def inner_loop_remarks(runs: Sequence[Run], *, site: Site, settings: Settings) -> list[Conflict]:
    """Say of every inner loop what it goes round, how it turns, and whether its whole inside reacts."""
    units = unit_system(settings.units)
    remarks = []
    for run in runs:
        if run.part != "inner_loop":
            continue
        inside = Polygon(run.line)
        around = [feature.id for feature in site.keep_outs if inside.intersects(feature.geometry)]
        message = (
            f"Inner loop {run.loop_id} goes round {', '.join(around) or 'ground that is not part of the property'}, "
            "clockwise while the outer loop goes counter-clockwise, so that the fields of facing runs add up"
        )
        radius_m = float(shapely.maximum_inscribed_circle(inside, tolerance=0.05).length)
        if radius_m <= _ALL_REACTS * settings.reach_m:
            message += (
                f"; it is so small that all of its inside reacts at a reach of {units.length(settings.reach_m)}: "
            )
            message += "the ring alone is enough"
        remarks.append(
            Conflict(
                rule="inner-loop",
                severity="note",
                message=message,
                remedy="keep the sense when wiring it: turned round, the signal between the loops would have a gap",
                geometry=run.line,
                layer="keep_outs",
                feature=around[0] if around else "",
            )
        )
    return remarks


def _area(area_m2: float, *, settings: Settings) -> str:
    """Write an area, a small one in the small unit."""
    units = unit_system(settings.units)
    if area_m2 >= _LARGE_M2:
        return units.area(area_m2)
    return f"{area_m2 / units.length_m**2:,.0f} square {'feet' if units.name == 'us' else 'metres'}"


def _names(gate: Gate, *, crossed: Crossable) -> list[str]:
    return sorted({name for number in gate.members for name in crossed.names(number)})
