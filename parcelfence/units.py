"""Conversions between the person's units and SI; the only place where feet are known.

Inside parcelfence every length is in metres, every area in square metres.  A person may write ``"8 ft"``,
``"2.4 m"``, ``"9'"`` or a bare number of metres, and reads results in the units of choice.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, Literal

from parcelfence.errors import SettingsError

__all__ = [
    "ACRE_M2",
    "FOOT_M",
    "METRIC",
    "MILE_M",
    "US",
    "US_SURVEY_FOOT_M",
    "UnitSystem",
    "known_digits",
    "parse_area_m2",
    "parse_length_m",
    "parse_named",
    "rough_percent",
    "station_label",
    "unit_system",
    "units_of",
]

FOOT_M: Final = 0.3048
MILE_M: Final = 5280 * FOOT_M
"""International foot, exact (NIST SP 811)."""
US_SURVEY_FOOT_M: Final = 1200 / 3937
"""US survey foot, exact (NIST SP 811); only coordinate systems use it."""
ACRE_M2: Final = 43560 * FOOT_M**2
"""Acre of 43,560 square international feet."""

_METRIC_LENGTHS: Final = {
    "": 1.0,
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0,
    "mm": 1e-3, "cm": 1e-2, "km": 1e3,
}  # fmt: skip
_US_LENGTHS: Final = {
    "ft": FOOT_M, "foot": FOOT_M, "feet": FOOT_M, "'": FOOT_M,
    "in": FOOT_M / 12, "inch": FOOT_M / 12, "inches": FOOT_M / 12, '"': FOOT_M / 12,
    "yd": 3 * FOOT_M, "yard": 3 * FOOT_M, "yards": 3 * FOOT_M,
    "usft": US_SURVEY_FOOT_M,
}  # fmt: skip
_LENGTHS: Final = _METRIC_LENGTHS | _US_LENGTHS
_AREAS: Final = {
    "": 1.0,
    "m2": 1.0, "sqm": 1.0, "m²": 1.0,
    "ha": 1e4, "hectare": 1e4, "hectares": 1e4,
    "acre": ACRE_M2, "acres": ACRE_M2, "ac": ACRE_M2,
    "sqft": FOOT_M**2, "ft2": FOOT_M**2,
}  # fmt: skip
_OTHERS: Final = {
    "_percent": {"": 1.0, "%": 1.0, "percent": 1.0},
    "_deg": {"": 1.0, "deg": 1.0, "degree": 1.0, "degrees": 1.0, "°": 1.0},
    "_hz": {"": 1.0, "hz": 1.0, "khz": 1e3, "mhz": 1e6},
    "_m_per_s": {"": 1.0, "m/s": 1.0, "km/h": 1 / 3.6, "mph": MILE_M / 3600, "ft/s": FOOT_M},
    "_s": {"": 1.0, "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3},
    "_c": {"": 1.0, "c": 1.0, "°c": 1.0, "celsius": 1.0},
    "_volts": {"": 1.0, "v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3},
    "_amperes": {"": 1.0, "a": 1.0, "ampere": 1.0, "amperes": 1.0, "ma": 1e-3},
    "_ohms": {"": 1.0, "ohm": 1.0, "ohms": 1.0, "ω": 1.0},
}
"""Units of what is neither a length nor an area, by the end of the name of the setting; the longest end counts."""
_QUANTITY: Final = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\d\s]\S*)?\s*")
_FEET_INCHES: Final = re.compile(r"\s*(\d+)\s*(?:'|ft|feet)\s*(\d+(?:\.\d+)?)\s*(?:\"|in|inches)?\s*")


def parse_length_m(text: str | float) -> float:
    """Read a length.

    Parameters
    ----------
    text : str or float
        A bare number (metres) or a number with a unit, such as ``"8 ft"``, ``"6 ft 6 in"``, ``"2.4 m"``.

    Returns
    -------
    float
        Metres.

    Raises
    ------
    SettingsError
        If it is no length.
    """
    if isinstance(text, str) and (both := _FEET_INCHES.fullmatch(text)):
        return float(both[1]) * FOOT_M + float(both[2]) * FOOT_M / 12
    return _quantity(text, units=_LENGTHS, example="'8 ft' or '2.4 m'")


def parse_area_m2(text: str | float) -> float:
    """Read an area, such as ``"25 acres"``; a bare number is square metres.

    Raises
    ------
    SettingsError
        If it is no area.
    """
    return _quantity(text, units=_AREAS, example="'25 acres' or '2 ha'")


def parse_named(text: str, *, name: str) -> float | str:
    """Read a value of a setting whose unit stands at the end of its name, such as ``"10 kHz"`` for ``frequency_hz``.

    Returns
    -------
    float or str
        The value in the unit of the setting; the text as it is if its name ends in none of these units.

    Raises
    ------
    SettingsError
        If it is no such quantity.
    """
    ends = [end for end in _OTHERS if name.endswith(end)]
    if not ends:
        return text
    units = _OTHERS[max(ends, key=len)]
    return _quantity(text, units=units, example=f"'5 {next(unit for unit in units if unit)}'")


def units_of(text: object) -> Literal["metric", "us"]:
    """Tell in which units a person thinks who writes a length so: ``"us"`` for feet, inches and yards, else metric."""
    found = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    unit = (found[2] or "").lower().rstrip(".") if found else ""
    both = isinstance(text, str) and _FEET_INCHES.fullmatch(text) is not None
    return "us" if both or unit in _US_LENGTHS else "metric"


def _quantity(text: str | float, *, units: dict[str, float], example: str) -> float:
    if isinstance(text, bool):
        msg = f"{text!r} is not a quantity. Write it like {example}."
        raise SettingsError(msg)
    if isinstance(text, int | float):
        value, unit = float(text), ""
    else:
        match = _QUANTITY.fullmatch(text)
        if match is None:
            msg = f"{text!r} is not a quantity. Write it like {example}."
            raise SettingsError(msg)
        value, unit = float(match[1]), (match[2] or "").lower().rstrip(".")
    if unit not in units:
        known = ", ".join(sorted(name for name in units if name.isalnum()))
        msg = f"{text!r} has the unit {unit!r}, which is not known. Use one of: {known}."
        raise SettingsError(msg)
    if not math.isfinite(value):
        msg = f"{text!r} is not a finite number. Write it like {example}."
        raise SettingsError(msg)
    return value * units[unit]


def known_digits(uncertainty: float) -> int:
    """Decimals that are worth writing beside an uncertainty: up to its first figure, three at most."""
    if not uncertainty > 0:
        return 2
    return max(0, min(3, -math.floor(math.log10(uncertainty))))


def rough_percent(share: float) -> str:
    """Write a share that is only estimated: to the nearest five hundredths, ``"20 %"``; no more than all of it."""
    return "100 % and more" if share > 1.0 else f"{max(5, 5 * round(20 * share))} %"


@dataclass(frozen=True)
class UnitSystem:
    """How lengths and areas are shown to a person.

    Parameters
    ----------
    name : str
        ``"us"`` or ``"metric"``.
    length_unit, area_unit : str
        Written after the number.
    length_m, area_m2 : float
        Size of one such unit.
    """

    name: str
    length_unit: str
    area_unit: str
    length_m: float
    area_m2: float

    def length(self, value_m: float, *, digits: int = 1) -> str:
        """Write a length, for example ``"8.0 ft"``."""
        return f"{value_m / self.length_m:,.{digits}f} {self.length_unit}"

    def distance(self, value_m: float) -> str:
        """Write how far away a thing is: metres or feet below a kilometre, then ``"3.4 km"`` or ``"310 miles"``."""
        if value_m < 1000.0:  # noqa: PLR2004  (a kilometre)
            return self.length(value_m, digits=0)
        size = value_m / (MILE_M if self.name == "us" else 1000.0)
        return f"{size:,.{1 if size < 10 else 0}f} {'miles' if self.name == 'us' else 'km'}"  # noqa: PLR2004  (two figures)

    def tape(self, value_m: float) -> str:
        """Write a length as a tape shows it: ``"12 ft 4 1/2 in"``, or ``"3.76 m"``."""
        if self.name != "us":
            return f"{value_m:,.2f} m"
        feet, halves = divmod(round(value_m / FOOT_M * 24), 24)
        inches, half = divmod(halves, 2)
        return f"{feet:,} ft {inches}{' 1/2' if half else ''} in"

    def uncertain_length(self, value_m: float, *, uncertainty_m: float) -> str:
        """Write a length with its uncertainty, for example ``"2.0 \u00b1 0.2 m"``: no digit more than is known."""
        digits = known_digits(uncertainty_m / self.length_m)
        value, uncertainty = value_m / self.length_m, uncertainty_m / self.length_m
        return f"{value:,.{digits}f} \u00b1 {uncertainty:.{digits}f} {self.length_unit}"

    def area(self, value_m2: float, *, digits: int = 2) -> str:
        """Write an area, for example ``"6.20 acres"``."""
        return f"{value_m2 / self.area_m2:,.{digits}f} {self.area_unit}"


US: Final = UnitSystem("us", "ft", "acres", FOOT_M, ACRE_M2)
METRIC: Final = UnitSystem("metric", "m", "ha", 1.0, 1e4)


def unit_system(name: str) -> UnitSystem:
    """Look a unit system up by its name, ``"us"`` or ``"metric"``."""
    return {"us": US, "metric": METRIC}[name]


def station_label(station_m: float, *, style: str) -> str:
    """Write a chainage as it stands on a stake.

    Parameters
    ----------
    station_m : float
        Metres from the attachment of the lead-in.
    style : str
        ``"metric"``: kilometres + metres, ``0+123.4``; ``"us"``: stations of 100 ft + feet, ``4+04.9``.
    """
    unit_m, tenths_per_station, width = (FOOT_M, 1_000, 4) if style == "us" else (1.0, 10_000, 5)
    whole, rest = divmod(round(station_m / unit_m * 10), tenths_per_station)
    return f"{whole}+{rest / 10:0{width}.1f}"
