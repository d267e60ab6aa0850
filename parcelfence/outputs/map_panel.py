"""The sheet beside the map: title, figures, cautions, the list of conflicts and the legend, as HTML."""

from __future__ import annotations

from itertools import starmap
from typing import TYPE_CHECKING, Final

from parcelfence.conflict import SEVERITIES, count_severities, severity_tally
from parcelfence.outputs.cautions import CAUTIONS
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures
from parcelfence.outputs.map_layers import legend_key
from parcelfence.outputs.style import style_of, tolerance_style
from parcelfence.units import station_label, unit_system
from parcelfence.wording import name_once

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.map_features import Drawn

__all__ = ["heading", "key_figures", "panel"]

_GROUPS: Final[dict[str, tuple[str, ...]]] = {
    "Wire and signal": (
        *("wire", "zones", "animal_zones", "flags", "stations", "crossings", "splices", "transmitter", "other_loops"),
    ),
    "Buried lines": ("utilities", "tolerance"),
    "Land": (
        "parcel", "neighbours", "buildings", "doors", "metal", "hardscape", "joints", "roads", "water", "watercourses",
        "easements", "keep_outs", "no_dig", "trees", "fences", "gates", "wanted_area", "open_sides", "passages",
    ),
}  # fmt: skip


def panel(plan: Plan, *, drawn: Sequence[Drawn], levels: str) -> str:
    """Write the sheet.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    drawn : sequence of Drawn
        Drawn layers, which the legend lists.
    levels : str
        The slider of the levels.

    Returns
    -------
    str
        HTML of one ``aside`` element; all text of unknown origin in it is escaped.
    """
    return (
        '<aside id="sheet" aria-label="Plan sheet">'
        f"{_head(plan)}"
        '<div id="sheet-body"><nav aria-label="Parts of the sheet">'
        '<button type="button" data-part="levels">Level</button>'
        '<button type="button" data-part="conflicts">Conflicts</button>'
        '<button type="button" data-part="finder">Station</button>'
        '<button type="button" data-part="legend">Layers</button></nav>'
        f"{_figures(plan)}{_cautions()}{levels}{_conflicts(plan)}{_finder(plan)}{_legend(drawn)}"
        "<footer><p>Opens without a connection: everything is in this one file.</p></footer>"
        "</div></aside>"
    )


