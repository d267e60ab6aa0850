"""GPX: tracks, or routes where there are no tracks, as lines on WGS 84."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pyproj import CRS
from shapely import LineString

from parcelfence.errors import Fault, InputError
from parcelfence.inputs.raw import RawFeature, RawLayer, tidy_attributes

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["gpx_document", "read_gpx"]

_FEWEST = 2


def gpx_document(path: Path) -> Any:
    """Parse a GPX file; raises InputError if it is none."""
    import gpxpy
    from gpxpy.gpx import GPXException

    try:
        return gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    except (GPXException, UnicodeDecodeError, ValueError) as error:
        raise InputError(
            Fault(where=path.name, found=f"it is no GPX file ({error})", remedy="export the track again")
        ) from error


def read_gpx(path: Path) -> RawLayer:
    """Read the lines of a GPX file.

    Parameters
    ----------
    path : Path
        A track is taken segment by segment; routes are taken only if there is no track, for they are thinned out.

    Raises
    ------
    InputError
        If it is no GPX, or holds no line.
    """
    document = gpx_document(path)
    tracks = [(track, segment.points) for track in document.tracks for segment in track.segments]
    ways: list[tuple[Any, Any]] = tracks or [(route, route.points) for route in document.routes]
    features = tuple(
        RawFeature(
            position=position,
            geometry=LineString([(point.longitude, point.latitude) for point in points]),
            attributes=tidy_attributes({
                "name": _last_word(way.name),
                "description": f"{way.name} {way.comment or ''}",
            }),
        )
        for position, (way, points) in enumerate(ways)
        if len(points) >= _FEWEST
    )
    if not features:
        found = f"it holds {len(document.waypoints)} waypoints, but no track and no route"
        raise InputError(Fault(where=path.name, found=found, remedy="record or export the wire as a track"))
    return RawLayer(name=path.name, features=features, crs=CRS.from_epsg(4326), crs_origin="GPX standard")


def _last_word(name: str | None) -> str:
    return (name or "").split(" ")[-1]
