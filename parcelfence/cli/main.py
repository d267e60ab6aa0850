"""The group of all commands; a command is imported when it is called."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from importlib import import_module
from typing import Any, Final

import click

from parcelfence import __version__
from parcelfence.cli.boundary import Stopped, clean_terminal, silence, stop_by_signal
from parcelfence.cli.run import UNUSABLE, in_options
from parcelfence.errors import ParcelFenceError
from parcelfence.text import on_one_line, shortened

__all__ = ["main"]

COMMANDS: Final = {
    "new": ("parcelfence.cli.new", "Begin a property: layers to draw in, empty or cut out."),
    "plan": ("parcelfence.cli.plan", "Design a loop on a property and write the plan."),
    "compare": ("parcelfence.cli.compare", "Plan it with several reaches and layouts, side by side."),
    "check": ("parcelfence.cli.check", "Check a wire that somebody drew, or surveyed as built."),
    "calibrate": ("parcelfence.cli.calibrate", "Fit the reach to points walked with the receiver."),
    "find-break": ("parcelfence.cli.find_break", "Say where a broken wire is broken, and what to test next."),
    "screen": ("parcelfence.cli.screen", "Plan every parcel of a file and write one row each."),
    "inspect": ("parcelfence.cli.inspect", "Say what files hold and what is wrong with them."),
    "qgis-plugin": ("parcelfence.cli.qgis_plugin", "Pack the plug-in for QGIS."),
    "sample": ("parcelfence.cli.sample", "Write out the sample property, to try things with."),
    "layers": ("parcelfence.cli.reference", "List the layers of a plan with their columns."),
    "formats": ("parcelfence.cli.reference", "List the outputs that can be written."),
    "keys": ("parcelfence.cli.reference", "List every key of a project file."),
    "settings": ("parcelfence.cli.settings", "Show every setting, its value and where it comes from."),
}
FAULT: Final = 1
"""Exit status where parcelfence itself, or the machine under it, failed."""

PACKAGE: Final = f"{os.sep}parcelfence{os.sep}"
_TRACEBACK: Final = "PARCELFENCE_TRACEBACK"
_BY_SIGNAL: Final = 128
_LONGEST_REASON: Final = 300


class _Commands(click.Group):
    """Built-in commands by name, then those of third parties; a built-in is never replaced."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002, PLR6301  (click's signature)
        return [*COMMANDS, *sorted(set(_plugins()) - set(COMMANDS))]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002, PLR6301
        if cmd_name in COMMANDS:
            module, _ = COMMANDS[cmd_name]
            command: click.Command = getattr(import_module(module), cmd_name.replace("-", "_"))
            return command
        entry = _plugins().get(cmd_name)
        return None if entry is None else _loaded(entry)

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        from parcelfence.errors import near_matches

        name = args[0]
        if name.startswith("-") or self.get_command(ctx, name) is not None:
            return super().resolve_command(ctx, args)
        raise click.UsageError(f"There is no command {name!r}; {near_matches(name, self.list_commands(ctx))}", ctx)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, COMMANDS[name][1] if name in COMMANDS else _help_of(name)) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="parcelfence")
def parcelfence() -> None:
    """Plan buried boundary wire that keeps pets on a property, from real parcel data.

    \b
    Start with:   parcelfence sample my-sample     (or with your own: parcelfence new my-yard)
    Then:         parcelfence plan my-sample/SITE.toml --out my-plan
    Then open:    my-plan/map.html and my-plan/worksheet.html

    Before any digging call the utility locating service. Dig by hand within the tolerance zones.

    \b
    Completion of commands and options, in bash (zsh and fish likewise):
        eval "$(_PARCELFENCE_COMPLETE=bash_source parcelfence)"
    """  # noqa: D301  (click reads the \b)


def main() -> None:
    """Run the command line; every error of input ends in one message and status 2, whatever happens in a message."""
    clean_terminal()
    try:
        stop_by_signal()
        status = parcelfence.main(prog_name="parcelfence", standalone_mode=False)
    except ParcelFenceError as error:
        click.echo(f"parcelfence: {in_options(error)}", err=True)
        status = UNUSABLE
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except (Stopped, KeyboardInterrupt, click.Abort) as error:
        status = _stopped(error)
    except BrokenPipeError:
        silence(sys.stdout)
        status = 1
    except MemoryError:
        click.echo("parcelfence: the memory is not enough for this; nothing was written.", err=True)
        status = FAULT
    except Exception as error:  # noqa: BLE001  (the last net: a person gets words, and what a report needs)
        click.echo(_fault_of_ours(error), err=True)
        status = FAULT
    sys.exit(status)


def _stopped(error: BaseException) -> int:
    """Say that the run was stopped; the status is the one by which a shell knows the signal."""
    number = error.number if isinstance(error, Stopped) else signal.SIGINT
    click.echo(
        f"parcelfence: stopped ({signal.Signals(number).name}); nothing that stood on disk was changed.", err=True
    )
    return _BY_SIGNAL + number


def _fault_of_ours(error: Exception) -> str:
    if os.environ.get(_TRACEBACK):
        return "".join(traceback.format_exception(error))
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if PACKAGE in frame.filename]
    place = f" at {frames[-1].filename.rpartition(PACKAGE)[2]}:{frames[-1].lineno}" if frames else ""
    reason = shortened(on_one_line(error), most=_LONGEST_REASON)
    return (
        f"parcelfence: a fault of parcelfence itself{place} ({type(error).__name__}: {reason}). Nothing was written. "
        f"Please report it with the input; {_TRACEBACK}=1 in the environment shows where it comes from."
    )


def _plugins() -> dict[str, Any]:
    from importlib.metadata import entry_points

    return {entry.name: entry for entry in entry_points(group="parcelfence.commands")}


def _help_of(name: str) -> str:
    """Give the short help of a third party's command; of one that is broken, the reason."""
    try:
        return f"{_loaded(_plugins()[name]).get_short_help_str(limit=60)} (plug-in)"
    except click.ClickException as error:
        return shortened(on_one_line(error.message), most=_LONGEST_REASON)


def _loaded(entry: Any) -> click.Command:
    """Load a third party's command; one that is broken says so when it is called."""
    try:
        command = entry.load()
    except Exception as error:  # whatever a third party raises
        reason = f"The command {entry.name!r} of {entry.dist.name if entry.dist else 'a plug-in'} is broken: {error!r}"
        raise click.ClickException(reason) from error
    if not isinstance(command, click.Command):
        raise click.ClickException(f"The plug-in {entry.name!r} is no command")
    return command
