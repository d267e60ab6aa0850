"""Sites made by hand for the designer, in metres."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely
from pyproj import CRS
from shapely import LineString, Point, Polygon, box

from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from shapely.geometry.base import BaseGeometry

LOT = Polygon([(0, 0), (60, 0), (75, 50), (10, 60)])
"""A lot without a right angle."""
HOUSE = box(30, 25, 42, 35)
_FRAME = LocalFrame(crs=CRS.from_epsg(32618), centre_lon_lat=(-75.0, 43.0))
_AREAS = ("buildings", "keep_outs", "water", "easements", "roads", "hardscape", "metal", "open_sides", "neighbours")


def feature(geometry: BaseGeometry, name: str = "F1") -> Feature:
    return Feature(id=name, kind="thing", source_id="test", geometry=geometry)


def utility(geometry: BaseGeometry, name: str = "U1", *, kind: str = "gas", **changes: Any) -> Utility:
    given = {"apwa_color": "yellow", "tolerance_m": 0.61} | changes
    return Utility(id=name, kind=kind, source_id="test", geometry=geometry, **given)


def make_site(parcel: BaseGeometry = LOT, *, utilities: Sequence[BaseGeometry | Utility] = (), **layers: Any) -> Site:
    """Make a site; layers are given as sequences of plain geometries."""
    lines = tuple(
        each if isinstance(each, Utility) else utility(each, f"U{number}")
        for number, each in enumerate(utilities, start=1)
    )
    areas = {
        role: tuple(feature(shape, f"{role}-{number}") for number, shape in enumerate(layers.pop(role), start=1))
        for role in _AREAS
        if role in layers
    }
    return Site(
        name="test",
        parcel_id="1",
        parcel=parcel,
        frame=_FRAME,
        provenance=Provenance(inputs=()),
        utilities=lines,
        **areas,
        **layers,
    )


def moved(site: Site, change: Callable[[BaseGeometry], BaseGeometry]) -> Site:
    """Move everything on a site."""
    from dataclasses import replace

    changes: dict[str, Any] = {"parcel": change(site.parcel)}
    for role in (*_AREAS, "utilities"):
        changes[role] = tuple(replace(each, geometry=change(each.geometry)) for each in getattr(site, role))
    if site.transmitter is not None:
        changes["transmitter"] = change(site.transmitter)
    return replace(site, **changes)


def apart_m(one: LineString, other: LineString) -> float:
    """How far apart two closed lines lie at most."""
    return float(shapely.hausdorff_distance(shapely.segmentize(one, 0.25), shapely.segmentize(other, 0.25)))


def sharpest_radius_m(ring: LineString, *, step_m: float) -> float:
    """Least radius of the circles through three points of a closed line, each so far from the next."""
    count = int(ring.length / (step_m / 4))
    at = shapely.get_coordinates(shapely.line_interpolate_point(ring, [n * ring.length / count for n in range(count)]))
    sharpest = float("inf")
    for n in range(count):
        a, b, c = at[n - 4], at[n], at[(n + 4) % count]
        sides = Point(a).distance(Point(b)) * Point(b).distance(Point(c)) * Point(c).distance(Point(a))
        double_area = abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
        if double_area > 1e-9:
            sharpest = min(sharpest, sides / (2 * double_area))
    return sharpest
