"""Small files for the tests of the readers, all around one invented lot."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import fiona
from shapely import wkt
from shapely.geometry import mapping

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

WEST, SOUTH = -76.2150, 42.7125
STATE_PLANE = "EPSG:6535"
"""NAD83(2011) / New York Central, US survey feet."""


def lot(west: float = WEST, south: float = SOUTH, *, size: float = 0.001) -> dict[str, Any]:
    """Give a square as a GeoJSON polygon."""
    ring = [[west, south], [west + size, south], [west + size, south + size], [west, south + size], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def polygon(*rings: Sequence[Sequence[float]]) -> dict[str, Any]:
    """Give a polygon of rings that are offsets, in thousandths of a degree, from the south-west corner."""
    shifted = [[[WEST + x / 1000, SOUTH + y / 1000, *rest] for x, y, *rest in ring] for ring in rings]
    return {"type": "Polygon", "coordinates": shifted}


def feature(geometry: Any, **properties: Any) -> dict[str, Any]:
    """Give a GeoJSON feature."""
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def geojson(path: Path, features: Iterable[Any], **members: Any) -> Path:
    """Write a GeoJSON file."""
    document = {"type": "FeatureCollection", "features": list(features), **members}
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def vector(
    path: Path, shapes: Iterable[str], *, driver: str, crs: str | None = STATE_PLANE, layer: str | None = None
) -> Path:
    """Write shapes given as WKT, with a running number."""
    geometries = [wkt.loads(shape) for shape in shapes]
    schema = {"geometry": geometries[0].geom_type, "properties": {"number": "int"}}
    with fiona.open(path, "w", driver=driver, schema=schema, crs=crs, layer=layer) as target:
        for number, geometry in enumerate(geometries, start=1):
            target.write({"type": "Feature", "geometry": mapping(geometry), "properties": {"number": number}})
    return path


def shapefile(folder: Path, shapes: Iterable[str] = (), *, without: Iterable[str] = (), crs: str = STATE_PLANE) -> Path:
    """Write a shapefile, and take some of its parts away."""
    square = "POLYGON ((919000 988000, 919000 988300, 919300 988300, 919300 988000, 919000 988000))"
    path = vector(folder / "lots.shp", list(shapes) or [square], driver="ESRI Shapefile", crs=crs)
    for suffix in without:
        path.with_suffix(suffix).unlink()
    return path
