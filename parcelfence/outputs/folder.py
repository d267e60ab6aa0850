"""The output folder: whole or not at all.

The files are written into a temporary folder beside the wanted one, forced to disk, and put in its place by one
rename, so that whoever looks, at whatever moment a run is killed, finds the old folder or the new one.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import sqlite3
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, OutputError, ParcelFenceError
from parcelfence.layers import PROGRAM, SUMMARY

if TYPE_CHECKING:
    from collections.abc import Generator

__all__ = ["check_target", "whole_file", "whole_folder"]

_PART: Final = ".parcelfence-part-"
_KEPT: Final = ".parcelfence-kept"
_BYSTANDERS: Final = (".DS_Store", "Thumbs.db", "desktop.ini")
_COMPANIONS: Final = ("-wal", "-shm", "-journal", ".aux.xml")
_AT_FDCWD: Final = -100
_RENAME_EXCHANGE: Final = 2


def check_target(directory: Path, *, overwrite: bool) -> None:
    """Refuse a folder that cannot or must not be written; touches nothing.

    Parameters
    ----------
    directory : Path
        The wanted folder.
    overwrite : bool
        Whether a plan that stands there may be replaced.

    Raises
    ------
    OutputError
        If it is a file or a link, or it exists and `overwrite` is off, or it holds anything that parcelfence did
        not write, or its parent is no folder.
    """
    directory = _absolute(directory)
    where = f"output folder {directory}"
    if directory.is_symlink():
        raise OutputError(Fault(where=where, found="it is a link", remedy="name the folder itself"))
    if directory.exists() and not directory.is_dir():
        raise OutputError(Fault(where=where, found="it is a file", remedy="choose another name"))
    if not directory.parent.is_dir():
        raise OutputError(
            Fault(
                where=where,
                found=f"{directory.parent} is not a folder",
                remedy="make it first, or choose another place",
            )
        )
    if not directory.exists():
        return
    if not overwrite:
        raise OutputError(
            Fault(
                where=where,
                found="it exists already",
                remedy="choose another name, or replace the plan in it with `overwrite`",
            )
        )
    strangers = _strangers(directory)
    if strangers:
        shown = ", ".join(strangers[:5]) + (f" and {len(strangers) - 5} more" if len(strangers) > 5 else "")  # noqa: PLR2004
        raise OutputError(
            Fault(
                where=where,
                found=f"it holds what parcelfence did not write: {shown}",
                must="only a folder that holds nothing but a plan is replaced",
                remedy="move these files away, or choose another name",
            )
        )


@contextmanager
def whole_folder(directory: Path, *, overwrite: bool = False) -> Generator[Path]:
    """Give a temporary folder that takes the place of `directory` when the block ends without an error.

    Parameters
    ----------
    directory : Path
        The wanted folder.
    overwrite : bool
        Whether a plan that stands there may be replaced.

    Yields
    ------
    Path
        The folder to write into; it is gone if the block fails.

    Raises
    ------
    OutputError
        As :func:`check_target`, and where the disk refuses: full, read-only, not permitted.
    """
    directory = _absolute(directory)
    with _disk_errors_as_ours(f"output folder {directory}"):
        _recover(directory)
        check_target(directory, overwrite=overwrite)
        with _locked_part(directory) as part:
            yield part  # noqa: RUF075  (the two managers around it clean up)
            _force_to_disk(part)
            check_target(directory, overwrite=overwrite)
            _put_in_place(part, directory)


@contextmanager
def whole_file(path: Path) -> Generator[Path]:
    """Give a temporary name beside a file, which takes its place when the block ends without an error.

    Parameters
    ----------
    path : Path
        The wanted file; one that stands there is replaced.

    Yields
    ------
    Path
        The name to write to, of the same ending; it is gone if the block fails.

    Raises
    ------
    OutputError
        If the disk refuses; what stood there still stands.
    """
    path = _absolute(path)
    partial = path.with_name(f".{PROGRAM}-part-{os.getpid()}-{os.urandom(4).hex()}{path.suffix}")
    with _disk_errors_as_ours(str(path)):
        try:
            yield partial
            _force_to_disk(partial)
            partial.replace(path)
            _sync_folder(path.parent)
        finally:
            with suppress(OSError):
                partial.unlink(missing_ok=True)


@contextmanager
def _disk_errors_as_ours(where: str) -> Generator[None]:
    try:
        yield
    except ParcelFenceError:  # an OutputError is an OSError, too
        raise
    except (OSError, sqlite3.Error) as error:
        raise OutputError(_as_fault(error, where=where)) from error


def _as_fault(error: Exception, *, where: str) -> Fault:
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return Fault(
        where=where,
        found=f"it could not be written: {reason}",
        remedy="nothing was changed; free some space or choose another place, then run again",
    )


def _absolute(directory: Path) -> Path:
    """Make a path absolute and free of dots, without following links."""
    return Path(os.path.abspath(directory))  # noqa: PTH100  (resolve() would follow links)


def _strangers(directory: Path) -> list[str]:
    """Names below a folder that are not in the list of its own summary."""
    found = sorted(path.relative_to(directory).as_posix() for path in directory.rglob("*") if not _is_plain_dir(path))
    ours = _listed(directory)
    companions = {name + ending for name in ours for ending in _COMPANIONS}
    return [
        name
        for name in found
        if name not in ours and name not in companions and name.rsplit("/", 1)[-1] not in _BYSTANDERS
    ]


def _is_plain_dir(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _listed(directory: Path) -> set[str]:
    try:
        summary = json.loads((directory / SUMMARY).read_text(encoding="utf-8"))
        return set(summary["files"]) if summary["program"]["name"] == PROGRAM else set()
    except (OSError, ValueError, KeyError, TypeError):
        return set()


@contextmanager
def _locked_part(directory: Path) -> Generator[Path]:
    """Make the temporary folder; its lock tells a run that is under way from one that was killed."""
    _sweep(directory)
    part = directory.parent / f".{directory.name}{_PART}{os.getpid()}-{os.urandom(4).hex()}"
    part.mkdir()
    descriptor = _lock(part)
    try:
        yield part
    finally:
        shutil.rmtree(part, ignore_errors=True)
        if descriptor is not None:
            os.close(descriptor)


def _sweep(directory: Path) -> None:
    """Remove what killed runs left behind."""
    for part in directory.parent.glob(f".{_escaped(directory.name)}{_PART}*"):
        descriptor = _lock(part)
        if descriptor is not None:
            shutil.rmtree(part, ignore_errors=True)
            os.close(descriptor)


def _escaped(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _lock(folder: Path) -> int | None:
    """Lock a folder for as long as the descriptor is open; None if another holds it, or locks are not to be had."""
    if sys.platform == "win32":
        return None
    import fcntl

    descriptor = -1
    try:
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        if descriptor >= 0:
            os.close(descriptor)
        return None
    return descriptor


def _force_to_disk(folder: Path) -> None:
    for path in [folder] if folder.is_file() else sorted(folder.rglob("*")):
        if path.is_file():
            with path.open("rb+") as file:
                os.fsync(file.fileno())
    for path in [*folder.rglob("*/"), folder] if folder.is_dir() else []:
        _sync_folder(path)


def _sync_folder(folder: Path) -> None:
    with suppress(OSError):  # some systems cannot force a folder to disk; the files in it are
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _put_in_place(part: Path, directory: Path) -> None:
    if not directory.exists():
        part.rename(directory)
    elif not _exchange(part, directory):
        _replace_by_two_renames(part, directory)
    _sync_folder(directory.parent)


def _exchange(part: Path, directory: Path) -> bool:
    """Swap two folders in one step (renameat2 of Linux); the old one is then swept away with the temporary name."""
    if not sys.platform.startswith("linux"):
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    here, there = os.fsencode(part), os.fsencode(directory)
    return bool(rename(_AT_FDCWD, here, _AT_FDCWD, there, _RENAME_EXCHANGE) == 0)


def _kept(directory: Path) -> Path:
    return directory.parent / f".{directory.name}{_KEPT}"


def _replace_by_two_renames(part: Path, directory: Path) -> None:
    kept = _kept(directory)
    directory.rename(kept)
    try:
        part.rename(directory)
    except OSError:
        kept.rename(directory)
        raise
    shutil.rmtree(kept, ignore_errors=True)


def _recover(directory: Path) -> None:
    """Finish what a run that was killed between two renames had begun."""
    kept = _kept(directory)
    if not kept.is_dir():
        return
    if directory.exists():
        shutil.rmtree(kept, ignore_errors=True)
    else:
        kept.rename(directory)
