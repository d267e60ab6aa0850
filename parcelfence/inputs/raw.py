"""Raw layers: what a file format gave, before anything is mended or judged."""

from __future__ import annotations

import math
import re
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, InputError, ParcelFenceError
from parcelfence.text import on_one_line, shortened, visible

if TYPE_CHECKING:
    from collections.abc import Generator, Mapping

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

__all__ = ["RawFeature", "RawLayer", "feature_label", "library_faults", "plain_reason", "tidy_attributes"]

_LARGEST_NUMBER: Final = 1 << 63
"""Whole numbers beyond are no identifiers, and no table can hold them."""
_LARGEST_FLOAT: Final = 10**300
_LONGEST_REASON: Final = 160
_JARGON: Final = re.compile(
    r"<|\b(null|none|nonetype|object|attribute|argument|subscriptable|dataset|0x[0-9a-f]+)\b|/", re.IGNORECASE
)
"""Words by which libraries speak to programmers, and paths of theirs or ours."""
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
    """Strip text of what cannot be seen; give None for what means that there is no value (empty text, NaN, bytes)."""
    return {visible(name): _tidy(value) for name, value in (attributes or {}).items()}


def feature_label(position: int, attributes: Mapping[str, Any], *, id_field: str | None = None) -> str:
    """Name a feature for a person: its number in the file, from 1, and its own identifier where it has one."""
    number = str(position + 1)
    lowered = {name.casefold(): name for name in attributes}
    for name in (id_field.casefold(),) if id_field else _ID_NAMES:
        value = attributes.get(lowered.get(name, ""))
        if value is not None:
            return f"{number} ({lowered[name]} {value})"
    return number


def _tidy(value: Any) -> Any:
    if isinstance(value, str):
        return visible(value.replace("\x00", "")).strip() or None
    if (isinstance(value, float) and math.isnan(value)) or isinstance(value, bytes | bytearray | memoryview):
        return None
    if isinstance(value, int) and abs(value) >= _LARGEST_NUMBER:
        return f"{value:.6e}" if abs(value) < _LARGEST_FLOAT else None
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, dict | list | tuple):
        import json

        return visible(json.dumps(value, ensure_ascii=False, default=str))
    return visible(value)


@contextmanager
def library_faults(where: str, *, found: str, must: str = "", remedy: str = "") -> Generator[None]:
    """Turn whatever a library raises over a file into one fault in words; each reader has one such boundary.

    Parameters
    ----------
    where : str
        The file.
    found, must, remedy : str
        What to say of it; the library's own reason is added where a person can understand it.

    Raises
    ------
    ParcelFenceError
        What was raised on purpose passes.
    InputError
        For all else.
    """
    try:
        yield
    except ParcelFenceError:
        raise
    except Exception as error:
        raise InputError(Fault(where=where, found=f"{found}{plain_reason(error)}", must=must, remedy=remedy)) from error


def plain_reason(error: Exception) -> str:
    """Give a library's reason in brackets, if it is one that a person can use; else nothing."""
    if isinstance(error, RecursionError):
        return " (it nests too deeply)"
    if isinstance(error, MemoryError):
        return " (it is too large for the memory)"
    reason = getattr(error, "strerror", None) or str(error)
    first = on_one_line(next(iter(reason.strip().splitlines()), "")).rstrip(".")
    if not first or _JARGON.search(first):
        return ""
    return f" ({shortened(first, most=_LONGEST_REASON)})"
