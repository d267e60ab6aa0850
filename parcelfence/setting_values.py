"""Kinds of values that settings take: lengths with or without a unit, dates, points of the compass."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, ValidationInfo, field_validator

from parcelfence.units import parse_area_m2, parse_length_m, parse_named

__all__ = [
    "COMPASS",
    "Area",
    "Compass",
    "IsoDate",
    "Length",
    "LengthOrNone",
    "Number",
    "NumberOrNone",
    "PartNumber",
    "WithUnits",
]

Length = Annotated[float, BeforeValidator(parse_length_m), Field(gt=0, allow_inf_nan=False)]
LengthOrNone = Annotated[float, BeforeValidator(parse_length_m), Field(ge=0, allow_inf_nan=False)]
Area = Annotated[float, BeforeValidator(parse_area_m2), Field(gt=0, allow_inf_nan=False)]
Number = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NumberOrNone = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class WithUnits(BaseModel):
    """Settings whose values may be written with the unit that their name ends in: ``"3 %"``, ``"10 kHz"``."""

    @field_validator("*", mode="before")
    @classmethod
    def _read_unit(cls, value: Any, about: ValidationInfo) -> Any:
        return parse_named(value, name=about.field_name or "") if isinstance(value, str) else value


def _iso_date(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat() if text else text
    except ValueError:
        msg = "it must be a date such as 2024-05-31"
        raise ValueError(msg) from None


IsoDate = Annotated[str, AfterValidator(_iso_date)]


COMPASS: Final = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")


def _compass(text: Any) -> str:
    """Write a side as a point of the compass, or as a bearing."""
    said = str(text).strip().casefold()
    words = re.sub(r"[\s-]+", "", said)
    short = {"".join(part[0] for part in _SPLIT.findall(name)): name for name in COMPASS}
    words = short.get(words, words)
    if words in {"", *COMPASS}:
        return words
    try:
        return f"{float(said) % 360:g}"
    except ValueError:
        msg = "it must be a point of the compass such as south-west, or a bearing in degrees from north"
        raise ValueError(msg) from None


_SPLIT: Final = re.compile(r"north|south|east|west")


def _part_number(text: Any) -> Any:
    return {"": 0, "largest": 1}.get(text, text) if isinstance(text, str) else text


Compass = Annotated[str, BeforeValidator(_compass)]
PartNumber = Annotated[int, BeforeValidator(_part_number)]
