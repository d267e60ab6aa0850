"""Mark parts: every simple geometry of a locate mark, with what its attributes say."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import shapely

from parcelfence.inputs.kinds import Kind, recognise
from parcelfence.inputs.mark_details import MarkDetails, mark_details

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.source import Source

__all__ = ["MarkPart", "MarkRecord", "distinct", "mark_parts"]

_NO_UTILITY: Final = frozenset({"survey", "proposed"})
_GRID_M: Final = 0.001
"""Marks that agree to the millimetre are one mark."""


@dataclass(frozen=True, kw_only=True)
class MarkRecord:
    """One mark as it was read, in the working CRS.

    Parameters
    ----------
    geometry : BaseGeometry
        Valid and two-dimensional, metres.
    attributes : mapping
        As read.
    source : Source
        Where it came from.
    position : int
        Place in the file, from 0.
    """

    geometry: BaseGeometry
    attributes: Mapping[str, Any]
    source: Source
    position: int


@dataclass(frozen=True, kw_only=True)
class MarkPart:
    """One point, line or area of a mark.

    Parameters
    ----------
    geometry : BaseGeometry
        Point, LineString or Polygon in the working CRS.
    kind : Kind
        What it is.
    details : MarkDetails
        Quality level, date, ticket and so on.
    source_id : str
        File and number of the record, from 1.
    own_id : str
        Identifier by the field that was asked for; empty if none was.
    file : str
        Name of the source.
    """

    geometry: BaseGeometry
    kind: Kind
    details: MarkDetails
    source_id: str
    own_id: str
    file: str

    @property
    def is_point(self) -> bool:
        """Whether it is a dot or a flag, or a thing drawn as one."""
        return self.geometry.geom_type == "Point"

    @property
    def marks_no_utility(self) -> bool:
        """Whether it marks a survey or a proposed excavation."""
        return self.kind.name in _NO_UTILITY


def mark_parts(record: MarkRecord, *, scheme: str) -> list[MarkPart]:
    """Read what a mark says of itself, and take its multi-geometry apart."""
    source = record.source
    kind = recognise(
        record.attributes, scheme=scheme, kind=source.kind, field=source.kind_field, file_name=source.path.name
    )
    if kind.name == "survey" and kind.basis.startswith("colour"):
        note = f"painted {kind.raw}, which some locators use for lines that they cannot name"
        kind = replace(kind, name="unknown", apwa_color="", note=note)
    own_id = record.attributes.get(source.id_field) if source.id_field else None
    return [
        MarkPart(
            geometry=part,
            kind=kind,
            details=mark_details(record.attributes),
            source_id=f"{source.name}#{record.position + 1}",
            own_id="" if own_id is None else str(own_id),
            file=source.name,
        )
        for part in shapely.get_parts(record.geometry)
    ]


def distinct(parts: Sequence[MarkPart]) -> list[MarkPart]:
    """Keep the first of the marks of one kind that lie in one place, whichever way they were drawn."""
    seen: set[tuple[str, str, bytes]] = set()
    kept: list[MarkPart] = []
    for part in parts:
        shape = shapely.set_precision(part.geometry, _GRID_M, mode="pointwise")
        place = shapely.to_wkb(shapely.normalize(shape))
        # dots of two tickets in one place belong to two lines
        ticket = part.details.ticket if part.is_point else ""
        key = part.kind.name, ticket, place
        if key not in seen:
            seen.add(key)
            kept.append(part)
    return kept
