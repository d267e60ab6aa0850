"""GPX 1.1: flags as waypoints, every leg of the wire as a route to walk and as a track to look at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import gpxpy.gpx
import numpy as np
import shapely

from parcelfence import __version__
from parcelfence.antimeridian import near_turn
from parcelfence.text import visible
from parcelfence.units import station_label

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "write"]

NAME: Final = "flags.gpx"
_DECIMALS: Final = 8
_ROUTE_TOLERANCE_M: Final = 0.1
"""Route points that change the way by less are left out: handhelds limit the points of a route."""


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``flags.gpx``."""
    plan, style = delivery.plan, delivery.plan.settings.station_format
    document = gpxpy.gpx.GPX()
    document.creator = f"parcelfence {__version__}"
    document.name = visible(plan.site.name)
    document.description = (
        "Flags and boundary wire. Positions by handheld are good to some metres only: set out by tape or survey. "
        "Call the utility locating service before you dig."
    )
    places = _positions(shapely.get_coordinates(delivery.wgs84["flags"].geometry.array))
    document.waypoints = [
        gpxpy.gpx.GPXWaypoint(
            latitude=latitude,
            longitude=longitude,
            name=f"Flag {flag.flag}",
            description=f"At {station_label(flag.station_m, style=style)} of {flag.loop_id}; "
            f"taken out in round {flag.removal_round}",
            symbol="Flag, Blue",
            type="flag",
        )
        for flag, (longitude, latitude) in zip(plan.take_off.flags, places, strict=True)
    ]
    document.routes, document.tracks = _ways(delivery)
    (folder / NAME).write_text(document.to_xml(version="1.1"), encoding="utf-8", newline="\n")


def _ways(delivery: Delivery) -> tuple[list[gpxpy.gpx.GPXRoute], list[gpxpy.gpx.GPXTrack]]:
    conversion = delivery.plan.site.frame.to_wgs84()
    routes, tracks = [], []
    for leg in delivery.plan.take_off.sequence.legs:
        name = f"Leg {leg.leg} {leg.part.replace('_', ' ')} {leg.loop_id}"
        description = visible(f"From {leg.start} to {leg.end}")
        route = gpxpy.gpx.GPXRoute(name=name, description=description, number=leg.leg)
        walked = shapely.simplify(leg.line, _ROUTE_TOLERANCE_M)
        route.points = [
            gpxpy.gpx.GPXRoutePoint(latitude=latitude, longitude=longitude)
            for longitude, latitude in _positions(conversion.coordinates(shapely.get_coordinates(walked)))
        ]
        routes.append(route)
        track = gpxpy.gpx.GPXTrack(name=name, description=description, number=leg.leg)
        track.segments = [
            gpxpy.gpx.GPXTrackSegment([
                gpxpy.gpx.GPXTrackPoint(latitude=latitude, longitude=longitude)
                for longitude, latitude in _positions(conversion.coordinates(shapely.get_coordinates(leg.line)))
            ])
        ]
        tracks.append(track)
    return routes, tracks


def _positions(coordinates: npt.NDArray[np.float64]) -> list[list[float]]:
    positions: list[list[float]] = np.round(near_turn(coordinates, about=0.0), _DECIMALS).tolist()
    return positions
