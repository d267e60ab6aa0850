"""Open sides: where no signal is wanted, the wire does not close round the land but is doubled back.

Along the other sides an active run and a return run lie side by side with opposite currents, which weaken each other
from afar.  At distance x outside the active run the field is that of two long wires,

    f = w / x - w / (x + s) = w s / (x (x + s)),

so a receiver set to the reach w of a single wire reacts at the wanted x when w = x (x + s) / s.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from parcelfence.conflict import Conflict
from parcelfence.layout.rounding import FOR_CHORDS, QUAD_SEGS, closed, opened, parts
from parcelfence.lines import stretch
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Doubled", "doubled_back", "needed_setting_m"]

_BEYOND_SETBACK_M: Final = 2.0
_MERGED_GAP_M: Final = 10.0
_LEAST_OPEN_M: Final = 2.0
_SAMPLE_M: Final = 0.5


@dataclass(frozen=True, kw_only=True)
class Doubled:
    """What becomes of an outline with open sides.

    Parameters
    ----------
    rings : tuple of Polygon
        Bands between an active run and its return run; the outline of each is one closed wire.
    remarks : tuple of Conflict
        What the receiver has to be set to.
    """

    rings: tuple[Polygon, ...]
    remarks: tuple[Conflict, ...]


def needed_setting_m(reach_m: float, *, spacing_m: float) -> float:
    """Reach of a single straight wire to which a receiver is set, so that it reacts at `reach_m` beside a return run.

    w = x (x + s) / s, from two infinite wires with opposite currents.
    """
    return reach_m * (reach_m + spacing_m) / spacing_m


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
    signalled = _signalled(ring, site=site, settings=settings)
    if not signalled:
        return None
    radius_m = FOR_CHORDS * settings.bend_radius_m
    spacing_m = max(settings.return_run_spacing_m, 2.05 * radius_m)
    bands = [_band(active, within=area, spacing_m=spacing_m, radius_m=radius_m) for active in signalled]
    rings = tuple(band for band in bands if band is not None)
    if not rings:
        return None
    return Doubled(rings=rings, remarks=(_setting_remark(rings, spacing_m=spacing_m, settings=settings),))


def _signalled(ring: LineString, *, site: Site, settings: Settings) -> list[LineString]:
    """Stretches of the outline along which signal is wanted; none if that is all of it."""
    sides = shapely.union_all([side.geometry for side in site.open_sides])
    near_m = max(settings.lot_line_setback_m, settings.water_clearance_m) + _BEYOND_SETBACK_M
    count = max(8, int(ring.length / _SAMPLE_M))
    stations = np.arange(count) * ring.length / count
    is_open = shapely.dwithin(shapely.line_interpolate_point(ring, stations), sides, near_m)
    is_open = _without_short(is_open, value=False, most=int(_MERGED_GAP_M / _SAMPLE_M))
    is_open = _without_short(is_open, value=True, most=int(_LEAST_OPEN_M / _SAMPLE_M))
    if not is_open.any():
        return []
    begins = np.flatnonzero(~is_open & np.roll(is_open, 1))
    ends = np.flatnonzero(~is_open & np.roll(is_open, -1))
    stretches = []
    for begin in begins:
        end = ends[ends >= begin].min() if (ends >= begin).any() else ends.min()
        stretches.append(stretch(ring, start_m=float(stations[begin]), end_m=float(stations[end])))
    return stretches


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
    beside = active.buffer(spacing_m, cap_style="flat", join_style="round", quad_segs=QUAD_SEGS)
    inner: BaseGeometry = opened(closed(beside.intersection(within), radius_m), radius_m)
    bands = parts(inner)
    return Polygon(bands[0].exterior) if bands else None


def _setting_remark(rings: Sequence[Polygon], *, spacing_m: float, settings: Settings) -> Conflict:
    units = unit_system(settings.units)
    needed_m = needed_setting_m(settings.reach_m, spacing_m=spacing_m)
    return Conflict(
        rule="open-side",
        severity="note",
        message=f"Along the open side there is no wire. On the other sides the wire is doubled back at "
        f"{units.length(spacing_m)}; for a reach of {units.length(settings.reach_m)} beside it the receiver is set as "
        f"for {units.length(needed_m, digits=2)} beside a single straight wire",
        remedy="walk the signal from outside and adjust the level to what is found",
        geometry=shapely.union_all([ring.exterior for ring in rings]),
        layer="open_sides",
        measured=needed_m,
        limit=settings.reach_m,
    )
