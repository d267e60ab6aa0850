"""The map as a file of the output folder."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parcelfence.outputs.map_page import map_page

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "write"]

NAME: Final = "map.html"


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``map.html``."""
    page = map_page(delivery.plan, tables=delivery.wgs84)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")
