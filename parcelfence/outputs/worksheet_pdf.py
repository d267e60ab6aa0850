"""The crew's sheet as PDF, from the same page; needs weasyprint."""

from __future__ import annotations

import os
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from weasyprint import HTML

from parcelfence.outputs.worksheet import worksheet_page

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path
    from typing import Any

    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "write"]

NAME: Final = "worksheet.pdf"
_EPOCH: Final = "SOURCE_DATE_EPOCH"


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``worksheet.pdf``."""
    page = HTML(string=worksheet_page(delivery.plan), url_fetcher=_nothing_from_outside)
    with _stopped_clock():
        page.write_pdf(folder / NAME, pdf_identifier=b"parcelfence")


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
