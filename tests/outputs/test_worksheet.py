"""The worksheet: whole, to scale, and safe to open."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import starmap
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from lxml import etree
from plan_fixture import NASTY, hand_made_plan
from shapely import affinity

from parcelfence.conflict import Conflict
from parcelfence.outputs.cautions import CAUTIONS
from parcelfence.outputs.drawing import drawing
from parcelfence.outputs.drawing_marks import numbered_conflicts
from parcelfence.outputs.paper import Labels, nice_step, sheet_of, sheets_of
from parcelfence.outputs.worksheet import worksheet_page
from parcelfence.outputs.worksheet_work import number_list
from parcelfence.units import US, station_label
from tests.sample import sample_plan

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

_SVG = "{http://www.w3.org/2000/svg}"


class _Reader(HTMLParser):
    """Gathers tags, attributes and visible text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.heads: list[str] = []
        self._in_head = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        self._in_head = tag == "h2"

    def handle_data(self, data: str) -> None:
        self.text += data + " "
        if self._in_head:
            self.heads.append(data)
            self._in_head = False


@pytest.fixture(scope="module")
def sample() -> Plan:
    """Give the plan of the sample property."""
    return sample_plan()


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    return reader


def test_the_locate_call_comes_first_and_nothing_is_missing(plan: Plan) -> None:
    read = _read(worksheet_page(plan))
    wanted = ["Before anything else", "Decide these five first", "In figures", "To be fixed first", "Plan, ", "Wiring"]
    wanted += ["Material", "Crossings", "Open findings", "Tests", "Flags", "Training", "Through the year"]
    wanted += ["If it stops working", "Appendix", "Notes"]
    places = [next(place for place, head in enumerate(read.heads) if head.startswith(word)) for word in wanted]
    assert places == sorted(places)
    assert read.text.index(CAUTIONS[0].order) < read.text.index("Loops, along the ground")
    for caution in CAUTIONS:
        assert caution.order in read.text
    assert "STOP. 1 finding of this design must be fixed" in read.text


def test_every_leg_crossing_material_and_conflict_has_its_line(plan: Plan) -> None:
    text = _read(worksheet_page(plan)).text
    units = 0.3048
    for leg in plan.take_off.sequence.legs:
        assert f"{leg.running_total_m / units:,.1f} ft" in text
    for material in plan.take_off.materials:
        assert material.item in text
    for place, crossing in enumerate(plan.crossings, start=1):
        assert f"X{place}" in text
        assert crossing.crosses in text
    for word, conflict in numbered_conflicts(plan):
        assert word in text
        assert conflict.message.rstrip(".")[1:] in text
        assert conflict.remedy.rstrip(".")[1:] in text
    for flag in sorted({flag.removal_round for flag in plan.take_off.flags}):
        assert f"Take out the flags of round {flag}" in text


def test_numbers_are_in_the_units_of_the_person() -> None:
    text = _read(worksheet_page(hand_made_plan(units="metric"))).text
    assert not re.search(r"\d (ft|acres|in)\b", text)
    assert "2.40 m" in text


def test_hand_digging_is_said_between_stations(plan: Plan) -> None:
    crossing = plan.crossings[0]
    text = _read(worksheet_page(plan)).text
    ends_m = crossing.station_m - 0.61, crossing.station_m + 0.61
    before, after = (station_label(end_m, style=plan.settings.station_format) for end_m in ends_m)
    assert f"By hand from {before} to {after}" in text


def test_a_crossing_is_dug_as_shallow_as_the_wire_and_private_lines_are_asked_for(plan: Plan) -> None:
    text = _read(worksheet_page(plan)).text
    assert "hand tools only, and the slot no deeper than the wire lies (2 in)" in text
    assert "Ask the owner for private lines" in text
    assert "Unplug the transmitter and plug it in again" in text
    assert "mains off" not in text


