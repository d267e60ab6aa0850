"""Walked points written as stations: chainage of the wire, and the distance from it at which the receiver was heard."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from parcelfence.errors import Fault, InputError, SettingsError
from parcelfence.inputs.survey_csv import csv_rows
from parcelfence.units import FOOT_M, parse_length_m

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parcelfence.settings import Settings

__all__ = ["Side", "WalkedStation", "chainage_m", "is_station_table", "read_stations"]

Side = Literal["inside", "outside", ""]

_HEADINGS: Final = {
    "station": ("station", "sta", "chainage"),
    "distance": ("distance", "dist", "measured distance", "distance from wire", "offset"),
    "side": ("side",),
    "loop": ("loop", "loop id", "wire"),
    "name": ("point", "name", "id", "no", "number", "label"),
}
_MEANING: Final = {word: column for column, words in _HEADINGS.items() for word in words}
_UNITS: Final = {"m": "m", "metre": "m", "metres": "m", "meters": "m", "ft": "ft", "feet": "ft", "foot": "ft"}
_COORDINATES: Final = frozenset({"northing", "easting", "x", "y", "lat", "lon", "latitude", "longitude"})
_SIDES: Final[dict[str, Side]] = {
    **dict.fromkeys(("inside", "in", "i", "inner"), "inside"),
    **dict.fromkeys(("outside", "out", "o", "outer"), "outside"),
    "": "",
}
_LABEL: Final = re.compile(r"(?P<whole>\d+)\+(?P<rest>\d+(?:\.\d*)?)")
_BARE: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
_NOT_HEARD: Final = frozenset({"", "-", "none", "n/a", "not heard"})


@dataclass(frozen=True, kw_only=True)
class WalkedStation:
    """One place where the receiver was first heard, as it was taped from the wire.

    Parameters
    ----------
    name : str
        What the person called it; empty where nothing was written.
    line : int
        Line of the file.
    station_m : float
        Chainage of the plan, along its loop.
    distance_m : float
        Distance from the wire, square to it.
    side : str
        ``"inside"`` towards the ground that the loop encloses, ``"outside"``, or empty where it is not stated.
    loop_id : str
        Loop of the plan; empty where it is not stated.
    """

    name: str
    line: int
    station_m: float
    distance_m: float
    side: Side = ""
    loop_id: str = ""


@dataclass(frozen=True)
class _Column:
    """A recognised column, with the unit that its heading states; empty if it states none."""

    position: int
    unit: str


def is_station_table(content: bytes, *, name: str) -> bool:
    """Tell whether the first line names a station and a distance, and no coordinates."""
    rows, _ = csv_rows(content, name=name)
    words = {_words(cell)[0] for cell in rows[0][1]}
    return {"station", "distance"} <= {_MEANING.get(word) for word in words} and not words & _COORDINATES


def read_stations(
    content: bytes, *, name: str, settings: Settings
) -> tuple[tuple[WalkedStation, ...], tuple[Fault, ...]]:
    """Read walked stations.

    Parameters
    ----------
    content : bytes
        CSV whose first line names the columns ``station`` and ``distance``, and maybe ``side``, ``loop`` and
        ``point``. A station is a length or a label such as ``0+042.5``; units stand beside the numbers or in the
        heading (``distance_ft``); bare numbers are metres in a plan in metres, and are refused in one in feet.
    name : str
        What to call the file in messages.
    settings : Settings
        Units and station format of the plan.

    Returns
    -------
    stations : tuple of WalkedStation
        In the order of the file.
    remarks : tuple of Fault
        What was left out: rows without a distance, where nothing was heard.

    Raises
    ------
    InputError
        With every cell that cannot be read.
    """
    rows, separator = csv_rows(content, name=name)
    columns = _columns(rows[0][1])
    stations: list[WalkedStation] = []
    faults: list[Fault] = []
    silent: list[str] = []
    for line, cells in rows[1:]:
        texts = {
            column: cells[place.position] if place.position < len(cells) else "" for column, place in columns.items()
        }
        if separator == ";":
            texts |= {column: texts[column].replace(",", ".") for column in ("station", "distance")}
        if texts["distance"].casefold() in _NOT_HEARD:
            silent.append(str(line))
            continue
        try:
            stations.append(_station(texts, columns=columns, line=line, settings=settings))
        except SettingsError as error:
            faults.append(Fault(where=name, feature=f"line {line}", found=str(error)))
    if faults:
        raise InputError(faults)
    remark = Fault(
        where=name,
        found=f"rows without a distance were left out: line {', '.join(silent)}",
        remedy="where the receiver was not heard at all, look for a break, or a level that is too low",
    )
    return tuple(stations), (remark,) if silent else ()


def _columns(heading: list[str]) -> dict[str, _Column]:
    found: dict[str, _Column] = {}
    for position, cell in enumerate(heading):
        word, unit = _words(cell)
        if word in _MEANING:
            found.setdefault(_MEANING[word], _Column(position, unit))
    return found


def _words(cell: str) -> tuple[str, str]:
    """Split a heading into its plain words and the unit after them: ``"Distance (ft)"``, ``"distance_ft"``."""
    words = re.sub(r"[\W_]+", " ", cell.casefold()).split()
    unit = _UNITS.get(words[-1], "") if len(words) > 1 else ""
    return " ".join(words[:-1] if unit else words), unit


def _station(
    texts: Mapping[str, str], *, columns: Mapping[str, _Column], line: int, settings: Settings
) -> WalkedStation:
    """Read one row; raises SettingsError."""
    distance_m = _length_m(texts["distance"], unit=columns["distance"].unit, settings=settings)
    side = texts.get("side", "").casefold()
    if distance_m < 0.0:
        raise SettingsError(f"the distance {texts['distance']} is negative; say the side in a column side")
    if side not in _SIDES:
        raise SettingsError(f"the side {side!r} is neither inside nor outside")
    return WalkedStation(
        name=texts.get("name", ""),
        line=line,
        station_m=chainage_m(texts["station"], unit=columns["station"].unit, settings=settings),
        distance_m=distance_m,
        side=_SIDES[side],
        loop_id=texts.get("loop", ""),
    )


def chainage_m(text: str, *, unit: str, settings: Settings) -> float:
    """Read a chainage: a length, or a label such as ``0+042.5``; raises SettingsError."""
    label = _LABEL.fullmatch(text)
    if label is None:
        return _length_m(text, unit=unit, settings=settings)
    in_feet = unit == "ft" or (not unit and settings.station_format == "us")
    whole, rest = float(label["whole"]), float(label["rest"])
    return (100.0 * whole + rest) * FOOT_M if in_feet else 1000.0 * whole + rest


def _length_m(text: str, *, unit: str, settings: Settings) -> float:
    bare = _BARE.fullmatch(text) is not None
    if bare and not unit and settings.units == "us":
        raise SettingsError(f"{text} has no unit, and the plan is in feet; name the column distance_ft or distance_m")
    length_m = parse_length_m(f"{text} {unit}" if bare else text)
    if not math.isfinite(length_m):
        raise SettingsError(f"{text} is not a length")
    return length_m
