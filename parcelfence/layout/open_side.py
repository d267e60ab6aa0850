"""Open sides: where no signal is wanted, the wire does not close round the land but is doubled back.

Along the other sides an active run and a return run lie side by side with opposite currents, which weaken each other
from afar.  What the receiver is set to then, :func:`parcelfence.field.setting.reach_for_return_run` says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from parcelfence.conflict import Conflict
from parcelfence.layout.open_ground import AT_A_BARRIER_M, contained_ground
from parcelfence.layout.rounding import FOR_CHORDS, QUAD_SEGS, SLACK_M, closed, opened, parts
from parcelfence.lines import stretch
from parcelfence.text import begin_sentence
from parcelfence.units import unit_system
from parcelfence.wording import feature_name

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt
    from shapely import MultiPolygon
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = [
    "Doubled",
    "doubled_back",
    "end_reach_m",
    "ground_beside",
    "pressed_buildings",
    "pressed_remark",
    "spacing_of",
]


_BEYOND_SETBACK_M: Final = 2.0
_BESIDE_A_BARRIER_M: Final = 0.3
_MERGED_GAP_M: Final = 10.0
_TURN_RADII: Final = 2.0
"""A rounded corner begins so many radii before its end: a quarter of a circle is 1.6 of them long."""
_NARROWEST_RADII: Final = 2.02
_LEAST_OPEN_M: Final = 2.0
_SAMPLE_M: Final = 0.1
_AS_LAID_M: Final = 0.05
"""No wire is laid more exactly."""


@dataclass(frozen=True, kw_only=True)
class Doubled:
    """What becomes of an outline with open sides.

    Parameters
    ----------
    rings : tuple of Polygon
        Bands between an active run and its return run; the outline of each is one closed wire.
    ground : Polygon or MultiPolygon or None
        What is contained, see :func:`parcelfence.layout.open_ground.contained_ground`.
    """

    rings: tuple[Polygon, ...]
    ground: Polygon | MultiPolygon | None


def doubled_back(area: Polygon, *, site: Site, settings: Settings) -> Doubled | None:
    """Leave an outline open along the open sides of a site.

    Parameters
    ----------
    area : Polygon
        Area to be contained.
    site : Site
        Its open sides; wire that lies within the setback (and 2 m) of one counts as being on that side.  Its
        passages, where the wire leaves a gap.
    settings : Settings
        Reach, spacing of the return run, bend radius.

    Returns
    -------
    Doubled or None
        None if no open side or passage touches the outline, or nothing but open sides would be left.
    """
    if not site.open_sides and not site.passages:
        return None
    ring = LineString(shapely.orient_polygons(area).exterior)
    stretches = _stretches(ring, site=site, settings=settings)
    if not stretches:
        return None
    signalled = [line for line, is_open in stretches if not is_open]
    radius_m, spacing_m = FOR_CHORDS * settings.bend_radius_m, spacing_of(settings)
    free = area.difference(_kept_off(area, site=site, settings=settings))
    barrier = _barrier(site).buffer(
        max(settings.building_clearance_m, settings.water_clearance_m) + _BESIDE_A_BARRIER_M
    )
    bands = [
        _band(active, area=area, within=free, barrier=barrier, spacing_m=spacing_m, radius_m=radius_m)
        for active in signalled
    ]
    rings = tuple(band for band in bands if band is not None)
    if not rings:
        return None
    return Doubled(rings=rings, ground=contained_ground(rings, site=site))


def spacing_of(settings: Settings) -> float:
    """Distance of the return run, which turns at both ends with the bend radius."""
    return max(settings.return_run_spacing_m, 2.05 * FOR_CHORDS * settings.bend_radius_m)


def end_reach_m(settings: Settings) -> float:
    """How far the signal reaches beyond the end of a doubled wire.

    The field before the end of a long hairpin of half width a, from three straight wires, is at the distance d
    w/a (sqrt(a^2 + d^2)/d - 1); with the receiver set to w = x (x + s) / s it reacts at the wanted x beside it.
    """
    half_m = spacing_of(settings) / 2
    set_m = settings.reach_m * (settings.reach_m + 2 * half_m) / (2 * half_m)
    return half_m / math.sqrt((1 + half_m / set_m) ** 2 - 1)


def _barrier(site: Site) -> BaseGeometry:
    return shapely.union_all([feature.geometry for feature in (*site.buildings, *site.water)])


def _kept_off(area: Polygon, *, site: Site, settings: Settings) -> BaseGeometry:
    """Ground that a return run keeps off inside the outline: buildings, and what must not be dug."""
    clearance_m = settings.building_clearance_m
    end_m = min(clearance_m, end_reach_m(settings))
    return shapely.union_all([
        *(
            one.geometry.buffer(
                settings.building_clearance_m if area.covers(one.geometry) else end_m, quad_segs=QUAD_SEGS
            )
            for one in site.buildings
        ),
        *(feature.geometry.buffer(SLACK_M) for feature in site.no_dig),
    ])


def pressed_buildings(loop: Loop, *, site: Site, settings: Settings) -> tuple[Feature, ...]:
    """Find buildings inside a loop that its return run comes too near to: there is no room for two runs behind them.

    Parameters
    ----------
    loop : Loop
        Doubled back along open sides, or with gaps for passages.
    site : Site
        Its buildings.
    settings : Settings
        Clearance.
    """
    runs = shapely.union_all([run.line for run in loop.of_part("return_run")])
    edge = loop.enclosed.boundary

    def least_m(building: Feature) -> float:
        # the active run may be pressed to a wall as well; the return run is not to come nearer
        return min(settings.building_clearance_m, float(edge.distance(building.geometry))) - _AS_LAID_M

    return tuple(
        building
        for building in site.buildings
        if not runs.is_empty
        and loop.enclosed.covers(building.geometry)
        and runs.distance(building.geometry) < least_m(building)
    )


def ground_beside(pressed: Iterable[Feature], *, loop: Loop, site: Site, settings: Settings) -> BaseGeometry:
    """Give the ground that both runs have to keep off, so that they pass such buildings on their inner side."""
    clearance_m, room_m = settings.building_clearance_m, _room_for_two_m(settings)
    edge = site.parcel.difference(loop.enclosed.buffer(-room_m))
    return shapely.union_all([
        one.geometry.buffer(clearance_m + SLACK_M).union(one.geometry.buffer(clearance_m + room_m).intersection(edge))
        for one in pressed
    ])


def pressed_remark(building: Feature, *, settings: Settings, left_m2: float | None) -> Conflict:
    """Say why a building is left outside, or, where `left_m2` of ground would be left then, why wire runs into it."""
    units, named = unit_system(settings.units), feature_name(building, kind="building")
    taken = f"{units.length(_room_for_two_m(settings))} beside the clearance of "
    room = (
        f"there is no room for two runs, which open sides and passages need; they take {taken}"
        f"{units.length(settings.building_clearance_m)}"
    )
    if left_m2 is None:
        message = f"{begin_sentence(named)} stays outside the loop: behind it {room}"
        remedy = "accept it, or do without the open side or the passage: a single wire fits behind the building"
    else:
        message = (
            f"Behind {named} {room}. Runs that pass it on its inner side would leave {left_m2:,.0f} m2 of ground free; "
            "so they are drawn through it, where they cannot be laid"
        )
        remedy = "plan it without the open side or the passage, with a smaller reach, or without that building"
    return Conflict(
        rule="return-run-room",
        severity="caution" if left_m2 is None else "must_fix",
        message=message,
        remedy=remedy,
        geometry=building.geometry,
        layer="buildings",
        feature=building.id,
    )


def _room_for_two_m(settings: Settings) -> float:
    return _NARROWEST_RADII * FOR_CHORDS * settings.bend_radius_m + _BESIDE_A_BARRIER_M


def _stretches(ring: LineString, *, site: Site, settings: Settings) -> list[tuple[LineString, bool]]:
    """Stretches of the outline, each with whether it is open; none if signal is wanted along all or none of it."""
    sides = shapely.union_all([
        side.geometry.buffer(_beside_m(side, ring=ring, site=site, settings=settings)) for side in site.open_sides
    ])
    count = max(8, int(ring.length / _SAMPLE_M))
    stations = np.arange(count) * ring.length / count
    is_open = shapely.intersects(shapely.line_interpolate_point(ring, stations), sides)
    is_open = _without_short(is_open, value=False, most=int(_MERGED_GAP_M / _SAMPLE_M))
    is_open = _without_short(is_open, value=True, most=int(_LEAST_OPEN_M / _SAMPLE_M))
    is_open |= _in_passages(ring, stations, site=site, settings=settings)
    changes = np.flatnonzero(is_open != np.roll(is_open, 1))
    return [
        (stretch(ring, start_m=float(stations[begin]), end_m=float(stations[end])), bool(is_open[begin]))
        for begin, end in zip(changes, np.roll(changes, -1), strict=True)
    ]


def _in_passages(
    ring: LineString, stations: npt.NDArray[np.float64], *, site: Site, settings: Settings
) -> npt.NDArray[np.bool_]:
    """Tell which stations lie in the gap that each passage needs: its width, and the reach of both ends of the wire.

    A current that flows along a loop cannot leave out one place of it; so the wire turns back on both sides.
    """
    gap = np.zeros(len(stations), dtype=bool)
    half_m = settings.passage_width_m / 2 + settings.reach_m
    for passage in site.passages:
        for at in shapely.get_parts(ring.intersection(passage.geometry)):
            away_m = np.abs(stations - ring.project(at.centroid))
            gap |= np.minimum(away_m, ring.length - away_m) <= half_m
    return gap


def _beside_m(side: Feature, *, ring: LineString, site: Site, settings: Settings) -> float:
    """How near wire lies that counts as being on an open side.

    A side along a wall or a shore is known exactly, and the wire beside it ends as near to it as it can; one that was
    drawn by hand along a lot line is not.
    """
    if _barrier(site).dwithin(side.geometry, AT_A_BARRIER_M):
        return float(ring.distance(side.geometry)) + _BESIDE_A_BARRIER_M
    return max(settings.lot_line_setback_m, settings.water_clearance_m) + _BEYOND_SETBACK_M


def _without_short(flags: npt.NDArray[np.bool_], *, value: bool, most: int) -> npt.NDArray[np.bool_]:
    """Turn over runs of a value that are too short to matter; the outline is a circle."""
    result = flags.copy()
    changes = np.flatnonzero(flags != np.roll(flags, 1))
    for first, last in zip(changes, np.roll(changes, -1), strict=True):
        length = (last - first) % len(flags)
        if flags[first] == value and length <= most:
            result[np.arange(first, first + length) % len(flags)] = not value
    return result


def _band(
    active: LineString, *, area: Polygon, within: BaseGeometry, barrier: BaseGeometry, spacing_m: float, radius_m: float
) -> Polygon | None:
    """Band between a stretch and its return run on the inner side, rounded at both ends.

    Past what it keeps off, the return run comes as near to the active one as it can turn.
    """
    straight = _squared_ends(active, turn_m=_TURN_RADII * radius_m, barrier=barrier, on_m=spacing_m)
    beside = straight.buffer(spacing_m, cap_style="flat", join_style="round", quad_segs=QUAD_SEGS)
    least = straight.buffer(_NARROWEST_RADII * radius_m, cap_style="flat", join_style="round", quad_segs=QUAD_SEGS)
    band = beside.intersection(within).union(least.intersection(area))
    inner: BaseGeometry = opened(closed(band, radius_m), radius_m)
    bands = parts(inner)
    return Polygon(bands[0].exterior) if bands else None


def _squared_ends(active: LineString, *, turn_m: float, barrier: BaseGeometry, on_m: float) -> LineString:
    """Lead both ends of a stretch straight on where they turn into the open side: the band then ends square to it.

    Towards a wall or water it is led on for more than that, for there the edge of the area ends it.
    """
    if active.length < 4 * turn_m:
        return active
    xy = shapely.get_coordinates(substring(active, turn_m, active.length - turn_m))
    ends = shapely.get_coordinates(active)[[0, -1]]
    for place, beyond, end in ((0, 1, ends[0]), (-1, -2, ends[1])):
        heading = xy[place] - xy[beyond]
        heading /= max(float(np.hypot(*heading)), 1e-9)
        more_m = on_m if barrier.intersects(Point(end)) else 0.0
        on = xy[place] + heading * (max(float((end - xy[place]) @ heading), 0.0) + more_m)
        xy = np.vstack([on, xy]) if place == 0 else np.vstack([xy, on])
    return LineString(xy)
