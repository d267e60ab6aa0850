"""What a crew wrote down when the wire was in the ground: date, ohms, splices, photos; a small TOML file."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.files import check_file

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["AsBuiltNotes", "NotedPhoto", "NotedSplice", "read_as_built_notes"]

Ohms = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Text = Annotated[str, BeforeValidator(str)]
"""Dates in TOML are dates: they are taken as they are written."""


class NotedSplice(BaseModel):
    """One splice that was made.

    Parameters
    ----------
    at : str
        Chainage along the wire as built, with its run: ``"L1 45.2 m"``.
    id, note, photo : str
        What it is called, what was joined how, file name of its photo.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    at: str
    id: str = ""
    note: str = ""
    photo: str = ""


class NotedPhoto(BaseModel):
    """One photo: its file name, what it shows, and where it was taken."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    file: str
    shows: str = ""
    at: str = ""


class AsBuiltNotes(BaseModel):
    """What was written down.

    Parameters
    ----------
    laid_on, laid_by : str
        When, and by whom.
    resistance_ohm : float or None
        Between the two ends at the transmitter, after burying, transmitter unplugged.
    temperature_c : float or None
        Of the ground at that time.
    level : str
        At what the transmitter was set.
    depth : str
        How deep the wire lies, as found.
    notes : str
        Anything else.
    splice, photo : tuple
        See :class:`NotedSplice` and :class:`NotedPhoto`.  Splices that are given are all there are.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    laid_on: Text = ""
    laid_by: str = ""
    resistance_ohm: Ohms | None = None
    temperature_c: Annotated[float, Field(ge=-40, le=90)] | None = None
    level: Text = ""
    depth: Text = ""
    notes: str = ""
    splice: tuple[NotedSplice, ...] = ()
    photo: tuple[NotedPhoto, ...] = ()


_TABLES: Final[dict[str, type[BaseModel]]] = {"splice": NotedSplice, "photo": NotedPhoto}


def read_as_built_notes(path: Path) -> AsBuiltNotes:
    """Read the notes of a crew.

    Parameters
    ----------
    path : Path
        TOML with the keys of :class:`AsBuiltNotes`, splices as ``[[splice]]`` and photos as ``[[photo]]``.

    Raises
    ------
    InputError
        With every fault of the file at once.
    """
    check_file(path)
    try:
        return AsBuiltNotes.model_validate(tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        must = "the record is TOML in UTF-8"
        raise InputError(Fault(where=str(path), found=f"it cannot be read ({error})", must=must)) from error
    except ValidationError as error:
        raise InputError([_as_fault(detail, where=path.name) for detail in error.errors()]) from error


def _as_fault(detail: Any, *, where: str) -> Fault:
    *parents, name = [str(part) for part in detail["loc"]]
    place = f"{where} [[{parents[0]}]] {int(parents[1]) + 1}" if len(parents) > 1 else where
    if detail["type"] == "extra_forbidden":
        known = _TABLES.get(parents[0] if parents else "", AsBuiltNotes)
        return Fault(where=place, found=f"{name!r} is not known here", remedy=near_matches(name, known.model_fields))
    if detail["type"] == "missing":
        return Fault(where=place, found=f"{name!r} is missing", remedy="add it")
    return Fault(where=place, found=f"{name} = {detail['input']!r}", must=detail["msg"])
