"""A table: the tidy content of one source, in the source's own CRS, with what was repaired on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.errors import Fault
    from parcelfence.inputs.source import Source

__all__ = ["Record", "Table"]


@dataclass(frozen=True, kw_only=True)
class Record:
    """One usable feature of a source.

    Parameters
    ----------
    position : int
        Place in the file, from 0.
    geometry : BaseGeometry
        Two-dimensional, not empty, valid, finite; in the CRS of the source.
    attributes : mapping
        Attributes as read, with text stripped and missing values as None.
    """

    position: int
    geometry: BaseGeometry
    attributes: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Table:
    """What a source holds.

    Parameters
    ----------
    source : Source
        Where it came from.
    crs : CRS
        Horizontal CRS of the geometries.
    records : tuple of Record
        Usable features in the order of the file.
    repairs : tuple of Fault
        What was mended or left out, feature by feature; all of it goes into the provenance.
    fields : tuple of str
        Names of the attributes.
    sha256 : str
        Hash of the file (for a shapefile: of all its parts).
    crs_origin : str
        How the CRS is known: ``"file"``, ``"GeoJSON standard"``, ``"given"``.
    features : int
        How many features the file holds, usable or not.
    left_out : mapping of int to str
        Why a feature is not among the records, by its place in the file.
    """

    source: Source
    crs: CRS
    records: tuple[Record, ...]
    repairs: tuple[Fault, ...] = ()
    fields: tuple[str, ...] = ()
    sha256: str = ""
    crs_origin: str = "file"
    features: int = 0
    left_out: Mapping[int, str] = field(default_factory=dict)

    @cached_property
    def bounds(self) -> NDArray[np.float64]:
        """West, south, east and north of each record, shape (n, 4)."""
        geometries = np.array([record.geometry for record in self.records], dtype=object)
        return shapely.bounds(geometries).reshape(-1, 4)
