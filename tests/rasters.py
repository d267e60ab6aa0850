"""Rasters of elevations for tests: a surface that is given as a function of the working CRS, in any CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import rasterio
import shapely
from pyproj import CRS, Transformer
from rasterio import Affine
from shapely import Point, Polygon, box

from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    Surface = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]

FRAME = LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326))
X, Y = 10_000.0, 10_000.0
LOT = box(X - 10, Y - 10, X + 50, Y + 50)
"""A lot of 60 m by 60 m."""


def lot_site(**changes: Any) -> Site:
    """Give a site that is nothing but the lot."""
    bare: dict[str, Any] = {"name": "t", "parcel_id": "1", "parcel": LOT, "frame": FRAME}
    return Site(**(bare | {"provenance": Provenance(inputs=())} | changes))


def plane(slope: float, *, towards_deg: float = 0.0, at: tuple[float, float] = (X, Y)) -> Surface:
    """Give a plane that rises towards a direction counted from east, and lies at 100 m at a place of the lot."""
    east, north = slope * np.cos(np.radians(towards_deg)), slope * np.sin(np.radians(towards_deg))
    return lambda x, y: 100.0 + east * (x - at[0]) + north * (y - at[1])


def cells_over(
    area: Polygon, *, crs: CRS, cell: float, rotation_deg: float = 0.0
) -> tuple[NDArray[np.float64], int, int]:
    """Lay square cells of a CRS over an area of the working CRS; gives their affine (2, 3), columns and rows."""
    into = Transformer.from_crs(FRAME.crs, crs, always_xy=True)
    moved = shapely.transform(shapely.segmentize(area, 5.0), lambda xy: np.column_stack(into.transform(*xy.T)))
    turned = shapely.affinity.rotate(moved, -rotation_deg, origin=(0, 0))
    west, south, east, north = turned.bounds
    cosine, sine = np.cos(np.radians(rotation_deg)), np.sin(np.radians(rotation_deg))
    affine = np.array([[cosine, -sine], [sine, cosine]]) @ np.array([[cell, 0.0, west], [0.0, -cell, north]])
    return affine, int(np.ceil((east - west) / cell)), int(np.ceil((north - south) / cell))


def raster(
    path: Path,
    surface: Surface,
    *,
    area: Polygon | None = None,
    crs: CRS = FRAME.crs,
    cell: float = 1.0,
    rotation_deg: float = 0.0,
    unit_m: float = 1.0,
    unit: str = "",
    change: Callable[[NDArray[np.float64]], NDArray[np.float64]] = np.asarray,
    **profile: Any,
) -> Path:
    """Write a GeoTIFF whose cells hold a surface at their middles.

    Parameters
    ----------
    path : Path
        The file.
    surface : callable
        Height in metres from x and y of the working CRS.
    area : Polygon, optional
        What to cover; the lot and 50 m around it by default.
    crs, cell, rotation_deg
        CRS, size of a cell in its unit, and by how much the rows are turned.
    unit_m, unit
        Size of the unit of the heights, and what the file says of it.
    change : callable
        What becomes of the finished rows and columns, such as holes.
    **profile
        Other items of rasterio's profile.
    """
    affine, columns, rows = cells_over(area or LOT.buffer(50), crs=crs, cell=cell, rotation_deg=rotation_deg)
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    x, y = np.tensordot(affine, np.array([column, row, np.ones_like(row)]), axes=1)
    x, y = Transformer.from_crs(crs, FRAME.crs, always_xy=True).transform(x, y)
    heights = change(np.asarray(surface(x, y)) / unit_m)
    settled = {"driver": "GTiff", "dtype": "float64", "count": 1, "crs": crs.to_wkt()} | profile
    transform = Affine(*affine.ravel())
    with rasterio.open(path, "w", width=columns, height=rows, transform=transform, **settled) as dataset:
        for band in range(1, settled["count"] + 1):
            dataset.write((heights / band).astype(settled["dtype"]), band)
        if unit:
            dataset.units = [unit] * settled["count"]
    return path
