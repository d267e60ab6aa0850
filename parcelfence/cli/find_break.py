"""The command that says where a broken wire is broken, and what to test next."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import click

from parcelfence.cli.boundary import InputPath, OutputPath
from parcelfence.cli.run import RunCommand, finish, run_options

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.outputs.break_page import BreakReport

__all__ = ["find_break"]

_WIDTH = 100
_MOST_ROWS = 6


@click.command("find-break", cls=RunCommand)
@click.argument("folder", type=InputPath(), metavar="PLAN")
@click.option("--observe", "notes", required=True, type=InputPath(), metavar="FILE", help="what was measured")
@click.option(
    "--probability",
    "share",
    default=0.9,
    show_default=True,
    type=click.FloatRange(0.0, 1.0, min_open=True, max_open=True),
    help="probability with which a stretch is named",
)
@click.option("--out", type=OutputPath(), metavar="DIR", help="folder to write map, table and summary into")
@click.option("--overwrite", is_flag=True, help="replace an earlier finding in that folder")
@run_options
def find_break(folder: Path, notes: Path, *, share: float, out: Path | None, overwrite: bool) -> None:
    """Say where a broken wire is broken, and which test to do next.

    PLAN is a folder that parcelfence plan or parcelfence check wrote: the wire as built where there is one. FILE holds
    one observation a row, in TOML ([[observation]]), JSON or CSV, with the columns kind, result, at, from, to, radius.

    \b
    kind        result                   place
    resistance  ohms, open, normal       from and to: A, B (terminals), S2 (splice)
    tone        heard, silent            at: L1 45 m, flag 12; from: A or B, where it is fed in
    digging                              at, radius: somebody has dug there lately
    movement    changed, unchanged       at: the wire was moved there
    exposed     whole, damaged           at: the wire was laid bare there
    test_loop   works, fails             a short loop at the terminals instead of the wire

    Exit status: 0 done; 2 unusable input, with the reason.
    """  # noqa: D301  (click reads the \b)
    from parcelfence.inputs.break_observations import read_break_notes
    from parcelfence.outputs.break_page import BreakReport, break_data, write_break
    from parcelfence.outputs.folder import check_target
    from parcelfence.service.break_finding import find_break as find
    from parcelfence.service.buried_wire import buried_wire
    from parcelfence.service.written_plan import read_plan

    if out is not None:
        check_target(out, overwrite=overwrite)
    observed = read_break_notes(notes)
    plan = read_plan(folder)
    finding = find(buried_wire(plan, expected_ohms=observed.expected_ohms), observed, share=share)
    report = BreakReport(finding=finding, plan=plan, notes_name=observed.name)
    if out is not None:
        write_break(report, out, overwrite=overwrite)
    written = "" if out is None else f"\n\nWritten to {out}: open break.html in a browser"
    finish(_text(report) + written, break_data(report))


def _text(report: BreakReport) -> str:
    words, finding = report.words, report.finding
    lines = [*_wrapped("Break", words.answer())]
    if not finding.agrees:
        lines += _wrapped(
            "Doubt",
            "These observations do not all agree with one single fault: one is mistaken, or the wire is broken twice.",
        )
    for low, high, chance in report.rows()[:_MOST_ROWS]:
        lines += _wrapped("", f"{chance:6.1%}  {words.stretch(low, high)}: {words.why(low, high)}")
    hidden = len(finding.stretches) - _MOST_ROWS
    lines += _wrapped("", f"... and {hidden} smaller stretches") if hidden > 0 else []
    for one in finding.seen:
        if one.doubtful:
            lines += _wrapped("Doubtful", f"{words.observation(one)} (a chance of only {one.likely:.0%}): repeat it")
    for test in finding.advice[:1]:
        lines += _wrapped("Next", f"{words.advice(test)} ({test.bits:.2f} bit)")
    lines += _wrapped("Then", words.remaining())
    lines += ["", "Unplug the transmitter first. Dig by hand, and call the utility locating service before."]
    return "\n".join(lines)


def _wrapped(name: str, text: str) -> list[str]:
    first, *rest = textwrap.wrap(text, width=_WIDTH - 10) or [""]
    return [click.style(f"{name:<10}", bold=True) + first, *(" " * 10 + part for part in rest)]
