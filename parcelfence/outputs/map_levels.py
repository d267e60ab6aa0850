"""The levels of the transmitter on the map: what each leaves free, and where its signal goes that it should not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence.field.current import CurrentLoop
from parcelfence.field.levels import Level, levels
from parcelfence.outputs.escaping import html_text
from parcelfence.units import FOOT_M, station_label, unit_system

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from parcelfence.finished_plan import Plan

__all__ = ["UNITS_PER_DEGREE", "level_control", "level_data", "plan_levels"]

UNITS_PER_DEGREE: Final = 10_000_000
"""Coordinates are whole numbers of such parts of a degree: a centimetre."""
_REACHES_M: Final = {
    "us": tuple(feet * FOOT_M for feet in (2, 3, 4, 5, 6, 7, 8, 10, 12)),
    "metric": (0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4, 3.0, 3.6),
}
"""What transmitters are commonly set to: 2 to 12 ft (common practice, no source)."""
_SAME_LEVEL_M: Final = 0.1
_BEYOND_M: Final = 0.1
"""Twice the accuracy of the edges: what goes less far beyond a line is not said to cross it."""
_NAMED_PLACES: Final = 3


def plan_levels(plan: Plan) -> tuple[Level, ...]:
    """Give the zones of a plan at the common levels and at its own, in rising order; its own are those of the plan."""
    own_m = plan.zones.receiver.reach_m
    common = [reach_m for reach_m in _REACHES_M[plan.settings.units] if abs(reach_m - own_m) > _SAME_LEVEL_M]
    loops = [CurrentLoop.from_line(run.line, run.current) for run in plan.loop.signal_runs]
    found = levels(loops, common, height_m=plan.zones.receiver.height_m, inside=plan.loop.enclosed)
    own = Level(own_m, plan.zones.signal, plan.zones.roam)
    return tuple(sorted((*found, own), key=lambda level: level.reach_m))


def level_data(plan: Plan, found: Sequence[Level], *, origin: tuple[float, float]) -> list[dict[str, Any]]:
    """Write the levels for the page.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    found : sequence of Level
        Its levels, from :func:`plan_levels`.
    origin : tuple of float
        Longitude and latitude from which coordinates are counted.

    Returns
    -------
    list of dict
        For each level its words, escaped, and ``signal`` and ``roam`` as polygons of rings; a ring is a flat list of
        whole numbers, steps of longitude and latitude by turns in parts of :data:`UNITS_PER_DEGREE`, the first from
        the origin.  The plan's own level has none: its zones are drawn already.
    """
    units, to_wgs84 = unit_system(plan.settings.units), plan.site.frame.to_wgs84()
    entries = []
    for level in found:
        own = level.reach_m == plan.zones.receiver.reach_m
        free_m2 = _outdoors(level.roam, plan=plan).area
        entry: dict[str, Any] = {
            "reach": units.length(level.reach_m),
            "free": f"{units.area(free_m2)} ({free_m2 / plan.loop.enclosed.area:.0%})",
            "freeM2": round(free_m2, 1),
            "lot": html_text(_places(plan, _beyond_the_lot(level, plan=plan)) or "nowhere"),
            "house": html_text(_in_houses(plan, level) or "nowhere"),
            "own": own,
        }
        if not own:
            entry["signal"] = _steps(to_wgs84.geometry(level.signal), origin=origin)
            entry["roam"] = _steps(to_wgs84.geometry(level.roam), origin=origin)
        entries.append(entry)
    return entries


def level_control(plan: Plan, found: Sequence[Level]) -> str:
    """Write the slider that switches the levels, set to the plan's own."""
    own = next(place for place, level in enumerate(found) if level.reach_m == plan.zones.receiver.reach_m)
    units = unit_system(plan.settings.units)
    first, last = units.length(found[0].reach_m, digits=1), units.length(found[-1].reach_m, digits=1)
    return (
        '<section class="levels" aria-label="Level of the transmitter"><h2><label for="level">Level of the transmitter'
        f'</label> <output id="level-name" for="level"></output></h2><input type="range" id="level" min="0" '
        f'max="{len(found) - 1}" step="1" value="{own}"><p class="ends"><span>{first}</span><span>{last}</span></p>'
        '<dl><dt>Free to roam</dt><dd id="level-free"></dd><dt>Leaves the lot</dt><dd id="level-lot"></dd>'
        '<dt>Enters a building</dt><dd id="level-house"></dd></dl>'
        '<p class="small">The level is the reach beside a long straight wire. Flags and findings are those of the '
        "plan.</p></section>"
    )


def _outdoors(ground: BaseGeometry, *, plan: Plan) -> BaseGeometry:
    """Leave out the ground under roofs."""
    return ground.difference(plan.zones.roofs)


def _beyond_the_lot(level: Level, *, plan: Plan) -> list[BaseGeometry]:
    return list(_parts(level.signal.difference(plan.site.parcel.buffer(_BEYOND_M))))


def _in_houses(plan: Plan, level: Level) -> str:
    """Say which buildings the signal enters, and beside which stations."""
    said = []
    for building in plan.site.buildings:
        inside = list(_parts(level.signal.intersection(building.geometry.buffer(-_BEYOND_M))))
        if inside:
            kind = building.kind.replace("_", " ")
            name = building.id if kind in {"", "building", "buildings"} else kind
            said.append(f"{name} at {_places(plan, inside)}")
    return "; ".join(said)


def _parts(shape: BaseGeometry) -> Iterator[BaseGeometry]:
    return (part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > _BEYOND_M**2)


def _places(plan: Plan, parts: Iterable[BaseGeometry]) -> str:
    """Name the stations beside which some ground lies, in the order of the wire, the first few of them."""
    runs, places = plan.loop.signal_runs, []
    for part in parts:
        number = int(shapely.distance([run.line for run in runs], part).argmin())
        nearest = shapely.shortest_line(runs[number].line, part).interpolate(0.0)
        places.append((number, runs[number].start_station_m + runs[number].line.project(nearest)))
    several = len(runs) > 1
    words = [
        (f"{runs[number].loop_id} " if several else "") + station_label(at_m, style=plan.settings.station_format)
        for number, at_m in sorted(places)
    ]
    more = len(words) - _NAMED_PLACES
    return ", ".join(words[:_NAMED_PLACES]) + (f" and {more} more" if more > 0 else "")


def _steps(shape: BaseGeometry, *, origin: tuple[float, float]) -> list[list[list[int]]]:
    polygons: list[Polygon] = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [[_ring_steps(ring, origin=origin) for ring in (part.exterior, *part.interiors)] for part in polygons]


def _ring_steps(ring: BaseGeometry, *, origin: tuple[float, float]) -> list[int]:
    from_origin = (shapely.get_coordinates(ring)[:-1] - origin) * UNITS_PER_DEGREE
    whole = np.round(from_origin).astype(np.int64)
    steps: list[int] = np.diff(whole, axis=0, prepend=[[0, 0]]).ravel().tolist()
    return steps
