"""A GeoDataFrame as a raw layer, so that its features are mended and judged as those of a file are."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from parcelfence.errors import CrsError, Fault, InputError
from parcelfence.inputs.raw import RawFeature, RawLayer, tidy_attributes

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from parcelfence.inputs.vector_file import Window

__all__ = ["frame_hash", "read_frame"]


def read_frame(frame: GeoDataFrame, *, name: str, window: Window | None = None) -> RawLayer:
    """Take the rows of a GeoDataFrame, or a window of them, in their order; positions are places, not labels.

    Parameters
    ----------
    frame : GeoDataFrame
        With a CRS; nothing in it is changed.
    name : str
        What to call it in messages.
    window : Rows, optional
        Part that is wanted.

    Raises
    ------
    InputError
        If it is no GeoDataFrame, or has no geometry.
    CrsError
        If it has no CRS.
    """
    _check(frame, name=name)
    start, stop = getattr(window, "start", 0), getattr(window, "stop", len(frame))
    part = frame.iloc[start:stop]
    columns = [column for column in part.columns if column != part.geometry.name]
    rows: list[dict[str, Any]] = part[columns].astype(object).to_dict("records") if columns else [{}] * len(part)
    return RawLayer(
        name=name,
        features=tuple(
            RawFeature(position=start + place, geometry=geometry, attributes=tidy_attributes(_named(row)))
            for place, (geometry, row) in enumerate(zip(part.geometry, rows, strict=True))
        ),
        crs=frame.crs,
        crs_origin="table",
        fields=tuple(map(str, columns)),
    )


def _named(row: dict[Any, Any]) -> dict[str, Any]:
    """Give what pandas says for a missing value as None."""
    import pandas as pd

    plain = {str(name): value for name, value in row.items()}
    return {name: None if pd.api.types.is_scalar(value) and pd.isna(value) else value for name, value in plain.items()}


def _check(frame: Any, *, name: str) -> None:
    from geopandas import GeoDataFrame

    if not isinstance(frame, GeoDataFrame):
        found, remedy = f"it is of the type {type(frame).__name__}", "give a path, or a GeoDataFrame"
        raise InputError(Fault(where=name, found=found, must="files and GeoDataFrames are read", remedy=remedy))
    if getattr(frame, "_geometry_column_name", None) not in frame.columns:
        raise InputError(Fault(where=name, found="the table has no geometry", remedy="set it with set_geometry()"))
    if frame.crs is None:
        raise CrsError(
            Fault(where=name, found="the table has no CRS", must="it must state one", remedy="set it with set_crs()")
        )


def frame_hash(frame: GeoDataFrame) -> str:
    """SHA-256 of what a GeoDataFrame holds: CRS, attributes and coordinates in their order."""
    digest = hashlib.sha256(frame.crs.to_wkt().encode())
    attributes = frame.drop(columns=frame.geometry.name)
    digest.update(attributes.to_csv(index=False).encode("utf-8", "surrogatepass"))
    for wkb in frame.geometry.to_wkb():
        digest.update(wkb or b"-")
    return digest.hexdigest()
