"""The sheet for whoever digs here next: where the wire lies, how it was built, and what to do when it is cut."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.cautions import Caution
from parcelfence.outputs.drawing import drawing, legend
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures
from parcelfence.outputs.paper import sheet_of
from parcelfence.outputs.sheet_page import cautions_box, fact_list, section, sheet_page, stacked_table
from parcelfence.units import unit_system
from parcelfence.wording import Wording

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery
    from parcelfence.takeoff.as_built import AsBuilt
    from parcelfence.takeoff.ties import Tie

__all__ = ["NAME", "as_built_page", "write"]

NAME: Final = "as_built.html"
CAUTIONS: Final = (
    Caution(
        "Call the utility locating service before you dig.",
        "It does not mark this wire, which is private: this sheet is all that shows it. Other lines lie here, too.",
    ),
    Caution(
        "Dig by hand within half a metre (20 in) of the wire.",
        "It lies shallow, and places on this sheet are no better than they were measured.",
    ),
    Caution(
        "Unplug the transmitter first, and keep the animal on a lead",
        "until the whole loop has been walked with the receiver in the hand: without the wire nothing warns it.",
    ),
    Caution(
        "If you cut it, say so and leave both ends in sight.",
        "Join them with a waterproof connector, read the ohms at the transmitter, and write it into the table below.",
    ),
)
_REPAIR_ROWS: Final = 4
_BENDS_APART_M: Final = 15.0
"""About the length of a yard's side: what lies between is found by looking along the wire (from memory)."""
_TIED: Final = ("start", "bend", "crossing", "splice", "transmitter")


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``as_built.html`` where there is a record; nothing for a wire that is only planned."""
    if delivery.plan.as_built is not None:
        page = as_built_page(delivery.plan, delivery.plan.as_built)
        (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")


def as_built_page(plan: Plan, record: AsBuilt) -> str:
    """Make the sheet.

    Parameters
    ----------
    plan : Plan
        The wire as built.
    record : AsBuilt
        What was recorded.

    Returns
    -------
    str
        One HTML page that needs nothing from outside.
    """
    words = Wording(plan.settings, several_runs=len(plan.loop.runs) > 1)
    sheet = sheet_of(plan)
    subtitle = ", parcel ".join(part for part in (plan.site.name, plan.site.parcel_id) if part)
    body = (
        cautions_box(CAUTIONS, title="Before you dig here"),
        fact_list(_facts(plan, record, words=words)),
        f"<p>{html_text(record.notes)}</p>" if record.notes else "",
        section(f"Where it lies, {sheet.words}", drawing(plan, sheet) + legend(plan)),
        section("What it crosses", _crossings(plan, words=words)),
        section("Splices", _splices(plan, words=words)),
        section("Photos", _photos(record)),
        section("Against the plan", _off_plan(record, words=words)),
        section("Repairs", _repairs()),
        section("Where it lies, by tape", _ties(plan, words=words), new_page=True),
    )
    origin = "Places are those of the survey of the wire, which says how exact it is in summary.json, or not at all."
    return sheet_page("Boundary wire in the ground", subtitle=subtitle, body="".join(body), origin=origin)


def _facts(plan: Plan, record: AsBuilt, *, words: Wording) -> list[tuple[str, str]]:
    found, units = figures(plan), unit_system(plan.settings.units)
    measured = "not measured" if record.resistance_ohm is None else f"{record.resistance_ohm:.1f} ohm"
    warm = "" if record.temperature_c is None else f" at {record.temperature_c:g} \N{DEGREE SIGN}C"
    pairs = [
        ("Laid on", record.laid_on),
        ("Laid by", record.laid_by),
        ("Depth", record.depth or f"{units.tape(plan.settings.burial_depth_m)} planned"),
        ("Wire, loops", words.length(found.loop_length_m)),
        ("Lead-in, twisted pair", words.length(found.lead_in_length_m)),
        ("Gauge", f"{plan.settings.wire_gauge_awg} AWG"),
        ("Resistance when buried", f"{measured}{warm}"),
        ("Computed for it", f"{record.expected_ohm:.1f} ohm"),
        ("Level", record.level),
        ("Splices", str(len(plan.take_off.sequence.splices))),
    ]
    return [(name, value) for name, value in pairs if value]


def _ties(plan: Plan, *, words: Wording) -> str:
    units = unit_system(plan.settings.units)
    rows = [
        (
            f"<b>{html_text(tie.name)}</b>",
            "" if math.isnan(tie.station_m) else html_text(f"{tie.loop_id} {words.station(tie.station_m)}"),
            f"<b>{units.tape(tie.first_m)}</b> from the {html_text(tie.first.words)}",
            f"<b>{units.tape(tie.second_m)}</b> from the {html_text(tie.second.words)}",
            html_text(tie.side),
        )
        for tie in _fewer(plan.take_off.ties)
    ]
    if not rows:
        return ""
    said = "<p>Two tapes meet over the wire. Of bends close together one is listed; plan.gpkg has all.</p>"
    return said + stacked_table(("Point", "At", "First tape", "Second tape", "Side"), rows)


def _fewer(found: tuple[Tie, ...]) -> list[Tie]:
    """Leave out flags, and bends near the one before: a sheet that is read at the trench is short."""
    kept: list[Tie] = []
    last: Tie | None = None
    for tie in found:
        if tie.kind == "bend":
            if last is not None and last.loop_id == tie.loop_id and tie.station_m - last.station_m < _BENDS_APART_M:
                continue
            last = tie
        if tie.kind in _TIED:
            kept.append(tie)
    return kept


def _crossings(plan: Plan, *, words: Wording) -> str:
    rows = [
        (
            f"<b>X{place}</b>",
            html_text(f"{crossing.kind.replace('_', ' ')} {crossing.crosses}"),
            html_text(f"{crossing.loop_id} {words.station(crossing.station_m)}"),
        )
        for place, crossing in enumerate(plan.crossings, start=1)
    ]
    return stacked_table(("No.", "Crosses", "At"), rows) if rows else "<p>Nothing that is known.</p>"


def _splices(plan: Plan, *, words: Wording) -> str:
    rows = [
        (
            f"<b>{html_text(splice.id)}</b>",
            html_text(f"{splice.loop_id} {words.station(splice.station_m)}"),
            html_text(splice.note),
        )
        for splice in plan.take_off.sequence.splices
    ]
    return stacked_table(("Splice", "At", "What was joined"), rows) if rows else "<p>None is recorded.</p>"


def _photos(record: AsBuilt) -> str:
    rows = [(html_text(one.file), html_text(one.shows), html_text(one.at)) for one in record.photos]
    return stacked_table(("File", "Shows", "At"), rows) if rows else ""


def _off_plan(record: AsBuilt, *, words: Wording) -> str:
    off = record.off_plan
    if off is None:
        return "<p>No plan was given to compare with.</p>"
    places = "".join(f"<li>{html_text(place)}</li>" for place in off.places)
    listed = f"<ul>{places}</ul>" if places else f"<p>Nowhere more than {words.length(off.tolerance_m)} off.</p>"
    return (
        f"<p>Greatest offset {words.length(off.greatest_m)}, root mean square {words.length(off.root_mean_square_m)}; "
        f"{words.length(off.length_m)} of wire lie, {words.length(off.planned_length_m)} were planned. This record "
        f"replaces the plan.</p>{listed}"
    )


def _repairs() -> str:
    heads = ("Date", "Where", "What", "Ohms before", "Ohms after", "By")
    return stacked_table(heads, [("",) * len(heads)] * _REPAIR_ROWS, room=range(len(heads)))
