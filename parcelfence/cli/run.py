"""What a person or a program asks of any run: one result object, progress that a program can read, more or fewer words.

A command hands its report and its result to :func:`finish`, and shows its steps by :func:`progress`; what becomes of
them is decided by the options that :func:`run_options` adds.
"""

from __future__ import annotations

import json
import logging
import re
import sys
from contextlib import contextmanager
from threading import Event, Thread
from time import monotonic
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import Command
from parcelfence.errors import ParcelFenceError

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Mapping

    from parcelfence.errors import Fault

__all__ = ["CONFLICTS", "UNUSABLE", "RunCommand", "counted", "finish", "in_options", "progress", "run_options"]

UNUSABLE: Final = 2
"""Exit status for input or arguments that cannot be used."""
CONFLICTS: Final = 3
"""Exit status of a finished plan with conflicts that must be fixed."""
_STATUS_WORDS: Final = {0: "done", UNUSABLE: "refused", CONFLICTS: "conflicts"}
_KEY: Final = "parcelfence.run"
_ARGUMENT: Final = re.compile(r"`(select|crs|walk_crs|wire_crs|overwrite|formats|elevation_unit|allow_ballpark)`")
"""Arguments of the library's functions that its messages name, and that are options of the command line."""
_SLOW_S: Final = 60.0
"""Nothing takes longer without saying so."""


def in_options(message: object) -> str:
    """Say a message of the library in the words of the command line: ``--wire-crs`` for its argument ``wire_crs``."""
    return _ARGUMENT.sub(lambda found: "--" + found[1].replace("_", "-"), str(message))


class RunCommand(Command):
    """A command whose refusals are a result, too, where the result is to be JSON."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run it; with ``--json`` an error of input becomes an object on standard output and status 2."""
        if not _asked("as_json"):
            return super().invoke(ctx)
        try:
            return super().invoke(ctx)
        except ParcelFenceError as error:
            faults = [_fault(fault) for fault in error.faults]
            _write_object(ctx, {"message": in_options(error), "faults": faults}, status=UNUSABLE)
            ctx.exit(UNUSABLE)


def run_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--json``, ``--progress``, ``-v`` and ``-q``."""

    def option(*words: str, **about: Any) -> Callable[..., Any]:
        return click.option(*words, expose_value=False, is_eager=True, callback=_remember, **about)

    for decorate in (
        option("-q", "--quiet", is_flag=True, help="no report; the exit status tells"),
        option("-v", "--verbose", count=True, help="tell what is done on standard error; -vv tells more"),
        option(
            "--progress",
            type=click.Choice(["auto", "json", "none"]),
            default="auto",
            help="auto: on a terminal; json: one object a line on standard error",
        ),
        option("--json", "as_json", is_flag=True, help="one JSON object on standard output instead of the report"),
    ):
        function = decorate(function)
    return function


def finish(report: str, result: Mapping[str, Any], *, status: int = 0) -> None:
    """Show the report, or the result as JSON, and leave with the exit status.

    Parameters
    ----------
    report : str
        What a person reads.
    result : mapping
        The same for a program, ready for :func:`json.dumps`.
    status : int
        Exit status of the command.
    """
    ctx = click.get_current_context()
    if _asked("as_json"):
        _write_object(ctx, result, status=status)
    elif not _asked("quiet"):
        click.echo(report)
    if status:
        ctx.exit(status)


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
def counted(what: str, *, total: int, finished: int = 0) -> Generator[Callable[..., None]]:
    """Show how many pieces of a long job are finished, how fast, and how long the rest will take.

    Yields
    ------
    callable
        To be called with the number of pieces (1 where left out) after each that is finished.
    """
    begun, count = monotonic(), [finished]

    def rate(pieces: int) -> float:
        count[0] += pieces
        return (count[0] - finished) / max(monotonic() - begun, 1e-3)

    if _asked("progress") == "json":

        def advance(pieces: int = 1) -> None:
            per_second = rate(pieces)
            left_s = round((total - count[0]) / per_second, 1) if per_second else None
            _progress_line({
                "step": what,
                "number": count[0],
                "of": total,
                "per_second": round(per_second, 2),
                "seconds_left": left_s,
            })

        yield advance
    elif not _on_terminal():
        yield lambda _pieces=1: None
    else:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (
            TextColumn(what),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("{task.fields[rate]:.1f} a second"),
            TextColumn("left:"),
            TimeRemainingColumn(),
        )
        with Progress(*columns, console=Console(file=sys.__stderr__, stderr=True)) as shown:
            bar = shown.add_task(what, total=total, completed=finished, rate=0.0)
            yield lambda pieces=1: shown.update(bar, advance=pieces, rate=rate(pieces))


@contextmanager
def _shown(steps: tuple[str, ...]) -> Generator[Callable[[str], None]]:
    if _asked("progress") == "json":
        yield lambda step: _progress_line({"step": step, "number": steps.index(step) + 1, "of": len(steps)})
    elif not _on_terminal():
        yield lambda _step: None
    else:
        from rich.console import Console

        # its own orders to the terminal go past the stream that lets none of a file's through
        with Console(file=sys.__stderr__, stderr=True).status("starting") as status:
            yield lambda step: status.update(f"{step} ({steps.index(step) + 1} of {len(steps)})")


def _on_terminal() -> bool:
    return sys.stderr.isatty() and _asked("progress") != "none" and not _asked("quiet")


def _progress_line(progress: dict[str, Any]) -> None:
    click.echo(json.dumps({"progress": progress}), err=True)


def _tell_what_is_slow(current: list[str], done: Event) -> None:
    """Name the step that is under way, once a minute."""
    minutes = 0
    while not done.wait(_SLOW_S):
        minutes += 1
        click.echo(f"parcelfence: still {current[-1]} after {minutes} min", err=True)


def _remember(ctx: click.Context, *given: Any) -> None:
    parameter, value = given
    ctx.meta[f"{_KEY}.{parameter.name}"] = value
    if parameter.name == "verbose" and value:
        logging.basicConfig(stream=sys.stderr, format="%(name)s: %(message)s", level=logging.WARNING, force=True)
        logging.getLogger("parcelfence").setLevel(logging.INFO if value == 1 else logging.DEBUG)


def _asked(name: str) -> Any:
    ctx = click.get_current_context(silent=True)
    return None if ctx is None else ctx.meta.get(f"{_KEY}.{name}")


def _write_object(ctx: click.Context, result: Mapping[str, Any], *, status: int) -> None:
    about = {"command": ctx.command.name, "status": _STATUS_WORDS[status], "exit_status": status}
    click.echo(json.dumps(about | dict(result), ensure_ascii=False, allow_nan=False, indent=1))


def _fault(fault: Fault) -> dict[str, str]:
    return {
        "where": in_options(fault.where),
        "feature": fault.feature,
        "found": in_options(fault.found),
        "must": in_options(fault.must),
        "remedy": in_options(fault.remedy),
    }
