"""Open sides: where no signal is wanted, the wire does not close round the land but is doubled back.

Along the other sides an active run and a return run lie side by side with opposite currents, which weaken each other
from afar.  What the receiver is set to then, :func:`parcelfence.field.setting.reach_for_return_run` says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.ops import substring

from parcelfence.layout.rounding import FOR_CHORDS, QUAD_SEGS, closed, opened, parts
from parcelfence.lines import stretch

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["Doubled", "doubled_back"]


_BEYOND_SETBACK_M: Final = 2.0
_AT_A_BARRIER_M: Final = 0.5
_BESIDE_A_BARRIER_M: Final = 0.3
_MERGED_GAP_M: Final = 10.0
_TURN_RADII: Final = 2.0
"""A rounded corner begins so many radii before its end: a quarter of a circle is 1.6 of them long."""
_LEAST_OPEN_M: Final = 2.0
_SAMPLE_M: Final = 0.1


@dataclass(frozen=True, kw_only=True)
class Doubled:
    """What becomes of an outline with open sides.

    Parameters
    ----------
    rings : tuple of Polygon
        Bands between an active run and its return run; the outline of each is one closed wire.
    ground : Polygon
        What is contained: the area up to the wall, water or line at which its open sides end.
    """

    rings: tuple[Polygon, ...]
    ground: Polygon


def doubled_back(area: Polygon, *, site: Site, settings: Settings) -> Doubled | None:
    """Leave an outline open along the open sides of a site.

    Parameters
    ----------
    area : Polygon
        Area to be contained.
    site : Site
        Its open sides; wire that lies within the setback (and 2 m) of one counts as being on that side.
    settings : Settings
        Reach, spacing of the return run, bend radius.

    Returns
    -------
    Doubled or None
        None if no open side touches the outline, or nothing but open sides would be left.
    """
    ring = LineString(shapely.orient_polygons(area).exterior)
    stretches = _stretches(ring, site=site, settings=settings)
    if not stretches:
        return None
    signalled = [line for line, is_open in stretches if not is_open]
    radius_m = FOR_CHORDS * settings.bend_radius_m
    spacing_m = max(settings.return_run_spacing_m, 2.05 * radius_m)
    bands = [_band(active, within=area, spacing_m=spacing_m, radius_m=radius_m) for active in signalled]
    rings = tuple(band for band in bands if band is not None)
    if not rings:
        return None
    ground = _up_to_the_sides(area, [line for line, is_open in stretches if is_open], site=site, settings=settings)
    return Doubled(rings=rings, ground=ground)


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
    changes = np.flatnonzero(is_open != np.roll(is_open, 1))
    return [
        (stretch(ring, start_m=float(stations[begin]), end_m=float(stations[end])), bool(is_open[begin]))
        for begin, end in zip(changes, np.roll(changes, -1), strict=True)
    ]


def _up_to_the_sides(area: Polygon, open_stretches: list[LineString], *, site: Site, settings: Settings) -> Polygon:
    """Add to an area the strips between its open stretches and the wall, water or lot line behind them."""
    ring = LineString(area.exterior)
    widest_m = max(_beside_m(side, ring=ring, site=site, settings=settings) for side in site.open_sides)
    strips = [line.buffer(widest_m, cap_style="flat", join_style="mitre", mitre_limit=2.0) for line in open_stretches]
    barred = shapely.union_all([feature.geometry for feature in (*site.buildings, *site.water)])
    free = shapely.union_all([area, *strips]).intersection(site.parcel).difference(barred)
    return next(part for part in parts(shapely.union_all([free, area])) if part.intersects(area))


def _beside_m(side: Feature, *, ring: LineString, site: Site, settings: Settings) -> float:
    """How near wire lies that counts as being on an open side.

    A side along a wall or a shore is known exactly, and the wire beside it ends as near to it as it can; one that was
    drawn by hand along a lot line is not.
    """
    barrier = shapely.union_all([feature.geometry for feature in (*site.buildings, *site.water)])
    if barrier.dwithin(side.geometry, _AT_A_BARRIER_M):
        return float(ring.distance(side.geometry)) + _BESIDE_A_BARRIER_M
    return max(settings.lot_line_setback_m, settings.water_clearance_m) + _BEYOND_SETBACK_M


def _without_short(flags: np.ndarray, *, value: bool, most: int) -> np.ndarray:
    """Turn over runs of a value that are too short to matter; the outline is a circle."""
    result = flags.copy()
    changes = np.flatnonzero(flags != np.roll(flags, 1))
    for first, last in zip(changes, np.roll(changes, -1), strict=True):
        length = (last - first) % len(flags)
        if flags[first] == value and length <= most:
            result[np.arange(first, first + length) % len(flags)] = not value
    return result


def _band(active: LineString, *, within: Polygon, spacing_m: float, radius_m: float) -> Polygon | None:
    """Band between a stretch and its return run on the inner side, rounded at both ends."""
    straight = _squared_ends(active, turn_m=_TURN_RADII * radius_m)
    beside = straight.buffer(spacing_m, cap_style="flat", join_style="round", quad_segs=QUAD_SEGS)
    inner: BaseGeometry = opened(closed(beside.intersection(within), radius_m), radius_m)
    bands = parts(inner)
    return Polygon(bands[0].exterior) if bands else None


def _squared_ends(active: LineString, *, turn_m: float) -> LineString:
    """Lead both ends of a stretch straight on where they turn into the open side: the band then ends square to it."""
    if active.length < 4 * turn_m:
        return active
    xy = shapely.get_coordinates(substring(active, turn_m, active.length - turn_m))
    ends = shapely.get_coordinates(active)[[0, -1]]
    for place, beyond, end in ((0, 1, ends[0]), (-1, -2, ends[1])):
        heading = xy[place] - xy[beyond]
        heading /= max(float(np.hypot(*heading)), 1e-9)
        on = xy[place] + heading * max(float((end - xy[place]) @ heading), 0.0)
        xy = np.vstack([on, xy]) if place == 0 else np.vstack([xy, on])
    return LineString(xy)
