"""Formats: which of the readers a file is for, and what layers it holds."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from parcelfence.inputs.files import CSV_SUFFIXES, GEOJSON_SUFFIXES, check_file, file_hash

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Source
    from parcelfence.inputs.vector_file import Window

__all__ = ["content_hash", "layers_of", "read_raw"]

_LOG = logging.getLogger(__name__)


def read_raw(source: Source, *, window: Window | None = None) -> RawLayer:
    """Read a source, or a window of it, as its format gives it, dispatching by the kind of file.

    Raises
    ------
    InputError
        If there is no such file or it is none that can be read.
    """
    path = source.path
    if source.frame is not None:
        from parcelfence.inputs.frame import read_frame

        return read_frame(source.frame, name=source.name, window=window)
    check_file(path)
    _LOG.info("reading %s as %s", source.name, source.role)
    suffix = path.suffix.lower()
    if suffix in GEOJSON_SUFFIXES:
        from parcelfence.inputs.geojson_text import is_geojson, read_geojson

        content = path.read_bytes()
        if is_geojson(content):
            return read_geojson(content, name=source.name)
    if suffix in CSV_SUFFIXES:
        from parcelfence.inputs.survey_csv import read_survey_csv

        return read_survey_csv(path.read_bytes(), name=source.name)
    from parcelfence.inputs.vector_file import read_vector_file

    return read_vector_file(path, layer=source.layer, role=source.role, window=window)


def content_hash(source: Source) -> str:
    """SHA-256 of what a source holds, in hexadecimal."""
    if source.frame is None:
        return file_hash(source.path)
    from parcelfence.inputs.frame import frame_hash

    return frame_hash(source.frame)


def layers_of(path: Path) -> tuple[str | None, ...]:
    """Name the layers of a file; a single None for a format that holds but one.

    Raises
    ------
    InputError
        If there is no such file or it cannot be opened.
    """
    check_file(path)
    if path.suffix.lower() in GEOJSON_SUFFIXES | CSV_SUFFIXES | {".shp", ".fgb"}:
        return (None,)
    from parcelfence.inputs.vector_file import layer_names

    return layer_names(path)
