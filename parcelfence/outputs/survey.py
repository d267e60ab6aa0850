"""The survey sheet: every course of the wire and of the lot lines, with bearings, distances and coordinates.

Bearings, coordinates and distances are those of one system, the working CRS or the projected one that was asked for,
so that each row inverts from its own coordinates.  The ground distance is the planned one, in the same unit.
"""

from __future__ import annotations

import csv
import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from parcelfence.outputs.escaping import csv_text
from parcelfence.site.scale import MEAN_RADIUS_M, scale_at
from parcelfence.takeoff.courses import bearing_label
from parcelfence.takeoff.survey import parcel_closures, survey

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from parcelfence.outputs.delivery import Delivery
    from parcelfence.takeoff.survey import SurveyCourse

__all__ = ["COLUMNS", "NAME", "survey_figures", "write"]

NAME: Final = "survey.csv"
COLUMNS: Final = (
    "loop",
    "number",
    "kind",
    "from_station",
    "to_station",
    "bearing",
    "azimuth_deg",
    "distance",
    "ground_distance",
    "radius",
    "delta_deg",
    "turn",
    "from_northing",
    "from_easting",
    "to_northing",
    "to_easting",
    "lot_line_offset",
)
"""A curve has the bearing of its chord and the length of its arc; the offset is that of its beginning."""
DECIMALS: Final = 3
_ANGLE_DECIMALS: Final = 5
_PROBE_M: Final = 10.0


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``survey.csv``, in the working CRS or the projected one that was asked for."""
    plan = delivery.plan
    sheet = survey(plan.loop, plan.site, settings=plan.settings.replaced(station_format=delivery.station_style))
    courses = [*sheet.wire, *sheet.parcel]
    starts, ends = (np.array([getattr(row.course, end) for row in courses]) for end in ("start", "end"))
    unit_m = delivery.plane_crs.axis_info[0].unit_conversion_factor
    carried = zip(_carried(starts, delivery), _carried(ends, delivery), _scales(starts, delivery), strict=True)
    with (folder / NAME).open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for row, (start, end, scale) in zip(courses, carried, strict=True):
            rows.writerow(_cells(row, ends=(start, end), scale=float(scale), unit_m=unit_m))


def survey_figures(delivery: Delivery) -> dict[str, Any]:
    """Give closure and area of the parcel by its coordinates, and the scale of the system that is handed out.

    Parameters
    ----------
    delivery : Delivery
        The plan and its systems.

    Returns
    -------
    dict
        ``parcel`` with perimeter, misclosure, precision (one in so many; null where it closes exactly) and area of
        each outline in the working CRS; ``scale`` with the factors at the centre of the property (null where
        the scale depends on the direction, as in a Web Mercator).
    """
    site, crs = delivery.plan.site, delivery.plane_crs
    height_m = delivery.plan.settings.ground_elevation_m
    scale = scale_at(crs, lon_lat=site.frame.centre_lon_lat, height_m=height_m or 0.0)
    return {
        "parcel": [
            {
                "perimeter_m": closure.perimeter,
                "misclosure_m": closure.misclosure,
                "precision_one_in": closure.precision,
                "area_m2": closure.area,
            }
            for closure in parcel_closures(site)
        ],
        "scale": {
            "crs": crs.name,
            "grid_factor": scale.grid,
            "elevation_factor": scale.elevation,
            "combined_factor": scale.combined,
            "height_m": height_m,
            "mean_radius_m": MEAN_RADIUS_M,
        },
    }


def _carried(points: NDArray[np.float64], delivery: Delivery) -> NDArray[np.float64]:
    """Points of the working CRS in the plane system of the delivery."""
    frame = delivery.plan.site.frame
    if delivery.plane_crs == frame.crs:
        return points
    return frame.conversion_to(delivery.plane_crs, where="CRS of the outputs").coordinates(points)


def _scales(points: NDArray[np.float64], delivery: Delivery) -> NDArray[np.float64]:
    """Length in the plane system, in its unit, for a metre of the working CRS."""
    steps = _carried(np.add(points, (_PROBE_M, 0.0)), delivery) - _carried(points, delivery)
    scales: NDArray[np.float64] = np.hypot(*steps.T) / _PROBE_M
    return scales


def _cells(
    row: SurveyCourse, *, ends: tuple[NDArray[np.float64], NDArray[np.float64]], scale: float, unit_m: float
) -> tuple[object, ...]:
    course, ((west, south), (east, north)) = row.course, ends
    azimuth_deg = math.degrees(math.atan2(east - west, north - south)) % 360.0
    length = course.length_m * scale if course.is_curve else math.hypot(east - west, north - south)
    curve = ("", "", "")
    if course.radius_m is not None:
        turn = "left" if course.turn_deg > 0 else "right"
        curve = (_number(course.radius_m * scale), f"{abs(course.turn_deg):.{_ANGLE_DECIMALS}f}", turn)
    return (
        csv_text(row.loop_id),
        course.number,
        "arc" if course.is_curve else "line",
        csv_text(row.start),
        csv_text(row.end),
        bearing_label(azimuth_deg),
        f"{azimuth_deg:.{_ANGLE_DECIMALS}f}",
        _number(length),
        _number(course.length_m / unit_m),
        *curve,
        *(_number(value) for value in (south, west, north, east)),
        _number(row.offset_m * scale),
    )


def _number(value: float) -> str:
    return f"{value:.{DECIMALS}f}"
