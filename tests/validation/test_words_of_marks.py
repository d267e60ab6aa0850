"""Words and codes by which utilities are named, and the width of the zone beside them.

Sources: facility identifiers of Common Ground Alliance, *Best Practices*, appendix B (G, LPG, PP, CH, W, SD, SS, SP),
and its practice 5-19 for the tolerance zone: 18 inches beyond each outside edge (24 in California, New York, Florida).
Colours of the APWA uniform colour code; utility network types of INSPIRE D2.8.III.6 (from memory).  The other words
are common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely import LineString

from parcelfence.inputs.kinds import recognise
from parcelfence.inputs.source import Source
from parcelfence.settings import Settings
from parcelfence.site.marks import MarkRecord, utilities

WORDS = {
    "yellow": "GAS MAIN, natural gas, propane, petroleum, steam, G, LPG, PP, CH, YELLOW, oilGasChemical",
    "blue": "Water, drinking water, domestic water, water main, W, BLUE",
    "green": "Sewer, storm drain, drain, storm sewer, SD, SS, GREEN",
    "purple": "irrigation, reclaimed water, slurry, SP, PURPLE",
    "red": "Electric, elec., POWER LINE, E, UGE, lighting, RED, street_lighting, electricity",
    "orange": "telco, Telecom, phone, fibre, Fiber Optic, CATV, internet, data cable, TV, ORANGE, telecommunications",
    "": "Hotel, Bluegrass, watermelon, Powers, unknown, N/A",
}
CASES = [(word, colour) for colour, words in WORDS.items() for word in words.split(", ")]


@pytest.mark.parametrize(("word", "colour"), CASES)
def test_a_word_leads_to_the_colour_of_its_utility(word: str, colour: str) -> None:
    found = recognise({"utility": word})
    assert found.apwa_color == colour
    assert (found.name == "unknown") == (not colour)


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("CH", "chemical"), ("E", "electric"), ("FO", "telecom"), ("G", "gas"), ("LPG", "gas"), ("PP", "oil"),
        ("RR", "signals"), ("S", "sewer"), ("SD", "storm"), ("SL", "electric"), ("SS", "sewer"), ("STM", "steam"),
        ("SP", "reclaimed"), ("TEL", "telecom"), ("TS", "signals"), ("TV", "telecom"), ("W", "water"),
    ],
)  # fmt: skip
def test_facility_identifiers_of_the_common_ground_alliance(code: str, kind: str) -> None:
    """Appendix B of the *Best Practices*; SL, STM and TS from memory, the others seen in part."""
    assert recognise({"facility": code}).name == kind


def test_a_code_that_rests_on_memory_says_so() -> None:
    assert "from memory" in recognise({"utility": "STM"}).note
    assert "from memory" in recognise({"utility": "SL"}).note
    assert not recognise({"utility": "G"}).note
    assert recognise({"utility": "STM DRAIN"}).name == "storm"


@pytest.mark.parametrize(
    ("facility", "tolerance", "total_width_m"), [("4 in", "18 in", 1.016), ("12 in", "24 in", 1.524)]
)
def test_the_tolerance_zone_begins_at_the_outside_edge(facility: str, tolerance: str, total_width_m: float) -> None:
    mark = MarkRecord(
        geometry=LineString([(0, 0), (30, 0)]),
        attributes={"utility": "gas", "diameter": facility},
        source=Source(role="marks", path=Path("marks.geojson")),
        position=0,
    )
    (gas,) = utilities([mark], settings=Settings.from_words({"tolerance_zone": tolerance})).utilities
    assert 2 * gas.tolerance_m == pytest.approx(total_width_m)
