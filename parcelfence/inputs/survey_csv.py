"""Survey points in CSV: point, northing, easting, elevation, description; with or without a header line."""

from __future__ import annotations

import csv
import io
import math
import re
from typing import Any, Final, Literal

from shapely import Point

from parcelfence.errors import Fault, InputError
from parcelfence.inputs.raw import RawFeature, RawLayer, tidy_attributes

__all__ = ["csv_rows", "read_survey_csv"]

_SURVEY_ORDER: Final = ("point", "northing", "easting", "elevation", "description")
_HEADINGS: Final = {
    "northing": ("northing", "north", "n", "y", "lat", "latitude", "northing_m", "northing_ft", "y_coord"),
    "easting": ("easting", "east", "e", "x", "lon", "long", "lng", "longitude", "easting_m", "easting_ft", "x_coord"),
    "elevation": ("elevation", "elev", "z", "height", "h", "elevation_m", "elevation_ft"),
    "description": ("description", "desc", "code", "d", "descriptor", "raw_desc", "feature_code"),
    "point": ("point", "pt", "p", "pnt", "no", "number", "point_no", "point_number", "name", "id", "pointid"),
}
_FEWEST_COLUMNS: Final = 3
_COMMENT: Final = ("#", "//", ";;")


def read_survey_csv(content: bytes, *, name: str) -> RawLayer:
    """Read survey points.

    Parameters
    ----------
    content : bytes
        The file. Separated by comma, semicolon or tab; a decimal comma is understood where the semicolon separates.
    name : str
        What to call it in messages.

    Returns
    -------
    RawLayer
        Points (easting, northing) with `point`, `elevation`, `description` and any further columns as attributes.
        It states no CRS, as the format has none.

    Raises
    ------
    InputError
        If there are no rows, or no columns of northing and easting.
    """
    rows, separator = csv_rows(content, name=name)
    heading = _heading(rows[0][1])
    columns = heading or _columns_without_heading(rows, name=name)
    _check_heading(columns, name=name)
    body = rows[1:] if heading else rows
    decimal_comma = separator == ";"
    features = tuple(
        _feature(cells, columns=columns, position=position, line=line, decimal_comma=decimal_comma)
        for position, (line, cells) in enumerate(body)
    )
    fields = tuple(column for column in columns if column not in {"northing", "easting"})
    return RawLayer(name=name, features=features, crs=None, fields=fields)


def csv_rows(content: bytes, *, name: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Read the rows of a table of text that hold anything.

    Parameters
    ----------
    content : bytes
        The file, in UTF-8 or Windows-1252.
    name : str
        What to call it in messages.

    Returns
    -------
    rows : list of (int, list of str)
        Line number and stripped cells of each, at least one.
    separator : str
        Comma, semicolon or tab.

    Raises
    ------
    InputError
        If it is no table of text, or has no rows.
    """
    text = _decoded(content)
    try:
        rows, separator = _rows(text)
    except csv.Error as error:
        raise InputError(
            Fault(where=name, found=f"it is no table of text ({error})", remedy="export the points again, as plain CSV")
        ) from error
    if not rows:
        raise InputError(
            Fault(where=name, found="the file holds no rows", remedy="export the points again, in survey order")
        )
    return rows, separator


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Give the rows that hold anything, each with its line number, and the separator."""
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith(_COMMENT)]
    sample = "\n".join(lines[:50])
    separator = max(("\t", ";", ","), key=sample.count)
    rows = _parsed(text, separator=separator, quoting=csv.QUOTE_MINIMAL)
    if any("\n" in cell for _, cells in rows for cell in cells):  # a sign for inches, not a quote that was left open
        rows = _parsed(text, separator=separator, quoting=csv.QUOTE_NONE)
    return rows, separator


def _parsed(text: str, *, separator: str, quoting: Literal[0, 3]) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True, quoting=quoting)
    return [
        (reader.line_num, [cell.strip() if "\n" not in cell else cell for cell in cells])
        for cells in reader
        if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith(_COMMENT)
    ]


def _heading(cells: list[str]) -> list[str]:
    """Give the columns that a heading names; empty if the line is no heading."""
    if any(_number(cell) is not None for cell in (cells[1:3] or cells)):
        return []
    meaning = {word: column for column, words in _HEADINGS.items() for word in words}
    names = [_plain(cell) for cell in cells]
    return [meaning.get(name, name or f"column_{index + 1}") for index, name in enumerate(names)]


def _plain(cell: str) -> str:
    word = re.sub(r"\(.*?\)|\[.*?\]", "", cell).strip().casefold()
    return re.sub(r"\W+", "_", word).strip("_")


def _columns_without_heading(rows: list[tuple[int, list[str]]], *, name: str) -> list[str]:
    width = max(len(cells) for _, cells in rows)
    if width < _FEWEST_COLUMNS:
        raise InputError(
            Fault(
                where=name,
                found=f"the rows have {width} column{'s' if width > 1 else ''}",
                must="survey points are written as point,northing,easting,elevation,description",
                remedy="export them in that order, separated by commas",
            )
        )
    extra = [f"column_{index + 1}" for index in range(len(_SURVEY_ORDER), width)]
    return [*_SURVEY_ORDER[:width], *extra]


def _check_heading(columns: list[str], *, name: str) -> None:
    missing = [column for column in ("northing", "easting") if column not in columns]
    if missing:
        raise InputError(
            Fault(
                where=name,
                found=f"its columns are {', '.join(columns)}: no {' and no '.join(missing)}",
                must="the heading must name northing and easting (or y and x, or latitude and longitude)",
                remedy="name them in the first line, or leave the heading out and keep the order "
                "point,northing,easting,elevation,description",
            )
        )


def _feature(cells: list[str], *, columns: list[str], position: int, line: int, decimal_comma: bool) -> RawFeature:
    values: dict[str, Any] = dict(zip(columns, cells, strict=False))
    northing, easting = (_number(values.pop(axis, ""), comma=decimal_comma) for axis in ("northing", "easting"))
    if "elevation" in values:
        values["elevation"] = _number(values["elevation"], comma=decimal_comma)
    attributes = tidy_attributes(values)
    if northing is None or easting is None:
        fault = f"line {line} has no numbers for northing and easting: {', '.join(cells)[:60]}"
        return RawFeature(position=position, geometry=None, attributes=attributes, fault=fault)
    return RawFeature(position=position, geometry=Point(easting, northing), attributes=attributes)


def _number(cell: str, *, comma: bool = False) -> float | None:
    text = cell.replace(".", "").replace(",", ".") if comma and "," in cell else cell.replace(",", "")
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
