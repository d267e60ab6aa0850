"""A walk: points where a person who walked the laid wire with the receiver first heard it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from pyproj import CRS

from parcelfence.errors import Fault, InputError
from parcelfence.inputs.coordinates import checked_coordinates
from parcelfence.inputs.drawings import gpx_document
from parcelfence.inputs.files import CSV_SUFFIXES, check_file
from parcelfence.inputs.formats import read_raw
from parcelfence.inputs.raw import RawFeature, RawLayer
from parcelfence.inputs.repair import LARGEST_ORDINATE
from parcelfence.inputs.source_crs import source_crs
from parcelfence.inputs.survey_csv import csv_rows
from parcelfence.inputs.walk_stations import is_station_table, read_stations

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from parcelfence.inputs.source import Source
    from parcelfence.inputs.walk_stations import WalkedStation
    from parcelfence.settings import Settings

__all__ = ["WalkedPoints", "WalkedStations", "read_walk"]

_NAME_FIELDS: Final = ("name", "point", "label", "id", "no", "number", "fid")
_POINT_TYPES: Final = frozenset({"Point", "MultiPoint"})
_LONGITUDE: Final = frozenset({"longitude", "lon", "lng", "long"})
_LATITUDE: Final = frozenset({"latitude", "lat"})
_PLANNED_FLAG: Final = re.compile(r"flag \d+", re.IGNORECASE)
_REMEDY: Final = "save one point at every place where the receiver was first heard, and give that file"


@dataclass(frozen=True, kw_only=True, eq=False)
class WalkedPoints:
    """A walk with coordinates.

    Parameters
    ----------
    name : str
        The file.
    names : tuple of str
        What the person called each point, or its number in the file.
    coordinates : ndarray, shape (n, 2)
        In the order of the file.
    crs : CRS
        Horizontal CRS of them.
    crs_origin : str
        How it is known.
    repairs : tuple of Fault
        What was mended or left out.
    """

    name: str
    names: tuple[str, ...]
    coordinates: NDArray[np.float64]
    crs: CRS
    crs_origin: str
    repairs: tuple[Fault, ...] = ()


@dataclass(frozen=True, kw_only=True)
class WalkedStations:
    """A walk taped from the wire.

    Parameters
    ----------
    name : str
        The file.
    stations : tuple of WalkedStation
        In the order of the file.
    repairs : tuple of Fault
        What was left out.
    """

    name: str
    stations: tuple[WalkedStation, ...]
    repairs: tuple[Fault, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """What the person called each point, or its line in the file."""
        return tuple(station.name or f"line {station.line}" for station in self.stations)


def read_walk(source: Source, *, settings: Settings) -> WalkedPoints | WalkedStations:
    """Read a walk.

    Parameters
    ----------
    source : Source
        Points in GeoJSON, shapefile, GeoPackage or FlatGeobuf; waypoints in GPX; or CSV: survey points, points with
        columns of longitude and latitude, or stations with a distance (see
        :func:`~parcelfence.inputs.walk_stations.read_stations`). Longitude and latitude in CSV are WGS 84 unless a CRS
        is given.
    settings : Settings
        Units and station format of the plan.

    Raises
    ------
    InputError
        If the file cannot be read or holds no point.
    CrsError
        If its CRS is missing, or its coordinates cannot be in it.
    """
    if source.frame is not None:
        return _points(read_raw(source), source=source)
    path = source.path
    check_file(path)
    if path.suffix.lower() in CSV_SUFFIXES and is_station_table(path.read_bytes(), name=source.name):
        stations, remarks = read_stations(path.read_bytes(), name=source.name, settings=settings)
        if not stations:
            raise InputError([_empty(source.name), *remarks])
        return WalkedStations(name=source.name, stations=stations, repairs=remarks)
    return _points(_raw(source), source=source)


def _raw(source: Source) -> RawLayer:
    path, suffix = source.path, source.path.suffix.lower()
    if suffix == ".gpx":
        return _waypoints(path)
    raw = read_raw(source)
    if suffix in CSV_SUFFIXES and source.crs is None and _in_degrees(path):
        return RawLayer(
            name=raw.name,
            features=raw.features,
            crs=CRS.from_epsg(4326),
            crs_origin="columns of longitude and latitude, taken as WGS 84",
            fields=raw.fields,
        )
    return raw


def _in_degrees(path: Path) -> bool:
    rows, _ = csv_rows(path.read_bytes(), name=path.name)
    heading = {cell.strip().casefold() for cell in rows[0][1]}
    return bool(heading & _LONGITUDE) and bool(heading & _LATITUDE)


def _waypoints(path: Path) -> RawLayer:
    """Take the waypoints of a GPX file, without the flags of a plan that was loaded into the same device."""
    document = gpx_document(path)
    walked = [point for point in document.waypoints if not _PLANNED_FLAG.fullmatch((point.name or "").strip())]
    number = len(document.waypoints) - len(walked)
    flags = f"{number} flag{'s' if number != 1 else ''} of a plan" if number else ""
    if not walked:
        tracks = len(document.tracks)
        held = f"{tracks} track{'s' if tracks != 1 else ''}" if tracks else flags
        found = f"it holds {held or 'nothing'}, but no waypoint of a walk"
        must = "a track is the way walked, and does not say where the receiver was first heard" if tracks else ""
        raise InputError(Fault(where=path.name, found=found, must=must, remedy=_REMEDY))
    features = tuple(
        RawFeature(
            position=position,
            geometry=shapely.Point(point.longitude, point.latitude),
            attributes={"name": (point.name or "").strip() or None},
        )
        for position, point in enumerate(walked)
    )
    remark = Fault(where=path.name, found=f"{flags} among the waypoints left out")
    return RawLayer(
        name=path.name,
        features=features,
        crs=CRS.from_epsg(4326),
        crs_origin="GPX standard",
        remarks=(remark,) if flags else (),
    )


def _points(raw: RawLayer, *, source: Source) -> WalkedPoints:
    """Take every point, and tell what is none."""
    points: list[shapely.Point] = []
    names: list[str] = []
    faults: list[Fault] = []
    for feature in raw.features:
        fault = _unusable(feature)
        if fault:
            faults.append(Fault(where=source.name, feature=str(feature.position + 1), found=f"{fault}; left out"))
            continue
        parts = shapely.get_parts(shapely.force_2d(feature.geometry))
        points += list(parts)
        names += [_name(feature)] * len(parts)
    if not points:
        raise InputError([_empty(source.name, features=len(raw.features)), *raw.remarks, *faults])
    known = source_crs(raw, source)
    geometries, remarks, possible = checked_coordinates(np.array(points, dtype=object), known.crs, source=source)
    return WalkedPoints(
        name=source.name,
        names=tuple(name for name, good in zip(names, possible, strict=True) if good),
        coordinates=shapely.get_coordinates(geometries[possible]),
        crs=known.crs,
        crs_origin=known.origin,
        repairs=(*raw.remarks, *known.remarks, *remarks, *faults),
    )


def _unusable(feature: RawFeature) -> str:
    """Say why a feature is no walked point; empty if it is one."""
    if feature.fault:
        return feature.fault
    geometry = feature.geometry
    if geometry is None or geometry.is_empty:
        return "it has no geometry"
    if geometry.geom_type not in _POINT_TYPES:
        return f"it is a {geometry.geom_type}, no point"
    coordinates = shapely.get_coordinates(geometry)
    return "" if (np.abs(coordinates) < LARGEST_ORDINATE).all() else "its coordinates are not finite numbers"


def _name(feature: RawFeature) -> str:
    lowered = {name.casefold(): value for name, value in feature.attributes.items()}
    given = (str(lowered[name]) for name in _NAME_FIELDS if lowered.get(name) is not None)
    return next(given, f"point {feature.position + 1}")


def _empty(name: str, *, features: int = 0) -> Fault:
    found = f"none of its {features} features is a point" if features else "it holds no walked points"
    return Fault(where=name, found=found, remedy=_REMEDY)