def test_what_the_crossings_say_is_not_said_again(plan: Plan) -> None:
    crossing = plan.crossings[0]
    twice = Conflict(
        rule="utility-tolerance",
        severity="caution",
        message="Dig by hand there",
        remedy="Use hand tools",
        geometry=crossing.point,
        station_m=crossing.station_m,
        layer="utilities",
        feature=crossing.crosses,
    )
    beside = replace(twice, message="Beside the line", station_m=crossing.station_m + 30.0)
    both = replace(plan, conflicts=(*plan.conflicts, twice, beside))
    assert [conflict.message for _, conflict in numbered_conflicts(both)][-1:] == ["Beside the line"]
    assert "Dig by hand there" not in worksheet_page(both)


def test_the_marks_expire_by_the_date_of_the_ticket(plan: Plan) -> None:
    assert "Marks valid until 2026-05-23 (oldest mark of 2026-05-02 + 21 days)" in _read(worksheet_page(plan)).text
    settings = plan.settings.replaced(ticket_date="2026-06-01", mark_age_days_max=10)
    text = _read(worksheet_page(replace(plan, settings=settings))).text
    assert "Marks valid until 2026-06-11 (ticket of 2026-06-01 + 10 days)" in text


def test_the_resistance_is_given_for_cold_and_warm_soil(plan: Plan) -> None:
    text = _read(worksheet_page(plan)).text
    ohm, settings = plan.circuit.resistance_ohm, plan.settings
    span = settings.wire_temperature_low_c, settings.wire_temperature_high_c
    slack = settings.resistance_tolerance_percent / 100
    cold, hot = (ohm * (1 + 0.00393 * (at_c - 20.0)) for at_c in span)  # copper, IEC 60028
    fahrenheit = [f"{at_c * 9 / 5 + 32:.0f} °F" for at_c in (20.0, *span)]
    assert f"{ohm:.1f} ohm at {fahrenheit[0]}; {cold * (1 - slack):.1f} to {hot * (1 + slack):.1f} ohm" in text
    assert f"from {fahrenheit[1]} to {fahrenheit[2]}" in text


def test_every_tie_is_set_with_two_tapes(sample: Plan) -> None:
    text = _read(worksheet_page(sample)).text
    for tie in sample.take_off.ties:
        assert f"{US.tape(tie.first_m)}  from {tie.first.tag}" in text
        assert f"{tie.second.tag}, {tie.second.words}" in text


def test_it_needs_nothing_from_outside_and_runs_nothing(nasty_plan: Plan) -> None:
    page = worksheet_page(nasty_plan)
    read = _read(page)
    assert not set(read.tags) & {"script", "img", "link", "iframe", "object", "embed", "base", "form"}
    assert not [name for name, _ in read.attributes if name in {"src", "href", "srcset"} or name.startswith("on")]
    assert not re.search(r"url\((?!#)|@import", page)


def test_texts_of_strangers_show_as_text(nasty_plan: Plan) -> None:
    text = _read(worksheet_page(nasty_plan)).text
    for word in NASTY[:3]:
        assert word in text
    assert NASTY[4] in text
    assert "<b>" in text


def test_the_drawing_is_well_formed_and_true_to_scale(plan: Plan) -> None:
    svg = etree.fromstring(drawing(plan, sheet_of(plan)).split("<div", 1)[0])
    sheet = sheet_of(plan)
    assert svg.get("width") == f"{sheet.width_mm:g}mm"
    box = [float(part) for part in (svg.get("viewBox") or "").split()]
    assert box[2:] == pytest.approx([sheet.width_mm, sheet.height_mm], abs=0.01)
    loop = next(path for path in svg.iter(f"{_SVG}path") if path.get("stroke-width") == "0.7")
    lead = next(leg.line for leg in plan.take_off.sequence.legs if leg.leg == 1)
    points = [tuple(map(float, pair.split())) for pair in (loop.get("d") or "")[1:].split("L")]
    assert shapely.LineString(points).length == pytest.approx(lead.length * 1000 / sheet.ratio, abs=0.03)


