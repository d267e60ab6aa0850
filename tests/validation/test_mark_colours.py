"""Colours and codes of locate marks against the published schemes.

Sources, each named beside its values: the APWA uniform colour code with the safety colours of ANSI Z535.1; AS 5488 as
Australian locating firms list its colours; NF P98-332 as French trade pages list its colours; the facility identifiers
of the Common Ground Alliance's Best Practices, appendix B; the OpenStreetMap wiki, key ``utility``; INSPIRE D2.8.III.6,
utility network types (from memory).
"""

from __future__ import annotations

import pytest

from parcelfence.inputs.colours import APWA_COLOURS, kind_of_colour
from parcelfence.inputs.kinds import recognise

CLASSES = {
    "electric": {"electric"},
    "gas, oil, steam": {"gas", "oil", "steam", "chemical"},
    "communications": {"telecom", "signals"},
    "potable water": {"water", "fire water"},
    "sewer and drain": {"sewer", "storm"},
    "reclaimed, irrigation, slurry": {"reclaimed"},
    "heating, cooling": {"heating"},
    "traffic signals": {"signals"},
    "survey": {"survey"},
    "proposed excavation": {"proposed"},
}

APWA = {  # APWA uniform colour code, ANSI Z535.1
    "red": "electric",
    "yellow": "gas, oil, steam",
    "orange": "communications",
    "blue": "potable water",
    "purple": "reclaimed, irrigation, slurry",
    "green": "sewer and drain",
    "pink": "survey",
    "white": "proposed excavation",
}
AS_5488 = {  # AS 5488, as listed by a locating firm
    "orange": "electric",
    "white": "communications",
    "purple": "reclaimed, irrigation, slurry",
    "brown": "gas, oil, steam",
}
NF_P98_332 = {  # NF P98-332, as listed by several trade pages
    "blue": "potable water",
    "green": "communications",
    "brown": "sewer and drain",
    "violet": "heating, cooling",
    "white": "traffic signals",
}
CGA = {  # CGA Best Practices, appendix B
    "E": "electric",
    "G": "gas, oil, steam",
    "LPG": "gas, oil, steam",
    "PP": "gas, oil, steam",
    "CH": "gas, oil, steam",
    "TEL": "communications",
    "TV": "communications",
    "RR": "communications",
    "W": "potable water",
    "SD": "sewer and drain",
    "SS": "sewer and drain",
    "SP": "reclaimed, irrigation, slurry",
}
OPENSTREETMAP = {  # wiki, key utility
    "gas": "gas, oil, steam",
    "oil": "gas, oil, steam",
    "chemical": "gas, oil, steam",
    "heating": "heating, cooling",
    "power": "electric",
    "street_lighting": "electric",
    "telecom": "communications",
    "television": "communications",
    "water": "potable water",
}
INSPIRE = {  # D2.8.III.6, from memory
    "electricity": "electric",
    "oilGasChemical": "gas, oil, steam",
    "sewer": "sewer and drain",
    "water": "potable water",
    "thermal": "heating, cooling",
    "telecommunications": "communications",
}


@pytest.mark.parametrize(
    ("scheme", "colour", "meaning"),
    [
        (scheme, colour, meaning)
        for scheme, listed in {"APWA": APWA, "AS 5488": AS_5488, "NF P98-332": NF_P98_332}.items()
        for colour, meaning in listed.items()
    ],
)
def test_a_colour_means_what_its_scheme_says(scheme: str, colour: str, meaning: str) -> None:
    assert kind_of_colour(colour, scheme=scheme) in CLASSES[meaning]
    if meaning not in {"survey", "proposed excavation"}:
        assert recognise({"colour": colour.upper()}, scheme=scheme).name in CLASSES[meaning]


def test_the_same_paint_means_other_things_elsewhere() -> None:
    meanings = {scheme: kind_of_colour("orange", scheme=scheme) for scheme in ("APWA", "AS 5488")}
    assert meanings == {"APWA": "telecom", "AS 5488": "electric"}


@pytest.mark.parametrize("listed", [CGA, OPENSTREETMAP, INSPIRE], ids=["CGA", "OpenStreetMap", "INSPIRE"])
def test_published_codes(listed: dict[str, str]) -> None:
    assert {
        code: recognise({"utility": code}).name in CLASSES[meaning] for code, meaning in listed.items()
    } == dict.fromkeys(listed, True)


def test_every_kind_is_shown_in_its_apwa_colour_and_back() -> None:
    for colour, meaning in APWA.items():
        for kind in CLASSES[meaning]:
            assert APWA_COLOURS[kind] == colour
