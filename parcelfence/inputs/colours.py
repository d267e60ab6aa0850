"""Colours of locate marks: named public schemes, and the names and codes by which files write a colour.

The same paint means other things in other countries, so a colour is only read under a named scheme.
"""

from __future__ import annotations

import colorsys
import re
from typing import Final

from parcelfence.errors import Fault, SettingsError, near_matches

__all__ = ["APWA_COLOURS", "SCHEMES", "colour_name", "kind_of_colour", "scheme_name"]

SCHEMES: Final[dict[str, dict[str, str]]] = {
    # APWA uniform colour code with the safety colours of ANSI Z535.1
    "APWA": {
        "red": "electric",
        "yellow": "gas",
        "orange": "telecom",
        "blue": "water",
        "purple": "reclaimed",
        "violet": "reclaimed",
        "green": "sewer",
        "pink": "survey",
        "white": "proposed",
    },
    # AS 5488, Australia; orange, white, purple and brown as locating firms list them, the others from memory
    "AS 5488": {
        "orange": "electric",
        "yellow": "gas",
        "white": "telecom",
        "blue": "water",
        "red": "fire water",
        "cream": "sewer",
        "green": "storm",
        "purple": "reclaimed",
        "violet": "reclaimed",
        "brown": "oil",
        "pink": "unknown",
    },
    # NF P98-332, France; orange (chemical products) from memory
    "NF P98-332": {
        "red": "electric",
        "yellow": "gas",
        "orange": "chemical",
        "blue": "water",
        "brown": "sewer",
        "green": "telecom",
        "white": "signals",
        "purple": "heating",
        "violet": "heating",
    },
    # Guidance of the British street works bodies, from memory; grey and green serve several owners there
    "UK": {
        "black": "electric",
        "red": "electric",
        "yellow": "gas",
        "blue": "water",
        "green": "telecom",
        "grey": "telecom",
        "purple": "telecom",
        "orange": "signals",
    },
}
"""Kind of utility by colour, for every scheme."""

APWA_COLOURS: Final[dict[str, str]] = {
    "electric": "red",
    "gas": "yellow",
    "oil": "yellow",
    "chemical": "yellow",
    "steam": "yellow",
    "heating": "yellow",
    "telecom": "orange",
    "signals": "orange",
    "water": "blue",
    "fire water": "blue",
    "reclaimed": "purple",
    "sewer": "green",
    "storm": "green",
    "survey": "pink",
    "proposed": "white",
    "unknown": "",
}
"""Colour of each kind by the APWA code; a kind that is not known has none."""

_SPELLINGS: Final = {
    "red": ("red", "rot", "rood", "rouge", "rojo"),
    "yellow": ("yellow", "yel", "gelb", "geel", "jaune", "amarillo"),
    "orange": ("orange", "org", "oranje", "naranja"),
    "blue": ("blue", "blu", "blau", "blauw", "bleu", "azul"),
    "green": ("green", "grn", "grün", "gruen", "groen", "vert", "verde"),
    "purple": ("purple", "purp", "lila", "paars", "morado"),
    "violet": ("violet", "violett", "violeta"),
    "pink": ("pink", "magenta", "rosa", "roze", "rose"),
    "white": ("white", "wht", "weiß", "weiss", "wit", "blanc", "blanco"),
    "brown": ("brown", "braun", "bruin", "marron", "marrón"),
    "black": ("black", "schwarz", "zwart", "noir", "negro"),
    "grey": ("grey", "gray", "grau", "grijs", "gris"),
    "cream": ("cream", "creme"),
}
_NAMES: Final = {spelling: name for name, spellings in _SPELLINGS.items() for spelling in spellings}
_BESIDE: Final = frozenset({"paint", "painted", "flag", "flags", "mark", "marks", "chalk", "bright", "fluorescent"})
_HEX: Final = re.compile(r"#?([0-9a-f]{6})(?:[0-9a-f]{2})?")
_HUES: Final = (
    (15, "red"),
    (45, "orange"),
    (70, "yellow"),
    (170, "green"),
    (260, "blue"),
    (305, "purple"),
    (345, "pink"),
)
_PALE, _BRIGHT, _DARK = 0.15, 0.85, 0.65


def scheme_name(given: str) -> str:
    """Find the scheme that is meant, however it is spaced or cased.

    Raises
    ------
    SettingsError
        If there is none of that name.
    """
    plain = _plain(given)
    for name in SCHEMES:
        if _plain(name) == plain:
            return name
    raise SettingsError(
        Fault(
            where="colour_scheme",
            found=f"there is no colour scheme {given!r}",
            must="the scheme by which marks were painted must be one of " + ", ".join(SCHEMES),
            remedy=near_matches(given, SCHEMES),
        )
    )


def colour_name(text: str) -> str:
    """Give the plain name of a colour written as a word or as a code such as ``#FF0000``; empty if it is none.

    The whole text must be the colour: "Redwood Lane" and "blue house" are none.
    """
    code = _HEX.fullmatch(text.strip().casefold())
    if code:
        return _colour_of_code(code[1])
    words = [word for word in re.split(r"[^\w]+|_", text.casefold()) if word and word not in _BESIDE]
    return _NAMES.get(words[0], "") if len(words) == 1 else ""


def kind_of_colour(text: str, *, scheme: str = "APWA") -> str:
    """Give the kind that a colour stands for under a scheme; ``"unknown"`` where it stands for none.

    Raises
    ------
    SettingsError
        If there is no such scheme.
    """
    return SCHEMES[scheme_name(scheme)].get(colour_name(text), "unknown")


def _colour_of_code(code: str) -> str:
    red, green, blue = (int(code[start : start + 2], 16) / 255 for start in (0, 2, 4))
    hue, saturation, value = colorsys.rgb_to_hsv(red, green, blue)
    if saturation < _PALE:
        return "white" if value > _BRIGHT else "black" if value < _PALE else "grey"
    name = next((name for limit, name in _HUES if hue * 360 < limit), "red")
    return "brown" if name == "orange" and value < _DARK else name


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.casefold())
