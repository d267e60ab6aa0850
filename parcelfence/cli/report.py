"""What a person reads at the end of a run: a few figures, the conflicts in plain words, and the cautions."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.run import CONFLICTS
from parcelfence.conflict import severity_tally
from parcelfence.layers import layer_schema
from parcelfence.text import begin_sentence
from parcelfence.units import station_label, unit_system
from parcelfence.wording import name_once

if TYPE_CHECKING:
    from collections.abc import Sized
    from pathlib import Path

    from parcelfence.conflict import Conflict, Severity
    from parcelfence.finished_plan import Plan

__all__ = ["conflict_report", "plan_report", "plan_result", "plan_status"]

_WORDS: Final[dict[Severity, tuple[str, str]]] = {
    "must_fix": ("MUST FIX", "red"),
    "caution": ("caution", "yellow"),
    "note": ("note", "cyan"),
}
_MOST_SHOWN: Final = 5
_SAME_M: Final = 0.005
_WIDTH: Final = 100


def plan_status(plan: Plan) -> int:
    """Give the exit status of a finished plan."""
    return CONFLICTS if any(conflict.severity == "must_fix" for conflict in plan.conflicts) else 0


def plan_result(plan: Plan, *, out: Path | None) -> dict[str, Any]:
    """Make the result of a plan for a program: where it stands, its figures and its conflicts."""
    from parcelfence.outputs.figures import figures
    from parcelfence.outputs.summary import plain_data

    columns = layer_schema("conflicts").column_names
    files = sorted(path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()) if out else []
    return {
        "out": None if out is None else str(out),
        "files": files,
        "site": {"name": plan.site.name, "parcel_id": plan.site.parcel_id},
        "figures": plain_data(figures(plan)),
        "conflicts": [{name: plain_data(getattr(conflict, name)) for name in columns} for conflict in plan.conflicts],
    }


def plan_report(plan: Plan, *, out: Path | None) -> str:
    """Write the summary of a plan for a terminal; without a folder, nothing was written."""
    from parcelfence.outputs.figures import figures

    units, found = unit_system(plan.settings.units), figures(plan)
    wire = plan.take_off.sequence
    rows = {
        "Property": f"{plan.site.name}, {name_once('parcel', plan.site.parcel_id)}, {units.area(found.parcel_area_m2)}",
        "Loop": f"{units.length(found.loop_ground_length_m, digits=0)}, encloses {units.area(found.enclosed_area_m2)}"
        + (f" ({found.enclosed_share_of_allowed:.1%} of what the setbacks allow)" if found.allowed_area_m2 else ""),
        "Signal": f"reach {units.length(plan.settings.reach_m)}{_setting(plan)}; "
        f"{units.area(found.free_area_m2)} stay free to roam "
        f"({found.free_share_of_enclosed:.0%} of the enclosed ground)",
        "Wire": f"{units.length(found.conductor_length_m, digits=0)} of conductor in {_count(wire.legs, 'leg')}, "
        f"{_count(wire.splices, 'splice')}, {_count(plan.take_off.flags, 'flag')}",
        "Conflicts": severity_tally(plan.conflicts),
    }
    lines = [f"{click.style(f'{name:<10}', bold=True)} {text}" for name, text in rows.items()]
    written = "Nothing was written." if out is None else f"Written to {out}{_what_to_open(out)}"
    lines += ["", *conflict_report(plan), written, ""]
    lines.append("Before any digging call the utility locating service, and dig by hand in the tolerance zones.")
    return "\n".join(lines)


def _count(things: Sized, noun: str) -> str:
    return f"{len(things)} {noun}{'' if len(things) == 1 else 's'}"


def _setting(plan: Plan) -> str:
    """Say what the receiver is set to, where that is not the reach that comes out."""
    units, set_m = unit_system(plan.settings.units), plan.zones.receiver.reach_m
    same = abs(set_m - plan.settings.reach_m) < _SAME_M
    return "" if same else f" (receiver set to {units.length(set_m)} beside a single straight wire)"


def conflict_report(plan: Plan) -> list[str]:
    """List conflicts, the gravest first; notes are only counted."""
    shown = [conflict for conflict in plan.conflicts if conflict.severity != "note"]
    lines = []
    for conflict in shown[:_MOST_SHOWN]:
        word, colour = _WORDS[conflict.severity or "note"]
        lines.append(f"{click.style(f'{word:<8}', fg=colour, bold=True)} {conflict.rule}{_at(conflict, plan=plan)}")
        text = f"{conflict.message.rstrip('.')}. {begin_sentence(conflict.remedy).rstrip('.')}."
        lines += textwrap.wrap(text, width=_WIDTH, initial_indent=" " * 9, subsequent_indent=" " * 9)
    if len(shown) > _MOST_SHOWN:
        lines.append(f"{'':9}... and {len(shown) - _MOST_SHOWN} more, all of them on the map and the worksheet")
    return [*lines, ""] if lines else []


def _at(conflict: Conflict, *, plan: Plan) -> str:
    if conflict.station_m is None:
        return ""
    return f" at {station_label(conflict.station_m, style=plan.settings.station_format)}"


def _what_to_open(out: Path) -> str:
    pages = [name for name in ("map.html", "worksheet.html", "owner.html", "as_built.html") if (out / name).exists()]
    return f": open {', '.join(pages)} in a browser" if pages else ""