def _grown(plan: Plan, times: float) -> Plan:
    """Make every length of the wire so many times as long; the rest of the plan stays as it is."""
    legs = tuple(
        replace(leg, line=affinity.scale(leg.line, times, times, origin=(10_000, 10_000)))
        for leg in plan.take_off.sequence.legs
    )
    take_off = replace(plan.take_off, sequence=replace(plan.take_off.sequence, legs=legs))
    runs = tuple(
        replace(run, line=affinity.scale(run.line, times, times, origin=(10_000, 10_000))) for run in plan.loop.runs
    )
    return replace(plan, take_off=take_off, loop=replace(plan.loop, runs=runs))


@pytest.mark.parametrize("times", [1, 4, 12])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_details_cover_the_whole_wire_at_a_larger_scale(units: str, times: int) -> None:
    plan = _grown(hand_made_plan(units=units), times)
    whole, *details = sheets_of(plan)
    assert bool(details) == (times > 1)
    assert len(details) <= 6
    if details:
        assert whole.sparse
        assert {detail.ratio for detail in details} == {details[0].ratio}
        assert details[0].ratio <= whole.ratio / 1.5
        ground = shapely.union_all([detail.frame for detail in details])
        for leg in plan.take_off.sequence.legs:
            assert ground.covers(leg.line)
        assert [detail.name for detail in details] == list("ABCDEF"[: len(details)])
        page = worksheet_page(plan)
        assert page.count('class="plan"') == 1 + len(details)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_whole_wire_is_on_the_sheet(units: str) -> None:
    plan = hand_made_plan(units=units)
    sheet = sheet_of(plan)
    drawn = sheet.on_paper(shapely.get_coordinates([run.line for run in plan.loop.runs]))
    assert (drawn > 0).all()
    assert (drawn < [sheet.width_mm, sheet.height_mm]).all()
    assert sheet.words.startswith("1 in = " if units == "us" else "1:")
    assert sheet.width_mm <= 186
    assert sheet.height_mm <= 200


def test_a_turned_sheet_keeps_lengths_and_handedness(plan: Plan) -> None:
    sheet = sheet_of(plan)
    triangle = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 5.0]]) + sheet.centre
    areas = []
    for turned in (False, True):
        placed = replace(sheet, turned=turned).on_paper(triangle)
        areas.append(np.cross(np.append(placed[1] - placed[0], 0), np.append(placed[2] - placed[0], 0))[2])
    assert areas[0] == pytest.approx(areas[1])
    north = replace(sheet, turned=True).on_paper(np.array([[0.0, 1.0], [0.0, 0.0]]) + sheet.centre)
    assert north[0, 0] < north[1, 0]


def test_labels_never_cover_each_other() -> None:
    labels = Labels(100, 100)
    spots = [(x, y) for x in np.linspace(0, 100, 40) for y in np.linspace(0, 100, 40)]
    placed = [labels.place("0+010.0", spots, size_mm=2.1) for _ in range(60)]
    assert all(placed)
    boxes = list(starmap(shapely.box, labels.taken))
    tree = shapely.STRtree(boxes)
    pairs = tree.query(boxes, predicate="overlaps")
    assert pairs.size == 0


@pytest.mark.parametrize(("least", "step"), [(1, 1), (1.1, 2), (2.1, 5), (5.5, 10), (12, 20), (0.3, 0.5), (100, 100)])
def test_steps_are_round(least: float, step: float) -> None:
    assert nice_step(least) == pytest.approx(step)


@pytest.mark.parametrize(
    ("numbers", "written"),
    [
        ([3], "3"),
        ([5, 1, 2], "1, 2, 5"),
        ([1, 2, 3, 4, 5, 6, 9], "1 to 6, 9"),
        ([1, 4, 7, 10, 13, 16], "1, 4 &hellip; 16"),
        ([1, 2, 4, 6, 8, 10, 12, 15, 16], "1, 2, 4 &hellip; 12, 15, 16"),
        ([], ""),
    ],
)
def testnumber_lists_are_short_and_complete(numbers: list[int], written: str) -> None:
    assert number_list(numbers) == written
