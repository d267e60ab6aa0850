"""The survey sheet: every course of the wire with bearing and distance, and the parcel closed by its coordinates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from parcelfence.takeoff.courses import Closure, Course, bearing_label, courses, traverse_closure
from parcelfence.units import station_label

if TYPE_CHECKING:
    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Survey", "SurveyCourse", "parcel_closures", "survey"]


@dataclass(frozen=True, kw_only=True)
class SurveyCourse:
    """One course of a run, as it is staked.

    Parameters
    ----------
    loop_id : str
        Run that it belongs to.
    course : Course
        Its geometry; directions are from grid north of the working CRS, which is true north at its centre.
    start, end : str
        Chainage of its ends, as written on a stake.
    bearing : str
        Quadrant bearing from start to end; of a curve, of its chord.
    offset_m : float
        Distance of its start to the nearest lot line.
    """

    loop_id: str
    course: Course
    start: str
    end: str
    bearing: str
    offset_m: float


@dataclass(frozen=True, kw_only=True)
class Survey:
    """All courses of the wire, the courses of the parcel's outline, and its closure and area."""

    wire: tuple[SurveyCourse, ...]
    parcel: tuple[SurveyCourse, ...]
    closures: tuple[Closure, ...]


def survey(loop: Loop, site: Site, *, settings: Settings) -> Survey:
    """Write down the wire and the parcel as a surveyor does.

    Parameters
    ----------
    loop : Loop
        Its runs are reduced to tangents and curves.
    site : Site
        Its parcel gives offsets, courses and areas; of several parts, each has its closure.
    settings : Settings
        How chainage is written.
    """
    rings = [part.exterior for part in shapely.get_parts(site.parcel)]
    return Survey(
        wire=tuple(
            row
            for run in loop.runs
            for row in _rows(run.line, site, loop_id=run.loop_id, start_m=run.start_station_m, settings=settings)
        ),
        parcel=tuple(
            row
            for number, ring in enumerate(rings, start=1)
            for row in _rows(shapely.LineString(ring.coords), site, loop_id=f"lot line {number}", settings=settings)
        ),
        closures=parcel_closures(site),
    )


def parcel_closures(site: Site) -> tuple[Closure, ...]:
    """Close the outline of every part of the parcel; holes are not taken off the areas."""
    rings = [part.exterior for part in shapely.get_parts(site.parcel)]
    return tuple(traverse_closure(shapely.get_coordinates(ring)) for ring in rings)


def _rows(
    line: shapely.LineString, site: Site, *, loop_id: str, settings: Settings, start_m: float = 0.0
) -> list[SurveyCourse]:
    found = courses(line)
    starts = shapely.points(np.array([course.start for course in found]).reshape(-1, 2))
    offsets_m = np.atleast_1d(shapely.distance(site.parcel.boundary, starts))
    return [
        SurveyCourse(
            loop_id=loop_id,
            course=course,
            start=station_label(start_m + course.start_m, style=settings.station_format),
            end=station_label(start_m + course.end_m, style=settings.station_format),
            bearing=bearing_label(course.azimuth_deg),
            offset_m=float(offset),
        )
        for course, offset in zip(found, offsets_m, strict=True)
    ]
