"""GeoPackages before GDAL opens them: is the database whole, and which layers does it hold.

A GeoPackage is an SQLite database (OGC 12-128r18).  A damaged one can bring GDAL's driver down, and the interpreter
with it; SQLite itself says what is wrong.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, InputError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["feature_tables"]

_MAGIC: Final = b"SQLite format 3\x00"
_HEADER_BYTES: Final = 100
_LARGEST_PAGE: Final = 65536


def feature_tables(path: Path) -> tuple[str, ...]:
    """Name the layers of features of a GeoPackage that is whole.

    Raises
    ------
    InputError
        If it is no GeoPackage, cut off, damaged, or without layers of features.
    """
    with path.open("rb") as stream:
        header = stream.read(_HEADER_BYTES)
    missing = _expected_bytes(header) - path.stat().st_size
    names: tuple[str, ...] = ()
    if not header.startswith(_MAGIC):
        found = "it is named .gpkg but is no GeoPackage"
    elif missing > 0:
        found = f"the file is cut off: {missing:,} bytes are missing"
    else:
        found = "the GeoPackage holds no layer of features"
        try:
            names = _names(path)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            found = f"the GeoPackage is damaged ({str(error).splitlines()[0]})"
    if not names:
        raise InputError(
            Fault(where=path.name, found=found, must="a whole GeoPackage is needed", remedy="get or export it again")
        )
    return names


def _expected_bytes(header: bytes) -> int:
    """Size by the header (SQLite file format, section 1.3): page size at 16, number of pages at 28."""
    page = int.from_bytes(header[16:18], "big")
    return (_LARGEST_PAGE if page == 1 else page) * int.from_bytes(header[28:32], "big")


def _names(path: Path) -> tuple[str, ...]:
    address = path.resolve().as_uri()
    try:
        return _names_by_sqlite(f"{address}?mode=ro")
    except sqlite3.OperationalError:  # one that was left open for writing, in a folder that cannot be written
        return _names_by_sqlite(f"{address}?immutable=1")


def _names_by_sqlite(address: str) -> tuple[str, ...]:
    query = "SELECT table_name FROM gpkg_contents WHERE data_type = 'features' ORDER BY rowid"
    with closing(sqlite3.connect(address, uri=True)) as database:
        verdict = database.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise sqlite3.DatabaseError(verdict)
        return tuple(str(row[0]) for row in database.execute(query))
