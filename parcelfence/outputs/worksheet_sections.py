"""Sections of the worksheet that speak of this one plan: decisions, facts, legs, crossings, ties, findings."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.cautions import CAUTIONS, PRIVATE_LINES
from parcelfence.outputs.drawing_marks import numbered_conflicts
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures, remarks
from parcelfence.outputs.sheet_page import TICK, fact_list, stacked_table
from parcelfence.units import station_label, unit_system
from parcelfence.wording import name_once

if TYPE_CHECKING:
    from parcelfence.conflict import Conflict, Severity
    from parcelfence.finished_plan import Plan
    from parcelfence.layout.crossing import Crossing
    from parcelfence.takeoff.materials import Material

__all__ = [
    "along",
    "cautions",
    "conflicts",
    "crossings",
    "decisions",
    "facts",
    "hand_dig_advice",
    "legs",
    "length",
    "materials",
    "notes",
    "property_words",
    "station",
    "tape_ties",
    "valid_until",
]

_PARTS: Final = {
    "loop": "loop",
    "inner_loop": "inner loop",
    "return_run": "return run",
    "lead_in": "lead-in",
}
_MOST_TIES_IN_FULL: Final = 60
"""Of more ties than fit two pages the marks are named once, above the table."""
_SEVERITIES: Final = {"must_fix": "MUST FIX", "caution": "Caution", "note": "Note"}


def property_words(plan: Plan) -> str:
    """Name the property, in plain text."""
    parcel = name_once("parcel", plan.site.parcel_id) if plan.site.parcel_id else ""
    return ", ".join(word for word in (plan.site.name, parcel) if word)


def length(plan: Plan, value_m: float, *, digits: int | None = None) -> str:
    """Write a length in the person's unit."""
    us = plan.settings.units == "us"
    return unit_system(plan.settings.units).length(value_m, digits=(1 if us else 2) if digits is None else digits)


def station(plan: Plan, station_m: float) -> str:
    """Write a chainage as it stands on a stake."""
    return station_label(station_m, style=plan.settings.station_format)


def along(plan: Plan, station_m: float | None, *, loop_id: str = "") -> str:
    """Write a chainage as HTML, with the plain length along the wire beneath; empty where there is none."""
    if station_m is None or math.isnan(station_m):
        return ""
    run = f"{html_text(loop_id)} " if loop_id else ""
    plain = length(plan, station_m, digits=0 if plan.settings.units == "us" else 1)
    return f'<span class="at">{run}{station(plan, station_m)} <small>{plain}</small></span>'


def cautions(plan: Plan) -> str:
    """Say what comes before anything else; the locate call first."""
    rows = "".join(
        f"<li>{TICK}<span><b>{html_text(caution.order)}</b> {html_text(caution.meaning)}</span></li>"
        for caution in CAUTIONS
    )
    until = valid_until(plan)
    labels = ("Locate ticket no.", "Called on", "" if until else "Marks valid until", "Crew", "Date of work")
    blanks = f"<span><b>{html_text(until)}</b></span>" if until else ""
    blanks += "".join(f"<span>{label}<i></i></span>" for label in labels if label)
    grave = sum(conflict.severity == "must_fix" for conflict in plan.conflicts)
    stop = (
        f'<p class="stop">STOP. {grave} finding{"s" if grave > 1 else ""} of this design must be fixed before anybody '
        "digs by it. They are listed below.</p>"
        if grave
        else ""
    )
    return (
        f'<section class="box"><h2>Before anything else</h2><ul class="steps">{rows}</ul>'
        f'<div class="blanks">{blanks}</div>{stop}</section>'
    )


def valid_until(plan: Plan) -> str:
    """Say until when the marks may be used, from the date of the ticket or else of the oldest mark; or nothing."""
    settings = plan.settings
    marked = sorted(utility.marked_on[:10] for utility in plan.site.utilities if utility.marked_on)
    from_date = settings.ticket_date or (marked[0] if marked else "")
    try:
        first = date.fromisoformat(from_date)
    except ValueError:
        return ""
    last = first + timedelta(days=settings.mark_age_days_max)
    what = "ticket" if settings.ticket_date else "oldest mark"
    return f"Marks valid until {last.isoformat()} ({what} of {first.isoformat()} + {settings.mark_age_days_max} days)"


