"""Crossings: where the wire meets utilities and hard surfaces, measured from the finished wire.

Nothing here knows how the wire was designed; a wire that somebody drew or surveyed is measured in the same way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature, Utility
    from parcelfence.site.site import Site

__all__ = ["Crossing", "crossings"]

_WINDOW_M: Final = 0.15
"""Directions are those of secants so far to each side: a finer look would measure how arcs are drawn."""
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
        Angle between the wire and what it crosses, 0 to 90; nan for a surface.
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
            *(c for utility in site.utilities for c in _of_utility(utility, run=run, settings=settings)),
            *(c for surface in site.hardscape for c in _of_surface(surface, run=run, layer="hardscape")),
        ]
        found += sorted(on_run, key=lambda crossing: (crossing.station_m, crossing.layer, crossing.crosses))
    return tuple(found)


def _of_utility(utility: Utility, *, run: Run, settings: Settings) -> Iterator[Crossing]:
    for part in shapely.get_parts(utility.geometry):
        if not run.line.intersects(part):
            continue
        if isinstance(part, Polygon):
            yield from _of_surface(utility, run=run, layer="utilities", shape=part)
            continue
        zone = part.buffer(utility.tolerance_m or settings.tolerance_zone_m)
        inside = _pieces(run.line.intersection(zone))
        for point in _points(run.line.intersection(part)):
            length_m = next((piece.length for piece in inside if piece.dwithin(point, _LEAST_LENGTH_M)), 0.0)
            angle_deg = _angle_deg(_direction(run.line, point), _direction(part, point))
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


def _points(shared: BaseGeometry) -> Iterable[Point]:
    """Crossing points; a stretch where both lie on each other counts as one, at its middle."""
    for part in shapely.get_parts(shared):
        yield part if isinstance(part, Point) else part.interpolate(0.5, normalized=True)


def _pieces(shared: BaseGeometry) -> list[LineString]:
    """Stretches of wire, one on each side of the start of a closed run taken as one."""
    lines = [part for part in shapely.get_parts(shared) if isinstance(part, LineString)]
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines))) if len(lines) > 1 else lines
    return [line for line in merged if line.length >= _LEAST_LENGTH_M]


def _direction(line: LineString, point: Point) -> npt.NDArray[np.float64]:
    """Direction of a line about a point on it; over the start of a closed line too."""
    at, length = line.project(point), line.length
    places = np.array([at - _WINDOW_M, at + _WINDOW_M])
    places = np.mod(places, length) if line.is_ring else np.clip(places, 0.0, length)
    before, after = shapely.get_coordinates(shapely.line_interpolate_point(line, places))
    secant: npt.NDArray[np.float64] = after - before
    return secant


def _angle_deg(first: npt.NDArray[np.float64], second: npt.NDArray[np.float64]) -> float:
    """Angle between two directions, 0 to 90 degrees."""
    cross = first[0] * second[1] - first[1] * second[0]
    return math.degrees(math.atan2(abs(cross), abs(float(first @ second))))
