"""The crew's worksheet: one printable page for letter and A4, legible in black and white and with muddy hands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parcelfence import __version__
from parcelfence.outputs import worksheet_sections as sections
from parcelfence.outputs import worksheet_work as work
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.worksheet_drawing import drawing, legend
from parcelfence.outputs.worksheet_sheet import sheets_of

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "worksheet_page", "write"]

NAME: Final = "worksheet.html"
_NOTE_LINES: Final = 12
_NO_CONFLICT: Final = "<p>No others were found by computing. Look at the ground as well.</p>"

_CSS: Final = """
@page{margin:12mm 12mm 15mm}
@page{@bottom-left{content:"Call before you dig. Dig by hand in tolerance zones.";font:8pt sans-serif}
@bottom-right{content:counter(page) " / " counter(pages);font:8pt sans-serif}}
*{box-sizing:border-box}
body{font:10pt/1.35 "Helvetica Neue",Helvetica,Arial,"Liberation Sans","DejaVu Sans",sans-serif;color:#000;
background:#fff;margin:0 auto;max-width:186mm}
@media screen{body{padding:8mm;max-width:202mm}}
h1{font-size:19pt;line-height:1.15;margin:0}
h2{font-size:13pt;margin:6mm 0 2mm;border-bottom:.7mm solid #000;padding-bottom:.6mm;break-after:avoid}
h3{font-size:11pt;margin:4mm 0 1mm;break-after:avoid}
p{margin:1.5mm 0}.small{font-size:8.5pt}
header p{margin:.5mm 0 0}bdi{unicode-bidi:isolate}
.cautions{border:1mm solid #000;padding:2.5mm 4mm 3mm;margin:4mm 0;break-inside:avoid}
.cautions h2{border:0;margin:0 0 1.5mm}
.stop{border:1mm solid #000;background:#000;color:#fff;font-weight:700;padding:2mm 3mm;margin:3mm 0 0;
-webkit-print-color-adjust:exact;print-color-adjust:exact}
.steps{list-style:none;margin:0;padding:0}.steps li{display:flex;gap:3mm;padding:1mm 0;break-inside:avoid}
.tick{flex:none;display:inline-block;width:4.6mm;height:4.6mm;border:.4mm solid #000;border-radius:.6mm}
td .tick{vertical-align:middle}
.blanks{display:flex;flex-wrap:wrap;gap:2mm 6mm;margin-top:2mm}
.blanks span{display:flex;flex:1 1 52mm;align-items:end;gap:2mm}
.blanks i{flex:1;border-bottom:.25mm solid #000;height:6mm}
.facts{display:flex;flex-wrap:wrap;margin:3mm 0 2mm;border-top:.25mm solid #000;border-left:.25mm solid #000}
.facts div{flex:1 1 20%;min-width:36mm;border-right:.25mm solid #000;border-bottom:.25mm solid #000;
padding:1.2mm 2mm}
.facts dt{font-size:8pt}.facts dd{margin:0;font-size:12pt;font-weight:700}
.remarks{margin:2mm 0;padding-left:5mm}.remarks li{margin:.6mm 0}
table{border-collapse:collapse;width:100%;margin:2mm 0}
th,td{border:.25mm solid #000;padding:1.1mm 1.6mm;text-align:left;vertical-align:top;overflow-wrap:anywhere}
th{font-size:8.5pt;border-bottom-width:.6mm;overflow-wrap:normal}thead{display:table-header-group}
tr{break-inside:avoid}
td:nth-child(-n+2){white-space:nowrap}td:first-child:has(.tick){width:9mm}
.wide td:nth-child(2),.materials td:nth-child(2){white-space:normal}
.materials td:nth-child(2){width:26%}.materials td:nth-child(3),.materials td:nth-child(4){white-space:nowrap}
.splices td:nth-child(3){white-space:nowrap}
.legs td:nth-child(n+5),.legs th:nth-child(n+5){text-align:right;white-space:nowrap}
.legs th:nth-child(n+5){white-space:normal}
.walk td{height:7mm}.training td:nth-child(2),.conflicts td:nth-child(4){white-space:nowrap}
.conflicts b{white-space:nowrap}.must_fix{border:.5mm solid #000;padding:0 1mm}
.page{break-before:page}
.plan{display:block;margin:0 auto}.plan text,.scale text{font-family:inherit}
.scale{display:flex;align-items:center;gap:4mm;margin:1mm 0;font-size:9pt}
.legend{list-style:none;display:flex;flex-wrap:wrap;gap:1mm 5mm;margin:0;padding:0;font-size:8.5pt}
.legend li{white-space:nowrap;display:flex;align-items:center;gap:1.5mm}
.letter{flex:none;border:.5mm solid;border-radius:50%;width:4.4mm;height:4.4mm;line-height:3.6mm;text-align:center;
font-size:7.5pt}
.notes{break-inside:avoid}.crossings td:nth-child(4),.crossings td:nth-child(5){white-space:nowrap}
.notes div{border-bottom:.2mm solid #777;height:8.5mm}
footer{break-before:avoid;font-size:8pt;margin-top:4mm}
"""


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``worksheet.html``."""
    page = worksheet_page(delivery.plan)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")


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
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>Worksheet: {html_text(plan.site.name)}</title><style>{_CSS}</style></head>\n"
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
    files = ", ".join(dict.fromkeys(f"{record.name} ({record.role})" for record in records))
    known = [record.accuracy_m for record in records if record.accuracy_m is not None]
    accuracy = f" Positions of the inputs are stated to be good to {max(known):g} m." if known else ""
    return (
        f"<footer>Made by parcelfence {__version__} from {html_text(files)}.{accuracy} Lines in the ground may lie "
        "elsewhere than drawn: the marks on the ground count, not this sheet.</footer>"
    )
