"""Kinds of utility from words, colours and columns; what is not understood is unknown."""

from __future__ import annotations

import pytest

from parcelfence.errors import InputError, SettingsError
from parcelfence.inputs.colours import colour_name, scheme_name
from parcelfence.inputs.kinds import KINDS, recognise

SPELLINGS = {
    "electric": "ELEC;Elec.;electric;POWER LINE;UGE;street_lighting;Elektriciteitskabel;laagspanning;Stromkabel;"
    "Straßenbeleuchtung;Niederspannung;électricité;Éclairage public;alumbrado;baja tensión;ELEC SEC;E",
    "gas": "Gas;GAS MAIN;natural gas;propane;LPG;gasLageDruk;OlieGasChemicalienPijpleiding;Erdgas;gaz;gas natural;NG;G",
    "oil": "petroleum;diesel fuel;Öl;olie;PP",
    "steam": "steam;Dampf;stoom",
    "heating": "district heating;Fernwärme;stadsverwarming;chauffage;hot water",
    "water": "Water;WTR;H2O;potable water;drinking water;waterMain;Trinkwasser;drinkwater;eau potable;agua;W",
    "fire water": "fire main;bluswater",
    "reclaimed": "reclaimed water;irrigation;recycled water;riego;non-potable water",
    "sewer": "Sewer;sanitary;Sanitary Manhole;waste water;Wastewater;rioolVrijverval;Rioolleiding;Abwasser;eaux usées;"
    "aguas residuales;force main;combined sewer;SS",
    "storm": "storm drain;Stormwater;storm water;storm sewer;culvert;hemelwater;Regenwasser;eaux pluviales;SD",
    "telecom": "telco;COMM;CATV;cable TV;fibre;Fiber Optic;telecommunications;Glasvezel;Telekom;téléphone;fibra óptica;"
    "phone;TEL MK;FO",
    "signals": "traffic signal;RR",
}


@pytest.mark.parametrize(
    ("kind", "spelling"), [(kind, text) for kind in SPELLINGS for text in SPELLINGS[kind].split(";")]
)
def test_spellings_of_five_languages(kind: str, spelling: str) -> None:
    assert recognise({"utility": spelling}).name == kind


@pytest.mark.parametrize(
    "text",
    ["Las Vegas", "Redwood", "Pegasus", "Hotel", "Bluegrass", "watermelon", "Powers", "Gastonia", "Telluride", "Elm St",
     "Teleki", "?", "unknown", "N/A", "none", "", "cable", "Kabelbed", "no gas"],
)  # fmt: skip
def test_words_are_matched_whole(text: str) -> None:
    kind = recognise({"utility": text})
    assert kind.name == "unknown"
    assert kind.metallic
    assert not kind.apwa_color
    assert kind.note


@pytest.mark.parametrize("column", ["name", "comment", "street"])
@pytest.mark.parametrize("text", ["Water Street", "Gas Works Lane", "12 Power Road"])
def test_a_street_is_no_utility(column: str, text: str) -> None:
    assert recognise({column: text}).name == "unknown"


@pytest.mark.parametrize(
    ("attributes", "kind", "basis"),
    [
        ({"kind": "Kabelbed", "theme": "laagspanning"}, "electric", "column theme"),
        ({"util_type": "gas", "colour": "yellow"}, "gas", "column util_type"),
        ({"colour": "Orange paint"}, "telecom", "colour in column colour"),
        ({"utility": "RED"}, "electric", "colour in column utility"),
        ({"color": "#0000FF"}, "water", "colour in column color"),
        ({"description": "GAS MK"}, "gas", "column description"),
        ({"System Type": "Wastewater"}, "sewer", "column system_type"),
        ({"system": None, "type_code": 19}, "water", "column type_code"),
        ({"mark_text": "ELEC"}, "electric", "column mark_text"),
        ({"owner": "Tarrowby Water"}, "water", "column owner"),
    ],
)
def test_any_likely_column_is_read_in_the_order_of_trust(attributes: dict[str, object], kind: str, basis: str) -> None:
    found = recognise(attributes)
    assert (found.name, found.basis) == (kind, basis)


def test_several_kinds_of_different_colours_are_unknown_and_told() -> None:
    kind = recognise({"utility": "joint trench elec/tel"})
    assert kind.name == "unknown"
    assert "electric, telecom" in kind.note


def test_a_later_column_may_settle_what_an_earlier_one_leaves_open() -> None:
    assert recognise({"utility": "gas or water", "theme": "gas"}).name == "gas"


def test_words_go_before_colour_and_the_clash_is_told() -> None:
    kind = recognise({"utility": "gas", "colour": "blue"})
    assert kind.name == "gas"
    assert "blue says water" in kind.note


def test_purple_makes_a_bare_w_reclaimed_water() -> None:
    assert recognise({"utility": "W", "colour": "purple"}).name == "reclaimed"


def test_the_person_overrules_everything() -> None:
    assert recognise({"utility": "gas"}, kind="telco").name == "telecom"
    assert recognise({"utility": "gas", "net": "water"}, field="net").name == "water"
    with pytest.raises(InputError, match="'gass' is no kind"):
        recognise({}, kind="gass")


def test_the_name_of_the_file_comes_last_and_is_told() -> None:
    kind = recognise({"TYPE": "GRAVITY"}, file_name="sanitary_main.shp")
    assert (kind.name, kind.basis) == ("sewer", "file name")
    assert "name of the file only" in kind.note
    assert recognise({"utility": "gas"}, file_name="sanitary_main.shp").name == "gas"


def test_a_chained_field_mark_tells_by_its_second_part() -> None:
    assert recognise({"utility": "TRB/G/D/PL"}).name == "gas"


@pytest.mark.parametrize(
    ("utility", "material", "metallic"),
    [("sewer", "PVC", False), ("storm", "HDPE", False), ("sewer", "VCP", False), ("sewer", "DIP", True),
     ("storm", "RCP", True), ("sewer", None, True), ("gas", "PE", True), ("water", "PVC", True), ("?", "PVC", True)],
)  # fmt: skip
def test_only_sewers_of_plastic_or_clay_carry_no_current(utility: str, material: str | None, *, metallic: bool) -> None:
    assert recognise({"utility": utility, "MATERIAL": material}).metallic is metallic


def test_every_kind_is_understood_by_its_own_name() -> None:
    for name in KINDS:
        assert recognise({}, kind=name).name == name


@pytest.mark.parametrize(
    ("text", "name"),
    [("RED", "red"), ("#ffa500", "orange"), ("#FF00FF", "purple"), ("008000", "green"), ("gelb", "yellow"),
     ("orange flags", "orange"), ("#8B4513", "brown"), ("#ffffff", "white"), ("Redwood", ""), ("red and blue", "")],
)  # fmt: skip
def test_names_of_colours(text: str, name: str) -> None:
    assert colour_name(text) == name


def test_an_unknown_scheme_is_refused_with_the_known_ones() -> None:
    assert scheme_name("as5488") == "AS 5488"
    with pytest.raises(SettingsError, match="APWA, AS 5488"):
        scheme_name("DIN")
