"""Small invented sites as files, drawn in plain metres, and the command line that is run on them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from click.testing import CliRunner
from pyproj import CRS, Transformer
from shapely import LineString, box
from shapely.affinity import translate

from parcelfence.cli.main import parcelfence

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result
    from shapely.geometry.base import BaseGeometry

UTM = CRS.from_epsg(32618)
EAST, NORTH = 480_000.0, 4_740_000.0
"""Where the origin of the drawings lies, in UTM zone 18 north."""
LOT = box(0, 0, 60, 40)
HOUSE = box(22, 16, 36, 25)
GAS = LineString([(48, -10), (48, 50)])

Drawn = tuple["BaseGeometry", dict[str, Any]]


def write_layer(path: Path, *features: Drawn) -> Path:
    """Write features, drawn in metres from the origin, as GeoJSON."""
    to_degrees = Transformer.from_crs(UTM, 4326, always_xy=True)

    def placed(geometry: BaseGeometry) -> Any:
        moved = shapely.transform(translate(geometry, EAST, NORTH), to_degrees.transform, interleaved=False)
        return json.loads(shapely.to_geojson(moved))

    rows = [
        {"type": "Feature", "properties": properties, "geometry": placed(geometry)} for geometry, properties in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}), encoding="utf-8")
    return path


def write_site(folder: Path, settings: dict[str, Any] | None = None, /, **layers: list[Drawn]) -> Path:
    """Write a project with its layers; the parcel is the lot unless another one is given."""
    layers = {"parcels": [(LOT, {"lot": "7"})]} | layers
    folder.mkdir(parents=True, exist_ok=True)
    lines = ["[site]", 'name = "Thistle Row"', "[layers]"]
    for role, features in layers.items():
        write_layer(folder / f"{role}.geojson", *features)
        lines.append(f'{role} = "{role}.geojson"')
    lines += ["[settings]", *(f"{name} = {json.dumps(value)}" for name, value in (settings or {}).items())]
    (folder / "SITE.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / "SITE.toml"


def write_slope(path: Path, *, slope: float) -> Path:
    """Write an elevation raster of a plane that rises towards the east."""
    import rasterio

    cell, columns, rows = 2.0, 80, 70
    height = 100.0 + slope * cell * (np.arange(columns) + 0.5)
    place = rasterio.Affine(cell, 0.0, EAST - 40.0, 0.0, -cell, NORTH + 90.0)
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float64", crs=UTM.to_wkt(),
        transform=place, nodata=-9999.0,
    ) as raster:  # fmt: skip
        raster.write(np.tile(height, (rows, 1)), 1)
    return path


def run(*arguments: object) -> Result:
    """Run the command line."""
    return CliRunner().invoke(parcelfence, [str(argument) for argument in arguments], catch_exceptions=False)


def read_layer(plan: Path, name: str) -> list[dict[str, Any]]:
    """Read a layer of a written plan: its rows, with their geometry under that name."""
    features = json.loads((plan / "geojson" / f"{name}.geojson").read_text(encoding="utf-8"))["features"]
    return [feature["properties"] | {"geometry": feature["geometry"]} for feature in features]


def read_summary(plan: Path) -> dict[str, Any]:
    """Read the summary of a written plan."""
    found: dict[str, Any] = json.loads((plan / "summary.json").read_text(encoding="utf-8"))
    return found


def conflicts_of(plan: Path, rule: str = "") -> list[dict[str, Any]]:
    """Read the conflicts of a written plan, of one rule if one is named."""
    return [row for row in read_layer(plan, "conflicts") if not rule or row["rule"] == rule]
