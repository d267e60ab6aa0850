"""Surroundings: the part of each table that lies near the property, in the working CRS."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from pyproj import Transformer

from parcelfence.antimeridian import TURN_DEG
from parcelfence.site.provenance import InputRecord
from parcelfence.site.whereabouts import ELSEWHERE_M, gap_m

if TYPE_CHECKING:
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.table import Record, Table
    from parcelfence.site.frame import Conversion, LocalFrame

__all__ = ["Surroundings", "box_around", "surroundings"]

_LEAST_METRES_IN_A_DEGREE: Final = 110_000.0
_CONTEXT_M: Final = 40.0
"""Features farther from the property than this have no part in its plan."""


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """Records of one table near the property.

    Parameters
    ----------
    table : Table
        The table that they come from.
    records : tuple of (Record, BaseGeometry)
        Each record with its geometry in the working CRS.
    input_record : InputRecord
        What the provenance says of it.
    """

    table: Table
    records: tuple[tuple[Record, BaseGeometry], ...]
    input_record: InputRecord

    @property
    def role(self) -> str:
        """Role of the table."""
        return self.table.source.role


def box_around(
    box: tuple[float, float, float, float], crs: CRS, *, into: CRS, mark_join_gap_m: float
) -> tuple[float, float, float, float]:
    """Give the box, in another CRS, of all that may have a part in the plans of parcels in a box."""
    west, south, east, north = box
    margin = 2.0 * (_CONTEXT_M + mark_join_gap_m)
    if crs.is_geographic:
        margin /= _LEAST_METRES_IN_A_DEGREE * max(0.01, math.cos(math.radians(min(89.0, max(abs(south), abs(north))))))
    else:
        margin /= crs.axis_info[0].unit_conversion_factor
    wide = (west - margin, south - margin, east + margin, north + margin)
    if crs == into:
        return wide
    bounds = Transformer.from_crs(crs, into, always_xy=True).transform_bounds(*wide)
    return (float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3]))


def surroundings(table: Table, *, frame: LocalFrame, ground: BaseGeometry, mark_join_gap_m: float) -> Surroundings:
    """Convert what lies near a property.

    Parameters
    ----------
    table : Table
        All records of a source, in its own CRS.
    frame : LocalFrame
        Working CRS.
    ground : BaseGeometry
        The property, in the working CRS.
    mark_join_gap_m : float
        Marks are taken from so much farther away, so that a line that enters the property is whole.

    Raises
    ------
    CrsError
        If no operation of known accuracy leads from the table's CRS to the working CRS.
    """
    conversion = frame.conversion_from(table.crs, where=table.source.name)
    near = ground.buffer(_CONTEXT_M + (mark_join_gap_m if table.source.role == "marks" else 0.0), quad_segs=2)
    candidates = _candidates(table, near=near, back=frame.conversion_to(table.crs, where=table.source.name))
    geometries = conversion.geometries(np.array([record.geometry for record in candidates], dtype=object))
    shapely.prepare(near)
    meets = shapely.intersects(near, geometries)
    records = tuple(
        (record, geometry) for record, geometry, met in zip(candidates, geometries, meets, strict=True) if met
    )
    input_record = InputRecord(
        role=table.source.role,
        name=table.source.name,
        sha256=table.sha256,
        crs=table.crs.to_string(),
        crs_origin=table.crs_origin,
        features=table.features,
        used=len(records),
        operation=conversion.operation,
        accuracy_m=table.source.accuracy_m,
        **({} if records else _whereabouts(table, frame=frame, ground=ground)),
        repairs=table.repairs_among(
            (record for record, _ in records),
            and_left_out=table.source.role != "parcels",  # the property was found, so what is left out is another lot
        ),
        rounded_to_m=table.rounded_to_m,
    )
    return Surroundings(table=table, records=records, input_record=input_record)


def _whereabouts(table: Table, *, frame: LocalFrame, ground: BaseGeometry) -> dict[str, Any]:
    """Find how far away a table lies that has nothing near the property, by the boxes around its records."""
    if not table.records:
        return {}
    back = frame.conversion_to(table.crs, where=table.source.name)
    own = np.array(back.geometry(shapely.segmentize(shapely.box(*ground.bounds), max(ground.length, 1.0))).bounds)
    away_m = gap_m(own, table.bounds, crs=table.crs)
    around = np.concatenate([table.bounds[:, :2].min(axis=0), table.bounds[:, 2:].max(axis=0)])
    elsewhere = float(gap_m(own, around[None, :], crs=table.crs)) > ELSEWHERE_M
    return {"away_m": away_m, "elsewhere": elsewhere}


def _candidates(table: Table, *, near: BaseGeometry, back: Conversion) -> list[Record]:
    """Find records whose bounds meet those of `near`, without converting every record."""
    if not table.records:
        return []
    ring = shapely.segmentize(shapely.box(*near.bounds), max_segment_length=max(near.length / 64, 1.0))
    west, south, east, north = back.geometry(ring).bounds
    left, bottom, right, top = table.bounds.T
    turns = (-TURN_DEG, 0.0, TURN_DEG) if table.crs.is_geographic and east - west < TURN_DEG / 2 else (0.0,)
    beside = np.logical_or.reduce([(left <= east + turn) & (right >= west + turn) for turn in turns])
    return [table.records[index] for index in np.flatnonzero(beside & (bottom <= north) & (top >= south))]
