"""The crew's worksheet: one page for letter, A4 and a phone, legible in black and white and with muddy hands."""

from __future__ import annotations

import os
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from parcelfence.outputs import worksheet_sections as sections
from parcelfence.outputs import worksheet_work as work
from parcelfence.outputs.drawing import drawing, legend
from parcelfence.outputs.paper import sheets_of
from parcelfence.outputs.sheet_page import blank_lines, section, sheet_page

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path
    from typing import Any

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "PDF_NAME", "origin", "worksheet_page", "write", "write_pdf"]

NAME: Final = "worksheet.html"
PDF_NAME: Final = "worksheet.pdf"
_EPOCH: Final = "SOURCE_DATE_EPOCH"
_NOTE_LINES: Final = 12
_NO_CONFLICT: Final = "<p>No others were found by computing. Look at the ground as well.</p>"


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``worksheet.html``."""
    page = worksheet_page(delivery.plan)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")


def write_pdf(delivery: Delivery, folder: Path) -> None:
    """Write ``worksheet.pdf``, from the same page; needs weasyprint."""
    from weasyprint import HTML

    page = HTML(string=worksheet_page(delivery.plan), url_fetcher=_nothing_from_outside)
    with _stopped_clock():
        page.write_pdf(folder / PDF_NAME, pdf_identifier=b"parcelfence")


def worksheet_page(plan: Plan) -> str:
    """Make the worksheet.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        One HTML page that needs nothing from outside.  First what must be decided, then the work in its order, each
        thing said once; last what is only to be looked up.
    """
    body = "".join((
        sections.cautions(plan),
        section("Decide these five first", sections.decisions(plan)),
        section("In figures", sections.facts(plan)),
        section("To be fixed first", sections.conflicts(plan, "must_fix")),
        _drawings(plan),
        section("Wiring, leg by leg", sections.legs(plan), new_page=True),
        section("Material", sections.materials(plan)),
        section("Crossings", sections.crossings(plan)),
        section("Open findings", sections.conflicts(plan, "caution") or _NO_CONFLICT),
        section("Set out by tape", sections.tape_ties(plan), new_page=True),
        section("Tests and burying", work.tests(plan), new_page=True),
        section("Animals", work.animals(plan)),
        section("Flags", work.flags(plan)),
        section("Training, day by day", work.training(plan)),
        section("Through the year", work.seasons(plan)),
        section("If it stops working", work.faults()),
        section("Appendix: also to be known", sections.notes(plan)),
        section("Notes", blank_lines(_NOTE_LINES)),
    ))
    return sheet_page(
        "Boundary wire: worksheet", subtitle=sections.property_words(plan), body=body, origin=origin(plan)
    )


def _drawings(plan: Plan) -> str:
    """Draw the whole plan on one page, and its details on a page each."""
    whole, *details = sheets_of(plan)
    pages = section(f"Plan, {whole.words}", drawing(plan, whole, details=details) + legend(plan), new_page=True)
    for detail in details:
        pages += section(f"Detail {detail.name}, {detail.words}", drawing(plan, detail), new_page=True)
    return pages


def origin(plan: Plan) -> str:
    """Say where a plan came from and how well its places are known, in plain text."""
    records = plan.site.provenance.inputs
    names = ", ".join(dict.fromkeys(f"{record.name} ({record.role})" for record in records))
    known = [record.accuracy_m for record in records if record.accuracy_m is not None]
    worst = sections.length(plan, max(known, default=0.0))
    accuracy = f" Positions of the inputs are stated to be good to {worst}." if known else ""
    return (
        f"From {names}.{accuracy} Lines in the ground may lie elsewhere than drawn: the marks on the ground count, not "
        "this sheet."
    )


@contextmanager
def _stopped_clock() -> Generator[None]:
    """Keep the time of writing out of the embedded fonts (reproducible-builds.org, SOURCE_DATE_EPOCH)."""
    before = os.environ.get(_EPOCH)
    os.environ[_EPOCH] = "946684800"
    try:
        yield
    finally:
        if before is None:
            del os.environ[_EPOCH]
        else:
            os.environ[_EPOCH] = before


def _nothing_from_outside(url: str) -> Any:
    message = f"The worksheet needs nothing from outside, yet {url} was asked for."
    raise ValueError(message)