def key_figures(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Name the key figures of a plan, in the person's units."""
    units, found = unit_system(plan.settings.units), figures(plan)
    counts = count_severities(plan.conflicts)
    reach = units.uncertain_length(plan.zones.receiver.reach_m, uncertainty_m=found.reach_uncertainty_m)
    return (
        ("Enclosed", units.area(found.enclosed_area_m2)),
        ("Free to roam", f"{units.area(found.free_area_m2)} ({found.free_share_of_enclosed:.0%})"),
        ("Reach, straight wire", reach),
        ("Loops, along the ground", units.length(found.loop_ground_length_m, digits=0)),
        ("Wire to pull", units.length(found.conductor_length_m, digits=0)),
        ("Flags", f"{found.flags}"),
        ("Must fix", f"{counts['must_fix']}"),
    )


def heading(plan: Plan) -> str:
    """Name the sheet: by the site, or where that has no name of its own, by the parcel."""
    site = plan.site
    if site.name and site.name != site.parcel_id:
        return site.name
    return name_once("Parcel", site.parcel_id) if site.parcel_id else "Property"


def _head(plan: Plan) -> str:
    title = heading(plan)
    parcel = name_once("Parcel", plan.site.parcel_id) if plan.site.parcel_id else ""
    second = f"<p><bdi>{html_text(parcel)}</bdi></p>" if parcel and parcel != title else ""
    return (
        '<header id="sheet-head">'
        '<div><p class="kicker">Boundary wire plan</p>'
        f"<h1><bdi>{html_text(title)}</bdi></h1>{second}"
        f'<p class="first-caution">{html_text(CAUTIONS[0].order)}</p></div>'
        '<button type="button" id="sheet-toggle" aria-expanded="true" aria-controls="sheet-body" '
        'aria-label="Plan sheet">'
        '<svg class="wide-only" viewBox="0 0 24 24" aria-hidden="true"><path d="M15 5l-7 7 7 7"/></svg>'
        '<span class="narrow-only">Details</span></button>'
        "</header>"
    )


def _figures(plan: Plan) -> str:
    pairs = "".join(
        f"<div{' class=alarm' if name == 'Must fix' and value != '0' else ''}><dt>{name}</dt><dd>{value}</dd></div>"
        for name, value in key_figures(plan)
    )
    return f'<dl class="figures">{pairs}</dl>'


def _cautions() -> str:
    items = "".join(
        f"<li><details><summary>{html_text(caution.order)}</summary>{html_text(caution.meaning)}</details></li>"
        for caution in CAUTIONS
    )
    return f'<section class="cautions" aria-label="Cautions"><h2>Before anyone digs</h2><ol>{items}</ol></section>'


def _conflicts(plan: Plan) -> str:
    if not plan.conflicts:
        return '<section class="conflicts"><h2>Conflicts</h2><p class="none">None found.</p></section>'
    tally = severity_tally(plan.conflicts, between=" · ")
    rows = "".join(_conflict(plan, number) for number in range(len(plan.conflicts)))
    return (
        f'<section class="conflicts" aria-label="Conflicts"><h2>Conflicts <span>{tally}</span></h2>'
        f'<ol id="conflict-list">{rows}</ol></section>'
    )


def _conflict(plan: Plan, number: int) -> str:
    row = plan.conflicts[number]
    style = style_of("conflicts", value=str(row.severity))
    station = "" if row.station_m is None else f" · {station_label(row.station_m, style=plan.settings.station_format)}"
    return (
        f'<li class="{row.severity}"><button type="button" data-conflict="{number}">{legend_key(style)}'
        f'<span class="what"><span class="severity">{style.title}{html_text(station)}</span>'
        f"<bdi>{html_text(row.message)}</bdi>"
        f'<span class="remedy"><bdi>{html_text(row.remedy)}</bdi></span></span></button></li>'
    )


def _finder(plan: Plan) -> str:
    example = station_label(40.0, style=plan.settings.station_format)
    return (
        '<section class="finder"><h2><label for="station-text">Find a station</label></h2><form id="station-form">'
        '<select id="station-loop" aria-label="Loop"></select>'
        f'<input id="station-text" placeholder="{example}" autocomplete="off">'
        '<button type="submit">Show</button><output id="station-answer"></output></form></section>'
    )


def _legend(drawn: Iterable[Drawn]) -> str:
    entries = list(drawn)
    sections = {
        "Conflicts": [entry for severity in SEVERITIES for entry in entries if entry.key == f"conflicts-{severity}"],
        **{title: [e for layer in layers for e in entries if e.layer == layer] for title, layers in _GROUPS.items()},
    }
    body = "".join(
        f"<fieldset><legend>{title}</legend><ul>{_entries(group)}</ul></fieldset>"
        for title, group in sections.items()
        if group
    )
    return f'<section class="legend" aria-label="Legend and layers"><h2>Layers</h2>{body}</section>'


def _entries(group: Sequence[Drawn]) -> str:
    """List what one switch governs once, however many drawn layers are behind it."""
    switches: dict[str, list[Drawn]] = {}
    for entry in group:
        switches.setdefault(entry.switch, []).append(entry)
    return "".join(starmap(_entry, switches.items()))


def _entry(switch: str, behind: Sequence[Drawn]) -> str:
    style = behind[0].style if len(behind) == 1 or switch != "tolerance" else tolerance_style("")
    title = "Tolerance zones: dig by hand" if switch == "tolerance" else style.title
    number = sum(entry.count for entry in behind)
    count = f'<span class="count">{number}</span>' if number > 1 else ""
    return (
        f'<li><label><input type="checkbox" checked data-layer="{switch}">{legend_key(style)}'
        f"<span>{html_text(title)}</span>{count}</label></li>"
    )
