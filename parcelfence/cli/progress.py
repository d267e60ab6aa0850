"""Progress of a long job: on a terminal step by step, elsewhere only what takes long; never on standard output."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from threading import Event, Thread
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Generator

__all__ = ["progress"]

_SLOW_S: Final = 60.0
"""Nothing takes longer without saying so."""


@contextmanager
def progress(*steps: str) -> Generator[Callable[[str], None]]:
    """Show which step is under way; yields a function to be called with its name as each begins."""
    current = [steps[0]]
    done = Event()
    Thread(target=_tell_what_is_slow, args=(current, done), daemon=True).start()
    try:
        with _shown(steps) as show:

            def begin(step: str) -> None:
                current.append(step)
                show(step)

            yield begin
    finally:
        done.set()


@contextmanager
def _shown(steps: tuple[str, ...]) -> Generator[Callable[[str], None]]:
    if not sys.stderr.isatty():
        yield lambda _step: None
        return
    from rich.console import Console

    # its own orders to the terminal go past the stream that lets none of a file's through
    with Console(file=sys.__stderr__, stderr=True).status("starting") as status:
        yield lambda step: status.update(f"{step} ({steps.index(step) + 1} of {len(steps)})")


def _tell_what_is_slow(current: list[str], done: Event) -> None:
    """Name the step that is under way, once a minute."""
    minutes = 0
    while not done.wait(_SLOW_S):
        minutes += 1
        click.echo(f"parcelfence: still {current[-1]} after {minutes} min", err=True)