def decisions(plan: Plan) -> str:
    """Set what somebody has to decide before the work begins, with the answer of the plan and room for another."""
    transmitter = plan.loop.transmitter
    open_now = [conflict for conflict in plan.conflicts if conflict.severity != "note"]
    grave = sum(conflict.severity == "must_fix" for conflict in open_now)
    rows = [
        (
            "<b>1. Level of the transmitter</b>",
            _level_words(plan),
            "",
        ),
        (
            "<b>2. Place of the transmitter</b>",
            html_text(_sentence(transmitter.note)) if transmitter else "None is known: choose a dry place indoors.",
            "",
        ),
        ("<b>3. Buried lines and hard surfaces</b>", html_text(_what_is_crossed(plan)), ""),
        ("<b>4. Private lines</b>", html_text(PRIVATE_LINES), "".join(f"<div>{word}:</div>" for word in _OWN_LINES)),
        (
            "<b>5. Open findings</b>",
            f"{grave} must be fixed, {len(open_now) - grave} are cautions. Who answers for each, and by when?"
            if open_now
            else "None.",
            "",
        ),
    ]
    return stacked_table(("What", "In this plan", "Decided"), rows, room=(2,))


def _level_words(plan: Plan) -> str:
    found, units = figures(plan), unit_system(plan.settings.units)
    return (
        f"A reach of {units.length(plan.zones.receiver.reach_m)} on each side of a long straight wire. It leaves "
        f"{units.area(found.free_area_m2)} free, {found.free_share_of_enclosed:.0%} of the enclosed ground. The "
        "map shows what other levels do."
    )


_OWN_LINES: Final = ("Irrigation", "Lighting, power", "Pool, pond", "Barn, shed", "Septic", "Other")


def _what_is_crossed(plan: Plan) -> str:
    buried = [crossing for crossing in plan.crossings if crossing.layer != "hardscape"]
    hard = [crossing for crossing in plan.crossings if crossing.layer == "hardscape"]
    if not plan.crossings:
        return "The wire crosses nothing that is known. What is not marked may still be there."
    said = []
    if buried:
        said.append(f"{len(buried)} crossing{'s' * (len(buried) > 1)} of marked lines, dug by hand.")
    if hard:
        width = length(plan, sum(crossing.length_m for crossing in hard))
        said.append(
            f"{len(hard)} of hard surface, {width} in all: by a joint that is there, a saw cut or a sleeve beneath?"
        )
    return " ".join(said)


def facts(plan: Plan) -> str:
    """Set the figures that a crew asks for first, and say what the words mean."""
    found = figures(plan)
    units = unit_system(plan.settings.units)
    sequence = plan.take_off.sequence
    spools = max((leg.spool for leg in sequence.legs), default=0)
    pairs = [
        ("Loops, along the ground", length(plan, found.loop_ground_length_m, digits=0)),
        ("Lead-in, twisted pair", length(plan, found.lead_in_ground_length_m, digits=0)),
        ("Wire to pull", length(plan, found.conductor_length_m, digits=0)),
        ("Spools", f"{spools} of {length(plan, plan.settings.spool_length_m, digits=0)}"),
        ("Depth", depth(plan)),
        ("Tightest curve, radius", length(plan, plan.settings.bend_radius_m)),
        (
            "Reach each side",
            units.uncertain_length(plan.zones.receiver.reach_m, uncertainty_m=found.reach_uncertainty_m),
        ),
        ("Free to roam", units.area(found.free_area_m2)),
        ("Crossings / splices", f"{found.crossings} / {found.splices}"),
        ("Flags", str(found.flags)),
        *((f"Labour: {one.work}", f"{one.hours:,.1f} h") for one in plan.take_off.labour),
    ]
    said = "".join(f"<li>{html_text(sentence)}</li>" for sentence in remarks(plan, found, units=units))
    words = "".join(f"<dt>{word}:</dt> <dd>{html_text(meaning)}</dd>" for word, meaning in _words(plan))
    return f'{fact_list(pairs)}<dl class="words">{words}</dl><ul class="remarks">{said}</ul>'


