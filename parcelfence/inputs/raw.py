"""Raw layers: what a file format gave, before anything is mended or judged."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.errors import Fault

__all__ = ["RawFeature", "RawLayer", "feature_label", "tidy_attributes"]

_ID_NAMES: Final = (
    "id",
    "uid",
    "pid",
    "fid",
    "parcel_id",
    "parcel_no",
    "apn",
    "ain",
    "bldg_id",
    "bid",
    "mid",
    "objectid",
    "point",
    "name",
)


@dataclass(frozen=True, kw_only=True)
class RawFeature:
    """One feature as the format gave it.

    Parameters
    ----------
    position : int
        Place in the file, from 0.
    geometry : BaseGeometry or None
        As read; None where there is none or it cannot be read.
    attributes : mapping
        Tidied by :func:`tidy_attributes`.
    notes : tuple of str
        What the reader had to mend to read it at all.
    fault : str
        Why it cannot be read; empty if it can.
    """

    position: int
    geometry: BaseGeometry | None
    attributes: Mapping[str, Any]
    notes: tuple[str, ...] = ()
    fault: str = ""


@dataclass(frozen=True, kw_only=True)
class RawLayer:
    """One layer as the format gave it.

    Parameters
    ----------
    name : str
        Name of the layer in the file.
    features : tuple of RawFeature
        In the order of the file.
    crs : CRS or None
        As the file states it; None where it states none.
    crs_origin : str
        How the CRS is known: ``"file"`` or ``"GeoJSON standard"``.
    fields : tuple of str
        Names of the attributes.
    remarks : tuple of Fault
        What had to be mended to read the file at all.
    """

    name: str
    features: tuple[RawFeature, ...]
    crs: CRS | None
    crs_origin: str = "file"
    fields: tuple[str, ...] = ()
    remarks: tuple[Fault, ...] = ()


def tidy_attributes(attributes: Mapping[str, Any] | None) -> dict[str, Any]:
    """Strip text, and give None for what means that there is no value (empty text, NaN, bytes)."""
    return {str(name): _tidy(value) for name, value in (attributes or {}).items()}


def feature_label(feature: RawFeature, *, id_field: str | None = None) -> str:
    """Name a feature for a person: its number in the file, from 1, and its own identifier where it has one."""
    number = str(feature.position + 1)
    lowered = {name.casefold(): name for name in feature.attributes}
    for name in (id_field.casefold(),) if id_field else _ID_NAMES:
        value = feature.attributes.get(lowered.get(name, ""))
        if value is not None:
            return f"{number} ({lowered[name]} {value})"
    return number


def _tidy(value: Any) -> Any:
    if isinstance(value, str):
        return value.replace("\x00", "").strip() or None
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, bytes | bytearray | memoryview):
        return None
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, dict | list | tuple):
        import json

        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value)
