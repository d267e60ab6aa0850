"""Crossings: where the wire meets utilities and hard surfaces, measured from the finished wire.

Nothing here knows how the wire was designed; a wire that somebody drew or surveyed is measured in the same way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings
    from parcelfence.site.buried_lines import BuriedLine
    from parcelfence.site.feature import Feature
    from parcelfence.site.site import Site

__all__ = ["Crossing", "crossings"]

_CHORD_M: Final = 0.25
"""Directions are those of chords so long to each side: a finer look would measure how arcs are drawn."""
_TOUCH_M: Final = 1e-9
_LEAST_LENGTH_M: Final = 0.01


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """One crossing, as it will be dug.

    Parameters
    ----------
    crosses : str
        Identifier of the feature that is crossed.
    layer : str
        ``"utilities"`` or ``"hardscape"``.
    kind : str
        Kind of the utility, or of the surface.
    point : Point
        Where.
    angle_deg : float
        Angle between the wire and what it crosses, 0 to 90; nan for a surface.  Where either bends at the crossing it
        is the worst of the angles before and after the bend: the table and the rule of square crossings both show it.
    station_m : float
        Chainage along the run.
    loop_id : str
        Run that crosses.
    twisted : bool
        Whether that run is a twisted pair.
    length_m : float
        Length of wire within the tolerance zone of the utility, or within the surface.
    """

    crosses: str
    layer: str
    kind: str
    point: Point
    angle_deg: float
    station_m: float
    loop_id: str
    twisted: bool
    length_m: float


def crossings(loop: Loop, site: Site, *, settings: Settings) -> tuple[Crossing, ...]:
    """Measure all crossings of a wire.

    Parameters
    ----------
    loop : Loop
        The wire, designed or as built.
    site : Site
        What it may cross.
    settings : Settings
        Tolerance zones, for utilities that state none.

    Returns
    -------
    tuple of Crossing
        By run, then by station.
    """
    found = []
    for run in loop.runs:
        shapely.prepare(run.line)
        on_run = [
            *(c for line in site.buried_lines for c in _of_line(line, run=run, settings=settings)),
            *(c for surface in site.hardscape for c in _of_surface(surface, run=run, layer="hardscape")),
        ]
        found += sorted(on_run, key=lambda crossing: (crossing.station_m, crossing.layer, crossing.crosses))
    return tuple(found)


def _of_line(buried: BuriedLine, *, run: Run, settings: Settings) -> Iterator[Crossing]:
    for part in shapely.get_parts(buried.geometry):
        if not shapely.dwithin(run.line, part, _TOUCH_M):
            continue
        if isinstance(part, Polygon):
            yield from _of_surface(buried.members[0], run=run, layer="utilities", shape=part)
            continue
        for point in _points(run.line, part):
            utility = buried.member_at(point)
            zone = part.buffer(utility.tolerance_m or settings.tolerance_zone_m)
            inside = _pieces(run.line.intersection(zone))
            length_m = next((piece.length for piece in inside if piece.dwithin(point, _LEAST_LENGTH_M)), 0.0)
            angle_deg = _angle_deg(run.line, part, at=point)
            yield _crossing(utility, run=run, layer="utilities", point=point, angle_deg=angle_deg, length_m=length_m)


def _of_surface(feature: Feature, *, run: Run, layer: str, shape: BaseGeometry | None = None) -> Iterator[Crossing]:
    area = feature.geometry if shape is None else shape
    if not run.line.intersects(area):
        return
    for piece in _pieces(run.line.intersection(area)):
        middle = piece.interpolate(0.5, normalized=True)
        yield _crossing(feature, run=run, layer=layer, point=middle, angle_deg=math.nan, length_m=piece.length)


def _crossing(feature: Feature, *, run: Run, layer: str, point: Point, angle_deg: float, length_m: float) -> Crossing:
    return Crossing(
        crosses=feature.id,
        layer=layer,
        kind=feature.kind,
        point=point,
        angle_deg=angle_deg,
        station_m=run.start_station_m + run.line.project(point),
        loop_id=run.loop_id,
        twisted=run.twisted,
        length_m=length_m,
    )


def _points(line: LineString, part: LineString | Point) -> Iterable[Point]:
    """Crossing points; a stretch where both lie on each other counts as one, at its middle."""
    shared = shapely.intersection(line, part)
    if shared.is_empty:  # they touch within rounding
        shared = shapely.get_point(shapely.shortest_line(line, part), 0)
    for found in shapely.get_parts(shared):
        yield found if isinstance(found, Point) else found.interpolate(0.5, normalized=True)


def _pieces(shared: BaseGeometry) -> list[LineString]:
    """Stretches of wire, one on each side of the start of a closed run taken as one."""
    lines = [part for part in shapely.get_parts(shared) if isinstance(part, LineString)]
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines))) if len(lines) > 1 else lines
    return [line for line in merged if line.length >= _LEAST_LENGTH_M]


def _angle_deg(line: LineString, other: LineString | Point, *, at: Point) -> float:
    """Worst angle between two lines at a point that they share, 0 to 90 degrees."""
    if isinstance(other, Point):
        return math.nan
    sines = [abs(float(a[0] * b[1] - a[1] * b[0])) for a, b in product(_directions(line, at), _directions(other, at))]
    return math.degrees(math.asin(min(1.0, *sines))) if sines else 90.0


def _directions(line: LineString, at: Point) -> list[NDArray[np.float64]]:
    """Give the unit vectors of a line just before and just after one of its points; at an end only one."""
    at_m, length_m = line.project(at), line.length
    stations = np.array([at_m - _CHORD_M, at_m, at_m + _CHORD_M])
    stations = np.mod(stations, length_m) if line.is_closed else np.clip(stations, 0.0, length_m)
    steps = np.diff(shapely.get_coordinates(shapely.line_interpolate_point(line, stations)), axis=0)
    lengths = np.hypot(*steps.T)
    return [step / length for step, length in zip(steps, lengths, strict=True) if length > _CHORD_M / 10]
