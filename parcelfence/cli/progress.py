"""Progress of a long job, on a terminal only and never on standard output."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Generator

__all__ = ["progress"]


@contextmanager
def progress(*steps: str) -> Generator[Callable[[str], None]]:
    """Show which step is under way; yields a function to be called with its name as each begins."""
    if not sys.stderr.isatty():
        yield lambda _step: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as status:
        yield lambda step: status.update(f"{step} ({steps.index(step) + 1} of {len(steps)})")
