"""The unit of elevations: what the person gave, else what the raster states, else metres."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, InputError, SettingsError
from parcelfence.units import US_SURVEY_FOOT_M, parse_length_m

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["elevation_unit_m", "unit_of_elevations"]

_SAME: Final = 1e-4
"""Feet of both kinds count as the same when two statements are compared: no slope shows the difference."""
_SURVEY_FEET: Final = frozenset({"us ft", "us foot", "foot us", "ftus", "usft", "sfoot"})


def elevation_unit_m(word: str, *, where: str = "`elevation_unit`") -> float:
    """Read the name of a unit, such as ``m``, ``ft`` or ``US survey foot``.

    Returns
    -------
    float
        Its size in metres.

    Raises
    ------
    SettingsError
        If it is not known.
    """
    plain = re.sub(r"[\s_-]+", " ", word.strip().lower())
    if "survey" in plain or plain in _SURVEY_FEET:
        return US_SURVEY_FOOT_M
    try:
        return parse_length_m("1 " + plain.removeprefix("international "))
    except SettingsError as error:
        must = "elevations are in 'm', 'ft' or 'usft' (US survey feet)"
        raise SettingsError(Fault(where=where, found=f"{word!r} is no unit that is known", must=must)) from error


def unit_of_elevations(crs: CRS, *, band_unit: str, given: str | None, where: str) -> tuple[float, tuple[str, ...]]:
    """Settle the unit of the elevations in a raster.

    Parameters
    ----------
    crs : CRS
        CRS of the raster with its vertical part, if it has one.
    band_unit : str
        Unit that the band states; empty for none.
    given : str, optional
        What the person says; it wins.
    where : str
        What to call the raster in messages.

    Returns
    -------
    unit_m : float
        Size of the unit in metres.
    remarks : tuple of str
        What was assumed.

    Raises
    ------
    InputError
        If the raster contradicts itself, states a unit that is not known, or none while its CRS is in feet: lengths
        would come out wrong, and nobody would see it.
    """
    if given:
        return elevation_unit_m(given), (f"the elevations of {where} are taken as {given}, as given",)
    remedy = "say which it is, as in `elevation_unit` ft"
    stated = {axis.unit_conversion_factor for axis in crs.axis_info if axis.direction in {"up", "down"}}
    if band_unit:
        try:
            stated.add(elevation_unit_m(band_unit))
        except SettingsError as error:
            found = f"its elevations are in {band_unit!r}, which is no unit that is known"
            raise InputError(Fault(where=where, found=found, remedy=remedy)) from error
    if not stated:
        horizontal_unit = crs.axis_info[0].unit_name
        if crs.is_projected and abs(crs.axis_info[0].unit_conversion_factor - 1.0) > _SAME:
            found = (
                f"it does not say the unit of its elevations, and its CRS is in another than metres: {horizontal_unit}"
            )
            raise InputError(Fault(where=where, found=found, must="the unit must be known", remedy=remedy))
        return 1.0, (f"{where} does not say the unit of its elevations: they are taken as metres",)
    if max(stated) / min(stated) - 1.0 > _SAME:
        found = f"its band says that elevations are in {band_unit!r}, and its CRS says otherwise"
        raise InputError(Fault(where=where, found=found, must="only one of them can be true", remedy=remedy))
    return min(stated), ()
