"""Files as they really are, before a library opens them: there and readable, what their first bytes say, unpacked.

A name proves nothing.  GDAL tries every driver that it has, and some of them follow what a file says to other files or
into the network; so no library is handed a file that does not begin as one of its suffix does, and none from within an
archive.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import zipfile
from contextlib import closing, contextmanager
from functools import lru_cache
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.raw import library_faults
from parcelfence.inputs.source_crs import check_definition_within

if TYPE_CHECKING:
    from collections.abc import Collection, Generator

__all__ = [
    "CSV_SUFFIXES",
    "GEOJSON_SUFFIXES",
    "check_file",
    "check_signature",
    "feature_tables",
    "file_hash",
    "unpacked",
]

GEOJSON_SUFFIXES: Final = frozenset({
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
_SIGNATURES: Final = {
    ".shp": (b"\x00\x00\x27\x0a",),
    ".gpkg": (b"SQLite format 3\x00",),
    ".fgb": (b"fgb\x03fgb",),
    ".zip": (b"PK\x03\x04", b"PK\x05\x06"),
    ".tif": (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"),
}
"""First bytes: ESRI shapefile description (1998), SQLite, FlatGeobuf 3, PKWARE APPNOTE, TIFF 6 and BigTIFF."""
_ANOTHER_NAME: Final = {".tiff": ".tif"}
_FIRST_BYTES: Final = 16
_DATABASE_HEADER: Final = 100
_KNOWN_FILES: Final = 64
"""Far more GeoPackages than one job reads."""
_LARGEST_PAGE: Final = 65536
_TABLE_MODULES: Final = ("rtree", "fts3", "fts4", "fts5")
"""Kinds of virtual tables that read nothing but their own database."""
_IN_AN_ARCHIVE: Final = (".shp", ".gpkg", ".fgb", ".geojson")
_LARGEST_UNPACKED: Final = 4 << 30
_SAME_ANYWAY: Final = 64 << 20
_MOST_SHRUNK: Final = 200
"""Coordinates shrink to a fifth or a tenth; what shrinks to less than this share is nothing but repetition."""


def check_file(path: Path) -> None:
    """Check that there is a file that can be opened; raises InputError."""
    try:
        found, remedy = _obstacle(path)
    except OSError as error:
        found, remedy = f"it cannot be read ({error.strerror or error})", "check its name and your rights to read it"
    except ValueError:
        found, remedy = "it is no name of a file", "check the path"
    if found:
        raise InputError(Fault(where=str(path), found=found, remedy=remedy))


def _obstacle(path: Path) -> tuple[str, str]:
    """Say why a file cannot be opened, and what to do; empty if it can."""
    found, remedy = "", ""
    if str(path.absolute()).startswith("/vsi"):
        found, remedy = "its name is one that GDAL takes for an order", "copy it to another place"
    elif path.is_dir():
        found, remedy = "it is a folder", "name the file in it"
    elif str(path) == "-":
        found, remedy = "standard input is not read", "save it into a file, and name that"
    elif not path.exists():
        found, remedy = _absent(path)
    elif not path.is_file():
        found, remedy = "it is a pipe or a device, no file", "save what it gives into a file first"
    elif path.suffix.lower() in _NOT_THE_SHAPEFILE:
        found, remedy = "it is one of the files of a shapefile, not the one to name", f"give {path.stem}.shp"
    elif path.stat().st_size == 0:
        found, remedy = "the file is empty (0 bytes)", "the download or export broke off: get it again"
    else:
        path.open("rb").close()
    return found, remedy


def _absent(path: Path) -> tuple[str, str]:
    if not path.parent.is_dir():
        return f"there is no folder {path.parent}", "check the path"
    meant = near_matches(path.name, [entry.name for entry in path.parent.iterdir()], most=2)
    return "there is no such file", meant if meant.endswith("?") else "check the path"


def check_signature(path: Path, *, among: Collection[str], must: str) -> None:
    """Check that a file begins as those of its suffix do, and that the suffix is known; raises InputError."""
    suffix = path.suffix.lower()
    suffix = _ANOTHER_NAME.get(suffix, suffix)
    known = _SIGNATURES[suffix] if suffix in among else None
    with path.open("rb") as stream:
        begins = stream.read(_FIRST_BYTES)
    if known is None:
        named = f"files named {suffix} are not read" if suffix else "its name has no ending that says what it is"
        remedy = "export it as one of these"
    elif begins.startswith(known):
        return
    else:
        named, remedy = f"it is named {suffix}, but what is in it is something else", "export it again as one of these"
    raise InputError(
        Fault(
            where=path.name,
            found=f"it cannot be opened: {named}",
            must=must,
            remedy=f"check that it is the right file and whole, or {remedy}",
        )
    )


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


# GeoPackages: an SQLite database (OGC 12-128r18).  A damaged one can bring GDAL's driver down, and the interpreter with
# it; SQLite itself says what is wrong.


def feature_tables(path: Path) -> tuple[str, ...]:
    """Name the layers of features of a GeoPackage that is whole, and holds nothing that leads out of it.

    Raises
    ------
    InputError
        If it is no GeoPackage, cut off, damaged, or without layers of features.
    """
    state = path.stat()
    return _tables_as_stored(path, (state.st_mtime_ns, state.st_size, state.st_ino))


@lru_cache(maxsize=_KNOWN_FILES)
def _tables_as_stored(path: Path, _state: tuple[int, ...]) -> tuple[str, ...]:
    """Check a file once for as long as it stays as it is: whoever reads it slice by slice asks many times."""
    with path.open("rb") as stream:
        header = stream.read(_DATABASE_HEADER)
    missing = _expected_bytes(header) - path.stat().st_size
    names: tuple[str, ...] = ()
    if not header.startswith(_SIGNATURES[".gpkg"]):
        found = "it is named .gpkg but is no GeoPackage"
    elif missing > 0:
        found = f"the file is cut off: {missing:,} bytes are missing"
    else:
        found = "the GeoPackage holds no layer of features"
        try:
            names = _tables(path)
        except (sqlite3.Error, UnicodeDecodeError, OverflowError) as error:
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


def _tables(path: Path) -> tuple[str, ...]:
    address = path.resolve().as_uri()
    try:
        return _tables_by_sqlite(f"{address}?mode=ro", name=path.name)
    except sqlite3.OperationalError:  # one that was left open for writing, in a folder that cannot be written
        return _tables_by_sqlite(f"{address}?immutable=1", name=path.name)


def _tables_by_sqlite(address: str, *, name: str) -> tuple[str, ...]:
    query = "SELECT table_name FROM gpkg_contents WHERE data_type = 'features' ORDER BY rowid"
    with closing(sqlite3.connect(address, uri=True)) as database:
        database.execute("PRAGMA trusted_schema = OFF")
        verdict = database.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise sqlite3.DatabaseError(verdict)
        schema = {
            str(row[0]).casefold(): (str(row[1]), str(row[2] or ""))
            for row in database.execute("SELECT name, type, sql FROM sqlite_master WHERE type IN ('table', 'view')")
        }
        _refuse_what_leads_out(schema, name=name)
        for definitions in database.execute("SELECT * FROM gpkg_spatial_ref_sys"):
            for text in definitions:
                check_definition_within(str(text).encode(), where=name)
        named = [str(row[0]) for row in database.execute(query)]
    views = [one for one in named if schema.get(one.casefold(), ("table", ""))[0] == "view"]
    if views and len(views) == len(named):
        raise InputError(
            Fault(
                where=name,
                found=f"its layer {views[0]} is a view, an order to compute, and not a table",
                must="features are read as they are stored; nothing in a file is carried out",
                remedy="export the layer into a GeoPackage of its own",
            )
        )
    return tuple(one for one in named if one not in views)


def _refuse_what_leads_out(schema: dict[str, tuple[str, str]], *, name: str) -> None:
    for table, (_, sql) in schema.items():
        words = sql.casefold().split()
        virtual = words[:3] == ["create", "virtual", "table"]
        if virtual and not any(f"using {module}" in " ".join(words) for module in _TABLE_MODULES):
            raise InputError(
                Fault(
                    where=name,
                    found=f"its table {table} is virtual: it stands for data outside this file",
                    must="no file but the named one is read",
                    remedy="export the layer into a GeoPackage of its own",
                )
            )


# Archives


@contextmanager
def unpacked(path: Path) -> Generator[tuple[Path, ...]]:
    """Unpack the vector files of an archive into a temporary folder, by names of our own choosing.

    Parameters
    ----------
    path : Path
        The archive.

    Yields
    ------
    tuple of Path
        Shapefiles, GeoPackages, FlatGeobufs and GeoJSON files in it, at least one.

    Raises
    ------
    InputError
        If it is no archive, damaged, locked, holds none of these, or would unpack to far more than it seems.
    """
    check_signature(path, among={".zip"}, must="a .zip archive")
    with (
        TemporaryDirectory(prefix="parcelfence-") as folder,
        library_faults(path.name, found="it cannot be opened as an archive", remedy="get the archive again"),
        zipfile.ZipFile(path) as archive,
    ):
        entries = _entries(archive, path=path)
        parts = tuple(_extracted(archive, entry, folder=Path(folder), name=path.name) for entry in entries)
        yield tuple(part for part in parts if part.suffix in _IN_AN_ARCHIVE)


def _entries(archive: zipfile.ZipFile, *, path: Path) -> list[zipfile.ZipInfo]:
    """Give what belongs to vector files, without what packers add of their own."""
    wanted = {*_IN_AN_ARCHIVE, *_SHAPEFILE_PARTS}
    entries = [
        entry
        for entry in archive.infolist()
        if PurePosixPath(entry.filename).suffix.lower() in wanted and not entry.filename.startswith("__MACOSX")
    ]
    names = [entry.filename for entry in entries]
    found, remedy = "", "unpack it yourself, look at what is in it, and give the file from it"
    size = sum(entry.file_size for entry in entries)
    if not any(name.lower().endswith(_IN_AN_ARCHIVE) for name in names):
        found = "the archive holds no shapefile, GeoPackage, FlatGeobuf or GeoJSON"
        remedy = "give the archive as it was downloaded, or the file from it"
    elif any(entry.flag_bits & 1 for entry in entries):
        found = "the archive is locked with a password"
    elif len({name.casefold() for name in names}) < len(names):
        found = "the archive holds two files of the same name"
    elif size > _LARGEST_UNPACKED or size > max(_SAME_ANYWAY, _MOST_SHRUNK * path.stat().st_size):
        found = f"the archive of {path.stat().st_size / 1e6:,.1f} MB would unpack to {size / 1e6:,.0f} MB"
    if found:
        raise InputError(Fault(where=path.name, found=found, remedy=remedy))
    return entries


def _extracted(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, *, folder: Path, name: str) -> Path:
    """Unpack one file: each folder of the archive becomes one of ours, whatever its name would lead to."""
    inner = PurePosixPath(entry.filename.replace("\\", "/"))
    own = folder / hashlib.sha256(str(inner.parent).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    own.mkdir(exist_ok=True)
    target = own / (inner.stem.replace(os.sep, "_")[:100] + inner.suffix.lower())
    left = entry.file_size
    with archive.open(entry) as source, target.open("wb") as copy:
        while block := source.read(1 << 20):
            left -= len(block)
            if left < 0:
                raise InputError(
                    Fault(where=name, found="the archive holds more than it says", remedy="get the archive again")
                )
            copy.write(block)
    return target
