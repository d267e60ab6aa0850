"""A sheet for people: one HTML page that needs nothing from outside and reads on paper and on a phone alike."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Final

from parcelfence import __version__
from parcelfence.outputs.escaping import html_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parcelfence.outputs.cautions import Caution

__all__ = ["TICK", "blank_lines", "cautions_box", "fact_list", "section", "sheet_page", "stacked_table", "tick_list"]

TICK: Final = '<span class="tick"></span>'


def sheet_page(title: str, *, subtitle: str, body: str, origin: str) -> str:
    """Make a page.

    Parameters
    ----------
    title, subtitle : str
        Plain text: what the sheet is, and of which property.
    body : str
        HTML.
    origin : str
        Plain text: from what it was made.

    Returns
    -------
    str
        The whole page.
    """
    style = (files(__package__) / "sheet.css").read_text(encoding="utf-8")
    under = f"<p><bdi>{html_text(subtitle)}</bdi></p>" if subtitle else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{html_text(title)}: {html_text(subtitle)}</title><style>{style}</style></head>\n"
        f"<body><header><h1>{html_text(title)}</h1>{under}</header>\n{body}\n"
        f"<footer>Made by parcelfence {__version__}. {html_text(origin)}</footer></body></html>\n"
    )


def section(title: str, content: str, *, new_page: bool = False) -> str:
    """Set a section; nothing where it has no content."""
    if not content:
        return ""
    kind = " class=page" if new_page else ""
    return f"<section{kind}><h2>{html_text(title)}</h2>{content}</section>\n"


def cautions_box(lines: Iterable[Caution], *, title: str = "Before anything else") -> str:
    """Set cautions in a box, each with its order in bold and a box to tick."""
    rows = "".join(
        f"<li>{TICK}<span><b>{html_text(line.order)}</b> {html_text(line.meaning)}</span></li>" for line in lines
    )
    return f'<section class="box"><h2>{html_text(title)}</h2><ul class="steps">{rows}</ul></section>\n'


def fact_list(pairs: Iterable[tuple[str, str]]) -> str:
    """Set figures with their names; plain text."""
    cells = "".join(f"<div><dt>{html_text(name)}</dt><dd>{html_text(value)}</dd></div>" for name, value in pairs)
    return f'<dl class="facts">{cells}</dl>'


def tick_list(lines: Iterable[str]) -> str:
    """Set a list of steps, each with a box to tick; plain text."""
    return '<ol class="steps">' + "".join(f"<li>{TICK}<span>{html_text(line)}</span></li>" for line in lines) + "</ol>"


def stacked_table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    figures: Sequence[int] = (),
    room: Sequence[int] = (),
    wide: Sequence[int] = (),
    close: bool = False,
    stack: bool = True,
) -> str:
    """Set a table that becomes a stack of cards on a phone.

    Parameters
    ----------
    heads : sequence of str
        Plain text.
    rows : iterable of sequence of str
        Cells in HTML.
    figures, room, wide : sequence of int
        Columns that hold figures, columns that are left to be written into, and columns of sentences, to which most
        of the page goes.
    close : bool
        Whether a long table is set in small type with little room.
    stack : bool
        Whether it becomes cards; a table of few short columns fits a phone as it is.
    """

    def kind(column: int) -> str:
        return (
            ' class="figure"'
            if column in figures
            else ' class="room"'
            if column in room
            else ' class="wide"'
            if column in wide
            else ""
        )

    head = "".join(f"<th{kind(column)}>{html_text(word)}</th>" for column, word in enumerate(heads))
    body = "".join(
        "<tr>"
        + "".join(
            f'<td{kind(column)} data-name="{html_text(heads[column])}">{cell}</td>' for column, cell in enumerate(row)
        )
        + "</tr>"
        for row in rows
    )
    kinds = " ".join(kind for kind, wanted in (("stack", stack), ("close", close)) if wanted)
    return f'<table class="{kinds}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def blank_lines(count: int) -> str:
    """Leave room to write."""
    return f'<div class="lines keep">{"<div></div>" * count}</div>'
