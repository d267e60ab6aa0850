"""Terrain: how high the ground lies, and how long a line is that follows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.inputs.coordinates import crs_code
from parcelfence.inputs.elevation import BEYOND_CELLS, cells_of, elevation_grid, elevation_raster
from parcelfence.inputs.files import file_hash
from parcelfence.site.provenance import InputRecord, Provenance

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import LineString
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.source import ElevationSource
    from parcelfence.site.frame import Conversion, LocalFrame

__all__ = ["GroundProfile", "Terrain", "ground_length_m", "ground_profile", "read_terrain"]

STEP_M: Final = 1.0
"""Heights are taken so far apart or closer: what is finer is roughness, which a wire in a trench does not follow."""
_AROUND_M: Final = 40.0
"""Heights are kept so far beyond the property, for wire that somebody laid there."""


@dataclass(frozen=True, kw_only=True, eq=False)
class GroundProfile:
    """Chainage on the plan against length along the ground, for one line.

    Parameters
    ----------
    plan_m, ground_m : ndarray, shape (n,)
        Both from the beginning of the line, both growing.
    unknown_m : float
        Length on the plan of what is taken as flat because nobody knows how high it lies.
    """

    plan_m: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    unknown_m: float = 0.0

    @property
    def length_m(self) -> float:
        """Length along the ground."""
        return float(self.ground_m[-1])

    def along_ground(self, plan_m: float) -> float:
        """Length along the ground up to a chainage on the plan."""
        return float(np.interp(plan_m, self.plan_m, self.ground_m))

    def on_plan(self, ground_m: float) -> float:
        """Chainage on the plan at a length along the ground."""
        return float(np.interp(ground_m, self.ground_m, self.plan_m))


@dataclass(frozen=True, kw_only=True, eq=False)
class Terrain:
    """Heights of the ground around a property.

    Parameters
    ----------
    name : str
        File that they come from.
    heights_m : ndarray, shape (rows, columns)
        Height at the middle of each cell; nan where it is not known.
    affine : ndarray, shape (2, 3)
        Takes column and row, counted from the outer corner of the first cell, to x and y of the raster's CRS.
    conversion : Conversion
        From the working CRS into that of the raster.
    """

    name: str
    heights_m: NDArray[np.float64]
    affine: NDArray[np.float64]
    conversion: Conversion

    def heights(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of places, bilinear between the middles of the four cells around each.

        Parameters
        ----------
        xy : ndarray, shape (n, 2)
            In the working CRS.

        Returns
        -------
        ndarray, shape (n,)
            Metres; nan off the grid, and where one of the cells that count has no height.
        """
        rows, columns = self.heights_m.shape
        cells = cells_of(self.conversion.coordinates(xy), affine=self.affine)
        on_grid = (
            np.abs(cells - [columns / 2, rows / 2]) <= [columns / 2 + BEYOND_CELLS, rows / 2 + BEYOND_CELLS]
        ).all(axis=1)
        # beyond the middles of the outer cells their own height holds
        column, row = np.clip(cells[on_grid] - 0.5, 0.0, [columns - 1, rows - 1]).T
        left, top = column.astype(np.intp), row.astype(np.intp)
        right, bottom = np.minimum(left + 1, columns - 1), np.minimum(top + 1, rows - 1)
        across, down = column - left, row - top
        heights_m = np.full(len(xy), np.nan)
        heights_m[on_grid] = (
            self._weighed(top, left, weight=(1 - down) * (1 - across))
            + self._weighed(top, right, weight=(1 - down) * across)
            + self._weighed(bottom, left, weight=down * (1 - across))
            + self._weighed(bottom, right, weight=down * across)
        )
        return heights_m

    def _weighed(
        self, row: NDArray[np.intp], column: NDArray[np.intp], *, weight: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        return np.where(weight > 0, self.heights_m[row, column] * weight, 0.0)


def ground_profile(line: LineString, terrain: Terrain | None) -> GroundProfile:
    """Follow a line along the ground.

    Heights are taken at its vertices and between them at most :data:`STEP_M` apart; between those the ground is
    straight.  Pieces without a height at either end are flat, and so is everything where there is no terrain.
    """
    if terrain is None:
        flat_m = np.array([0.0, line.length])
        return GroundProfile(plan_m=flat_m, ground_m=flat_m)
    xy = shapely.get_coordinates(shapely.segmentize(line, STEP_M))
    steps_m, rises_m = np.hypot(*np.diff(xy, axis=0).T), np.diff(terrain.heights(xy))
    unknown = np.isnan(rises_m)
    longer_m = np.hypot(steps_m, np.where(unknown, 0.0, rises_m)) - steps_m
    plan_m = np.concatenate([[0.0], np.cumsum(steps_m)])
    return GroundProfile(
        plan_m=plan_m,
        ground_m=plan_m + np.concatenate([[0.0], np.cumsum(longer_m)]),
        unknown_m=float(steps_m[unknown].sum()),
    )


def ground_length_m(geometry: BaseGeometry, terrain: Terrain | None) -> float:
    """Length along the ground of one line or several; points among them count nothing."""
    if terrain is None:
        return float(geometry.length)
    lines = [part for part in shapely.get_parts(geometry) if part.length > 0]
    return sum(ground_profile(line, terrain).length_m for line in lines)


def read_terrain(frame: LocalFrame, source: ElevationSource, *, ground: BaseGeometry) -> tuple[Terrain, Provenance]:
    """Read the heights of a raster around a property.

    Parameters
    ----------
    frame : LocalFrame
        Working CRS of the property.
    source : ElevationSource
        The raster.
    ground : BaseGeometry
        The property, which the raster must cover.

    Returns
    -------
    Terrain
        The heights.
    Provenance
        The raster's own entry, and what is to be said about it.

    Raises
    ------
    InputError
        If the raster cannot be read, or does not cover the property.
    CrsError
        If no operation of known accuracy leads to its CRS.
    MissingExtraError
        If rasterio is not installed.
    """
    raster = elevation_raster(source)
    conversion = frame.conversion_to(raster.crs, where=source.name)
    within, around = (
        conversion.geometry(shapely.segmentize(area, _AROUND_M))
        for area in (ground, ground.buffer(_AROUND_M, quad_segs=2))
    )
    grid = elevation_grid(raster, ground=within, around=around)
    record = InputRecord(
        role="elevation",
        name=source.name,
        sha256=file_hash(source.path),
        crs=crs_code(raster.crs),
        crs_origin=raster.crs_origin,
        features=raster.columns * raster.rows,
        used=grid.heights_m.size,
        operation=frame.conversion_from(raster.crs, where=source.name).operation,
    )
    said = f"lengths of wire and trench are along the ground by {source.name}; stations are those of the plan"
    terrain = Terrain(name=source.name, heights_m=grid.heights_m, affine=grid.affine, conversion=conversion)
    return terrain, Provenance(inputs=(record,), remarks=(said, *raster.remarks, *grid.remarks))
