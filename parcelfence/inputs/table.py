"""A table: the tidy content of one source, in the source's own CRS, with what was repaired on the way."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence.errors import Fault
from parcelfence.inputs.raw import feature_label

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.source import Source

__all__ = ["LeftOut", "Record", "Table"]

_MOST_NAMED: Final = 5
"""So many features of one repair are named; the others are counted."""


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
    notes : tuple of str
        What was mended.
    """

    position: int
    geometry: BaseGeometry
    attributes: Mapping[str, Any]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """One feature that cannot be used, with the reason."""

    position: int
    attributes: Mapping[str, Any]
    reason: str


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
    left_out : mapping of int to LeftOut
        The others, by their place in the file.
    remarks : tuple of Fault
        What is to be said of the file as a whole.
    fields : tuple of str
        Names of the attributes.
    sha256 : str
        Hash of the file (for a shapefile: of all its parts).
    crs_origin : str
        How the CRS is known: ``"file"``, ``"GeoJSON standard"``, ``"given"``.
    features : int
        How many features the file holds, usable or not.
    rounded_to_m : float
        Step to which all coordinates are rounded, where it is coarse enough to matter; 0 otherwise.
    """

    source: Source
    crs: CRS
    records: tuple[Record, ...]
    left_out: Mapping[int, LeftOut] = field(default_factory=dict)
    remarks: tuple[Fault, ...] = ()
    fields: tuple[str, ...] = ()
    sha256: str = ""
    crs_origin: str = "file"
    features: int = 0
    rounded_to_m: float = 0.0

    @cached_property
    def bounds(self) -> NDArray[np.float64]:
        """West, south, east and north of each record, shape (n, 4)."""
        geometries = np.array([record.geometry for record in self.records], dtype=object)
        return shapely.bounds(geometries).reshape(-1, 4)

    @cached_property
    def repairs(self) -> tuple[Fault, ...]:
        """Everything that was mended or left out in the file; alike ones together, the first few features named."""
        return self.repairs_among(self.records, and_left_out=True)

    def repairs_among(self, records: Iterable[Record], *, and_left_out: bool) -> tuple[Fault, ...]:
        """Tell the repairs of some records, and if wanted what was left out of the file: it may lie among them."""
        groups: defaultdict[tuple[str, bool], list[Record | LeftOut]] = defaultdict(list)
        for record in records:
            for note in record.notes:
                groups[note, False].append(record)
        for one in self.left_out.values() if and_left_out else ():
            groups[one.reason, True].append(one)
        return (*self.remarks, *(self._told(found, rows, omitted=omitted) for (found, omitted), rows in groups.items()))

    def _told(self, found: str, rows: list[Record | LeftOut], *, omitted: bool) -> Fault:
        count = f"{len(rows):,} feature{'s' if len(rows) != 1 else ''}" + (" left out" if omitted else "")
        more = f" and {len(rows) - _MOST_NAMED:,} more" if len(rows) > _MOST_NAMED else ""
        labels = [feature_label(row.position, row.attributes, id_field=self.source.id_field) for row in rows]
        return Fault(
            where=self.source.name,
            feature=", ".join(labels[:_MOST_NAMED]) + more,
            found=f"{found} ({count})" if len(rows) > 1 or omitted else found,
            remedy="see to the source if it matters" if omitted else "",
        )
