"""The crew's worksheet: one printable page for letter and A4, legible in black and white and with muddy hands."""

from __future__ import annotations

import os
from contextlib import contextmanager
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from parcelfence import __version__
from parcelfence.outputs import worksheet_sections as sections
from parcelfence.outputs import worksheet_work as work
from parcelfence.outputs.drawing import drawing, legend
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.paper import sheets_of

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path
    from typing import Any

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "PDF_NAME", "worksheet_page", "write", "write_pdf"]

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
        One HTML page that needs nothing from outside: cautions and the locate call, figures, plan drawing, wiring legs,
        material, crossings, open conflicts, tests, flags, training, room for notes.
    """
    body = "".join((
        _header(plan),
        sections.cautions(plan),
        sections.facts(plan),
        _section("To be fixed first", sections.conflicts(plan, "must_fix")),
        _drawings(plan),
        _section("Wiring, leg by leg", sections.legs(plan), new_page=True),
        _section("Material", sections.materials(plan)),
        _section("Crossings", sections.crossings(plan)),
        _section("Open conflicts", sections.conflicts(plan, "caution") or _NO_CONFLICT),
        _section("Tests and burying", work.tests(plan), new_page=True),
        _section("Flags", work.flags(plan)),
        _section("Training, day by day", work.training(plan)),
        _section("Also to be known", sections.notes(plan)),
        _section("Notes", f'<div class="notes">{"<div></div>" * _NOTE_LINES}</div>'),
        _origin(plan),
    ))
    style = (files(__package__) / "worksheet.css").read_text(encoding="utf-8")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>Worksheet: {html_text(plan.site.name)}</title><style>{style}</style></head>\n"
        f"<body>{body}</body></html>\n"
    )


def _header(plan: Plan) -> str:
    name, parcel = html_text(plan.site.name), html_text(plan.site.parcel_id)
    site = f"<b><bdi>{name}</bdi></b>, " if name else ""
    return f"<header><h1>Boundary wire: worksheet</h1><p>{site}parcel <bdi>{parcel}</bdi></p></header>"


def _section(title: str, content: str, *, new_page: bool = False) -> str:
    if not content:
        return ""
    kind = " class=page" if new_page else ""
    return f"<section{kind}><h2>{html_text(title)}</h2>{content}</section>"


def _drawings(plan: Plan) -> str:
    """Draw the whole plan on one page, and its details on a page each."""
    whole, *details = sheets_of(plan)
    pages = _section(f"Plan, {whole.words}", drawing(plan, whole, details=details) + legend(plan), new_page=True)
    for detail in details:
        pages += _section(f"Detail {detail.name}, {detail.words}", drawing(plan, detail), new_page=True)
    return pages


def _origin(plan: Plan) -> str:
    """Say where the plan came from and how well its places are known."""
    records = plan.site.provenance.inputs
    names = ", ".join(dict.fromkeys(f"{record.name} ({record.role})" for record in records))
    known = [record.accuracy_m for record in records if record.accuracy_m is not None]
    worst = sections.length(plan, max(known, default=0.0))
    accuracy = f" Positions of the inputs are stated to be good to {worst}." if known else ""
    return (
        f"<footer>Made by parcelfence {__version__} from {html_text(names)}.{accuracy} Lines in the ground may lie "
        "elsewhere than drawn: the marks on the ground count, not this sheet.</footer>"
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
