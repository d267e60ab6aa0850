"""Sections of the worksheet that speak of this one plan: facts, legs, material, crossings, conflicts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.cautions import CAUTIONS
from parcelfence.outputs.drawing_marks import numbered_conflicts
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures, remarks
from parcelfence.units import station_label, unit_system

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parcelfence.conflict import Conflict, Severity
    from parcelfence.finished_plan import Plan
    from parcelfence.layout.crossing import Crossing
    from parcelfence.takeoff.materials import Material

__all__ = ["cautions", "conflicts", "crossings", "facts", "legs", "materials", "notes", "table", "tick_list"]

TICK: Final = '<span class="tick"></span>'
_PARTS: Final = {
    "loop": "loop",
    "inner_loop": "inner loop",
    "return_run": "return run",
    "lead_in": "lead-in, twisted pair",
}
_SEVERITIES: Final = {"must_fix": "MUST FIX", "caution": "Caution", "note": "Note"}


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, kind: str = "") -> str:
    """Set a table; the cells are HTML, the heads are not."""
    head = "".join(f"<th>{html_text(word)}</th>" for word in heads)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    return f'<table class="{kind}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def tick_list(lines: Iterable[str]) -> str:
    """Set a list of steps, each with a box to tick."""
    return '<ol class="steps">' + "".join(f"<li>{TICK}<span>{html_text(line)}</span></li>" for line in lines) + "</ol>"


def length(plan: Plan, value_m: float, *, digits: int | None = None) -> str:
    """Write a length in the person's unit."""
    us = plan.settings.units == "us"
    return unit_system(plan.settings.units).length(value_m, digits=(1 if us else 2) if digits is None else digits)


def station(plan: Plan, station_m: float) -> str:
    """Write a chainage as it stands on a stake."""
    return station_label(station_m, style=plan.settings.station_format)


def cautions(plan: Plan) -> str:
    """Say what comes before anything else; the locate call first."""
    rows = "".join(
        f"<li>{TICK}<span><b>{html_text(caution.order)}</b> {html_text(caution.meaning)}</span></li>"
        for caution in CAUTIONS
    )
    blanks = "".join(
        f"<span>{label}<i></i></span>"
        for label in ("Locate ticket no.", "Called on", "Marks valid until", "Crew", "Date of work")
    )
    grave = sum(conflict.severity == "must_fix" for conflict in plan.conflicts)
    stop = (
        f'<p class="stop">STOP. {grave} conflict{"s" if grave > 1 else ""} of this design must be fixed before anybody '
        "digs by it. They are listed below.</p>"
        if grave
        else ""
    )
    return (
        f'<section class="cautions"><h2>Before anything else</h2><ul class="steps">{rows}</ul>'
        f'<div class="blanks">{blanks}</div>{stop}</section>'
    )


def facts(plan: Plan) -> str:
    """Set the figures that a crew asks for first."""
    found = figures(plan)
    units = unit_system(plan.settings.units)
    sequence = plan.take_off.sequence
    spools = max((leg.spool for leg in sequence.legs), default=0)
    pairs = [
        ("Wire on the ground, loops", length(plan, found.loop_ground_length_m, digits=0)),
        ("Lead-in, twisted pair", length(plan, found.lead_in_ground_length_m, digits=0)),
        ("Conductor to pull", length(plan, found.conductor_length_m, digits=0)),
        ("Spools", f"{spools} of {length(plan, plan.settings.spool_length_m, digits=0)}"),
        ("Depth", _depth(plan)),
        ("Tightest curve, radius", length(plan, plan.settings.bend_radius_m)),
        (
            "Reach of the signal, straight wire",
            units.uncertain_length(plan.zones.receiver.reach_m, uncertainty_m=found.reach_uncertainty_m),
        ),
        ("Free to roam", units.area(found.free_area_m2)),
        ("Crossings / splices", f"{found.crossings} / {found.splices}"),
        ("Flags", str(found.flags)),
    ]
    cells = "".join(f"<div><dt>{html_text(name)}</dt><dd>{html_text(value)}</dd></div>" for name, value in pairs)
    said = "".join(f"<li>{html_text(sentence)}</li>" for sentence in remarks(plan, found, units=units))
    return f'<dl class="facts">{cells}</dl><ul class="remarks">{said}</ul>'


def _depth(plan: Plan) -> str:
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
            station(plan, leg.start_station_m) if not leg.twisted else "",
            length(plan, leg.ground_length_m),
            length(plan, leg.conductor_length_m),
            f"<b>{length(plan, leg.running_total_m)}</b>",
            str(leg.spool),
        )
        for leg in plan.take_off.sequence.legs
    ]
    heads = ("", "Leg", "From, to", "Part", "Begins at", "On the ground", "Conductor", "Running total", "Spool")
    text = table(heads, rows, kind="legs")
    splices = plan.take_off.sequence.splices
    if splices:
        joints = [
            (
                TICK,
                html_text(splice.id),
                html_text(f"{splice.loop_id} at {station(plan, splice.station_m)}"),
                html_text(splice.note),
            )
            for splice in splices
        ]
        text += "<h3>Splices</h3>" + table(("", "Splice", "Where", "What to do"), joints, kind="splices")
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
    return table(("", "Item", "Needed", "Take along", "How counted"), rows, kind="materials")


def _quantity(plan: Plan, material: Material, *, value: float) -> str:
    if material.unit == "m":
        return length(plan, value, digits=0)
    count = math.ceil(value - 1e-9)
    return f"{count:,} {material.unit.removesuffix('s') if count == 1 else material.unit}"


def crossings(plan: Plan) -> str:
    """Set the crossings with their angle, and between which stations to dig by hand."""
    if not plan.crossings:
        return "<p>The wire crosses nothing that is known. What is not marked may still be there.</p>"
    rows = [
        (
            TICK,
            f"<b>X{place}</b>",
            html_text(f"{crossing.kind} ({crossing.crosses})"),
            html_text(f"{crossing.loop_id} {station(plan, crossing.station_m)}"),
            _angle(plan, crossing),
            html_text(_how(plan, crossing)),
        )
        for place, crossing in enumerate(plan.crossings, start=1)
    ]
    return table(("", "No.", "Crosses", "At", "Angle", "How to dig"), rows, kind="crossings")


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
    first = "Find and expose the line first; lay the wire straight and square across it."
    return f"By hand from {before} to {after}. {first}{pair}"


def conflicts(plan: Plan, *severities: Severity) -> str:
    """Set the conflicts of some severities that are still open, gravest first; empty if there are none."""
    rows = [
        (
            TICK,
            f"<b>{word}</b>",
            f'<b class="{conflict.severity}">{_SEVERITIES[conflict.severity]}</b>',
            _where(plan, conflict),
            html_text(conflict.message),
            html_text(conflict.remedy),
        )
        for word, conflict in numbered_conflicts(plan)
        if conflict.severity in severities
    ]
    return table(("", "No.", "", "At", "What is wrong", "What to do"), rows, kind="conflicts") if rows else ""


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
