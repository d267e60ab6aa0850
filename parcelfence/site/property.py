"""The ground of a property: one or several parcels as a single area."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

__all__ = ["PropertyGround", "property_ground"]

_DRAWING_GAP_M: Final = 0.10
"""Neighbouring lots of one property are drawn with gaps of this order; nobody owns the strip between them."""
_SLIVER_M2: Final = 1.0


@dataclass(frozen=True, kw_only=True)
class PropertyGround:
    """The property as one area, with what was done to make it one."""

    area: Polygon | MultiPolygon
    remarks: tuple[str, ...] = ()


def property_ground(parcels: Sequence[BaseGeometry], *, where: str) -> PropertyGround:
    """Dissolve parcels.

    Parameters
    ----------
    parcels : sequence of Polygon or MultiPolygon
        In the working CRS.
    where : str
        What to call their source in messages.

    Returns
    -------
    PropertyGround
        Valid; drawing gaps between the parcels are closed, slivers are left out, and both are said.

    Raises
    ------
    InputError
        If nothing with an area remains.
    """
    parts = _polygons(shapely.union_all([shapely.make_valid(parcel) for parcel in parcels]))
    remarks = []
    if len(parcels) > 1 and len(parts) > 1:
        closed = _polygons(_closed(MultiPolygon(parts)))
        if len(closed) < len(parts):
            remarks.append(f"gaps of up to {_DRAWING_GAP_M} m between the parcels of the property were closed")
            parts = closed
    kept = [part for part in parts if part.area >= _SLIVER_M2]
    if not kept:
        raise InputError(
            Fault(
                where=where,
                found=f"the selected parcel covers {sum(part.area for part in parts):.2f} square metres",
                must="a property needs at least one square metre",
                remedy="check the selection and the CRS of the file",
            )
        )
    if len(kept) < len(parts):
        remarks.append(f"{len(parts) - len(kept)} slivers smaller than {_SLIVER_M2:g} m2 were left out of the property")
    area = kept[0] if len(kept) == 1 else MultiPolygon(kept)
    return PropertyGround(area=area, remarks=tuple(remarks))


def _polygons(geometry: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(geometry) if isinstance(part, Polygon) and part.area > 0]


def _closed(area: BaseGeometry) -> BaseGeometry:
    half = _DRAWING_GAP_M / 2
    return area.buffer(half, join_style="mitre").buffer(-half, join_style="mitre")