def _words(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Explain the words of the sheet, where they are met first."""
    us = plan.settings.units == "us"
    example, plain = ("3+05.3", "305.3 ft") if us else ("0+093.1", "93.1 m")
    return (
        ("Loop", "the closed run of single wire around the ground; an inner loop keeps the animal out of something."),
        ("Lead-in", "two wires twisted together, from the transmitter to a loop; it gives no signal."),
        ("Reach", "how far from the wire, square to it, the receiver reacts; the level of the transmitter sets it."),
        ("Leg", "a piece of the work: one run of wire, pulled in one go. A splice joins two ends of wire."),
        ("Station", f"distance along a loop from where its lead-in joins: {example} is {plain} along the wire."),
    )


def depth(plan: Plan) -> str:
    """Write how deep the wire is buried."""
    depth_m = plan.settings.burial_depth_m
    return f"{depth_m / 0.0254:.0f} in" if plan.settings.units == "us" else f"{depth_m * 100:.0f} cm"


def legs(plan: Plan) -> str:
    """Set the wiring sequence, each leg to be ticked off, with the splices in their places."""
    rows = [
        (
            TICK,
            f"<b>{leg.leg}</b>",
            f"{html_text(_opening(leg.start))} &rarr; {html_text(leg.end)}",
            html_text(f"{leg.loop_id} {_PARTS[leg.part]}"),
            along(plan, leg.start_station_m) if not leg.twisted else "",
            length(plan, leg.ground_length_m),
            length(plan, leg.conductor_length_m),
            f"<b>{length(plan, leg.running_total_m)}</b>",
            str(leg.spool),
        )
        for leg in plan.take_off.sequence.legs
    ]
    heads = ("", "Leg", "From, to", "Part", "Begins at", "On the ground", "Wire", "Running total", "Spool")
    text = stacked_table(heads, rows, figures=(5, 6, 7, 8))
    splices = plan.take_off.sequence.splices
    if splices:
        joints = [
            (TICK, html_text(splice.id), along(plan, splice.station_m, loop_id=splice.loop_id), html_text(splice.note))
            for splice in splices
        ]
        text += "<h3>Splices</h3>" + stacked_table(("", "Splice", "Where", "What to do"), joints)
    return text


def materials(plan: Plan) -> str:
    """Set the material list, with what to buy."""
    rows = [
        (
            TICK,
            html_text(material.item),
            html_text(_quantity(plan, material, value=material.quantity)),
            f"<b>{html_text(_quantity(plan, material, value=material.with_spare))}</b>",
            html_text(material.note),
        )
        for material in plan.take_off.materials
    ]
    return stacked_table(("", "Item", "Needed", "Take along", "How counted"), rows)


def _quantity(plan: Plan, material: Material, *, value: float) -> str:
    if material.unit == "m":
        return length(plan, value, digits=0)
    count = math.ceil(value - 1e-9)
    return f"{count:,} {material.unit.removesuffix('s') if count == 1 else material.unit}"


def crossings(plan: Plan) -> str:
    """Set the crossings with their angle, and between which stations to dig by hand."""
    if not plan.crossings:
        return f"<p>The wire crosses nothing that is known. What is not marked may still be there. {PRIVATE_LINES}</p>"
    rows = [
        (
            TICK,
            f"<b>X{place}</b>",
            html_text(f"{crossing.kind} ({crossing.crosses})"),
            along(plan, crossing.station_m, loop_id=crossing.loop_id),
            _angle(plan, crossing),
            html_text(_how(plan, crossing)),
        )
        for place, crossing in enumerate(plan.crossings, start=1)
    ]
    table = stacked_table(("", "No.", "Crosses", "At", "Angle", "How to dig"), rows)
    return f"<p>{html_text(hand_dig_advice(plan))}</p>{table}<p>{html_text(PRIVATE_LINES)}</p>"


def hand_dig_advice(plan: Plan) -> str:
    """Say how a shallow slot is dug across a marked line."""
    return (
        f"Where it says by hand: hand tools only, and the slot no deeper than the wire lies ({depth(plan)}). Do not "
        "pry or pick. Expose the line first where local law asks for it, or where it may lie as shallow as the slot. "
        "Lay the wire straight and square across, with no splice."
    )


def _angle(plan: Plan, crossing: Crossing) -> str:
    if math.isnan(crossing.angle_deg):
        return ""
    text = f"{crossing.angle_deg:.0f}&deg;"
    off = 90.0 - crossing.angle_deg > plan.settings.crossing_tolerance_deg
    return f"<b>{text} not square</b>" if off else f"{text} square"


def _how(plan: Plan, crossing: Crossing) -> str:
    before = station(plan, max(crossing.station_m - crossing.length_m / 2, 0.0))
    after = station(plan, crossing.station_m + crossing.length_m / 2)
    pair = " Keep the pair twisted right through." if crossing.twisted else ""
    if crossing.layer == "hardscape":
        surface = length(plan, crossing.length_m)
        return f"{surface} of hard surface, {before} to {after}: use a joint, a saw cut or a sleeve; seal it.{pair}"
    return f"By hand from {before} to {after}.{pair}"


def tape_ties(plan: Plan) -> str:
    """Set two taped distances for every point that is staked out."""
    found = plan.take_off.ties
    if not found:
        return ""
    units = unit_system(plan.settings.units)
    marks = list(dict.fromkeys(mark for tie in found for mark in (tie.first, tie.second)))
    full = {mark: f"{html_text(mark.tag)}, {html_text(mark.words)}" for mark in marks}
    many = len(found) > _MOST_TIES_IN_FULL
    named = {mark: html_text(mark.tag) for mark in marks} if many else full
    key = f"<p><b>Marks.</b> {'; '.join(full.values())}.</p>" if many else ""
    rows = [
        (
            f"<b>{html_text(tie.name)}</b>",
            along(plan, tie.station_m, loop_id=tie.loop_id),
            *(
                f"<b>{html_text(units.tape(length_m))}</b> from {named[mark]}"
                for mark, length_m in ((tie.first, tie.first_m), (tie.second, tie.second_m))
            ),
            html_text(tie.side),
            f"{tie.cut_deg:.0f}&deg;",
        )
        for tie in found
    ]
    worst = max(found, key=lambda tie: tie.within_m)
    intro = (
        "Two tapes give a place: hold one at each mark and bring the two readings together. P1, P2 and so on are on "
        "the drawing. Arcs meet twice; take the meeting farther to the side that is named. Lot pins must be found "
        "first; a fence is not the lot line. Between two bends of the wire a string may be drawn; between two tied "
        f"flags the others stand evenly. With each tape good to {units.length(0.01, digits=2)}, 95 of 100 points come "
        f"out within {units.length(worst.within_m, digits=2)} or better ({html_text(worst.name)} is the worst). The "
        "plan itself is no better than the map it was made from: trust the ground."
    )
    heads = ("Point", "At", "First tape", "Second tape", "Meets farther to the", "Arcs cut at")
    return f"<p>{intro}</p>{key}" + stacked_table(heads, rows, wide=(2, 3), close=True)


def conflicts(plan: Plan, *severities: Severity) -> str:
    """Set the findings of some severities that are still open, gravest first; empty if there are none."""
    rows = [
        (
            TICK,
            f"<b>{word}</b>",
            f'<b class="{conflict.severity}">{_SEVERITIES[conflict.severity]}</b>',
            along(plan, conflict.station_m),
            html_text(_sentence(conflict.message)),
            html_text(_sentence(conflict.remedy)),
        )
        for word, conflict in numbered_conflicts(plan)
        if conflict.severity in severities
    ]
    heads = ("", "No.", "", "At", "What is wrong", "What to do")
    return stacked_table(heads, rows, wide=(4, 5)) if rows else ""


def notes(plan: Plan) -> str:
    """Set what is only to be known, in small type; empty if there is nothing."""
    items = "".join(
        f"<li><b>{word}</b> {_where(plan, conflict)} {html_text(_sentence(conflict.message))}"
        f" {html_text(_sentence(conflict.remedy))}</li>"
        for word, conflict in numbered_conflicts(plan)
        if conflict.severity == "note"
    )
    return f'<ul class="remarks small">{items}</ul>' if items else ""


def _where(plan: Plan, conflict: Conflict) -> str:
    value = conflict.station_m
    return "" if value is None or math.isnan(value) else station(plan, value)


def _sentence(words: str) -> str:
    """Begin with a capital and end with a full stop."""
    return _opening(words.rstrip().rstrip(".")) + "." if words.strip() else ""


def _opening(words: str) -> str:
    return words[:1].upper() + words[1:]
