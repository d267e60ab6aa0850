"""GeoJSON by RFC 7946: WGS 84, longitude first, right-hand rule, a bounding box, no ``crs`` member.

Written by hand rather than by a driver, so that number formatting, ring order and member order are ours and stay the
same: eight decimals are about a millimetre.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import numpy.typing as npt
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from parcelfence.outputs.delivery import Delivery

__all__ = ["DECIMALS", "feature_collection", "write"]

DECIMALS: Final = 8
"""Decimals of a degree: 1.1 mm or less on the ground."""
VALUE_DECIMALS: Final = 6
"""Decimals of the numbers in properties; a micrometre."""


def write(delivery: Delivery, folder: Path) -> None:
    """Write one file for every layer."""
    place = folder / "geojson"
    place.mkdir()
    for name, table in delivery.layers_wgs84.items():
        collection = feature_collection(table, name=name)
        text = json.dumps(collection, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        (place / f"{name}.geojson").write_text(
            _one_feature_a_line(text), encoding="utf-8", errors="replace", newline="\n"
        )


def feature_collection(table: GeoDataFrame, *, name: str) -> dict[str, Any]:
    """Make the feature collection of a table.

    Parameters
    ----------
    table : GeoDataFrame
        On WGS 84.
    name : str
        Name of the layer; becomes the ``name`` member that GIS tools show.

    Returns
    -------
    dict
        Ready for :func:`json.dumps`; missing numbers are null.
    """
    geometries = _rounded(np.asarray(table.geometry.array, dtype=object))
    columns = [column for column in table.columns if column != table.geometry.name]
    values = [[_plain(value) for value in table[column].tolist()] for column in columns]
    features = [
        {
            "type": "Feature",
            "id": number,
            "properties": dict(zip(columns, row, strict=True)),
            "geometry": _geometry(geometry),
        }
        for number, (row, geometry) in enumerate(zip(zip(*values, strict=True), geometries, strict=True), start=1)
    ]
    corners = shapely.get_coordinates(geometries)
    bounds = [*corners.min(axis=0), *corners.max(axis=0)] if len(corners) else []
    box = {"bbox": [round(float(bound), DECIMALS) for bound in bounds]} if bounds else {}
    return {"type": "FeatureCollection", "name": name, **box, "features": features}


def _rounded(geometries: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Round to the decimals that are written, keep polygons valid, and turn rings by the right-hand rule.

    A rounded number is the double nearest to its decimals, so that it is written with no more of them.
    """
    rounded = shapely.transform(geometries, lambda xy: np.round(xy, DECIMALS))
    spoilt = shapely.is_valid(geometries) & ~shapely.is_valid(rounded)
    rounded[spoilt] = shapely.set_precision(geometries[spoilt], 10.0**-DECIMALS)
    turned: npt.NDArray[np.object_] = shapely.orient_polygons(rounded)
    return turned


def _geometry(geometry: BaseGeometry | None) -> Mapping[str, Any] | None:
    if geometry is None or geometry.is_empty:
        return None
    mapping: Mapping[str, Any] = shapely.geometry.mapping(geometry)
    return mapping


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, VALUE_DECIMALS) if math.isfinite(value) else None
    return value


def _one_feature_a_line(text: str) -> str:
    """Break the text before every feature, so that people and version control can read it."""
    return text.replace('{"type":"Feature",', '\n{"type":"Feature",') + "\n"
