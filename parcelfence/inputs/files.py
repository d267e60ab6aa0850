"""Files: which of the readers a file is for, what layers it holds, and its hash."""

from __future__ import annotations

import hashlib
import logging
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, InputError, near_matches

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Source

__all__ = ["CSV_SUFFIXES", "check_file", "file_hash", "layers_of", "read_raw"]

_LOG = logging.getLogger(__name__)

_GEOJSON_SUFFIXES: Final = frozenset({
    ".geojson",
    ".json",
    ".geojsonl",
    ".geojsons",
    ".ndjson",
    ".jsonl",
    ".geojsonseq",
})
CSV_SUFFIXES: Final = frozenset({".csv", ".txt", ".pnezd", ".asc"})
_NOT_THE_SHAPEFILE: Final = frozenset({".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qpj"})
_SHAPEFILE_PARTS: Final = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def read_raw(source: Source) -> RawLayer:
    """Read a source as its format gives it, dispatching by the kind of file.

    Raises
    ------
    InputError
        If there is no such file or it is none that can be read.
    """
    path = source.path
    check_file(path)
    _LOG.info("reading %s as %s", source.name, source.role)
    suffix = path.suffix.lower()
    if suffix in _GEOJSON_SUFFIXES:
        from parcelfence.inputs.geojson_text import is_geojson, read_geojson

        content = path.read_bytes()
        if is_geojson(content):
            return read_geojson(content, name=source.name)
    if suffix in CSV_SUFFIXES:
        from parcelfence.inputs.survey_csv import read_survey_csv

        return read_survey_csv(path.read_bytes(), name=source.name)
    from parcelfence.inputs.vector_file import read_vector_file

    return read_vector_file(path, layer=source.layer, role=source.role)


def layers_of(path: Path) -> tuple[str | None, ...]:
    """Name the layers of a file; a single None for a format that holds but one.

    Raises
    ------
    InputError
        If there is no such file or it cannot be opened.
    """
    check_file(path)
    if path.suffix.lower() in _GEOJSON_SUFFIXES | CSV_SUFFIXES | {".shp", ".fgb"}:
        return (None,)
    from parcelfence.inputs.vector_file import layer_names

    return layer_names(path)


def file_hash(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal; of a shapefile, of all its parts one after the other."""
    parts = [path]
    if path.suffix.lower() == ".shp":
        parts = [path.with_suffix(suffix) for suffix in _SHAPEFILE_PARTS if path.with_suffix(suffix).exists()]
    digest = hashlib.sha256()
    for part in parts:
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    return digest.hexdigest()


def check_file(path: Path) -> None:
    """Check that there is a file that can be opened; raises InputError."""
    remedy = ""
    if path.is_dir():
        found, remedy = "it is a folder", "name the file in it"
    elif not path.exists():
        names = [entry.name for entry in path.parent.iterdir()] if path.parent.is_dir() else []
        found = "there is no such file" if path.parent.is_dir() else f"there is no folder {path.parent}"
        meant = near_matches(path.name, names, most=2)
        remedy = meant if meant.endswith("?") else "check the path"
    elif path.suffix.lower() in _NOT_THE_SHAPEFILE:
        found, remedy = "it is one of the files of a shapefile, not the one to name", f"give {path.stem}.shp"
    elif path.stat().st_size == 0:
        found, remedy = "the file is empty (0 bytes)", "the download or export broke off: get it again"
    else:
        return
    raise InputError(Fault(where=str(path), found=found, remedy=remedy))
