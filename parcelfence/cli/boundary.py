"""The boundary of the command line: what it may read, write and show, whatever a person or a file brings.

Every command is a :class:`Command`, every path that it reads an :class:`InputPath` and every path that it writes an
:class:`OutputPath`.  Nothing that is read is ever written over: that is checked here, once for all commands.
"""

from __future__ import annotations

import io
import os
import re
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.errors import Fault, OutputError
from parcelfence.text import visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from types import FrameType

__all__ = [
    "Command",
    "InputPath",
    "OutputPath",
    "Stopped",
    "clean_terminal",
    "refuse_over_inputs",
    "silence",
    "stop_by_signal",
]

_OUR_COLOURS: Final = re.compile(r"\x1b\[(?:0|1|3[1-6])m")
"""What click.style makes of the few styles that the reports use; nothing else of the kind is let through."""
_AGAIN_S: Final = 0.02
_COMPANIONS: Final = (".shx", ".dbf", ".prj", ".cpg", ".qix")
"""Files that make up a shapefile with the .shp that is named."""


class InputPath(click.Path):
    """A file or folder that a command reads; it may be named as ``FILE:LAYER``."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)


class OutputPath(click.Path):
    """A file or folder that a command writes."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)


class Command(click.Command):
    """A command that writes over none of the files that it reads."""

    def invoke(self, ctx: click.Context) -> Any:
        """Check the paths against each other before anything is read."""
        outputs = {_flag(parameter): path for parameter, path in self._paths(ctx, OutputPath)}
        inputs = [file for _, path in self._paths(ctx, InputPath) for file in (path, *_named_by(path))]
        refuse_over_inputs(outputs, inputs)
        return super().invoke(ctx)

    def _paths(self, ctx: click.Context, kind: type[click.Path]) -> Iterator[tuple[click.Parameter, Path]]:
        for parameter in self.get_params(ctx):
            if isinstance(parameter.type, kind) and parameter.name:
                given = ctx.params.get(parameter.name)
                for path in given if isinstance(given, tuple) else (given,):
                    if path is not None:
                        yield parameter, Path(path)


def refuse_over_inputs(outputs: dict[str, Path], inputs: Iterable[Path]) -> None:
    """Refuse an output that is, holds, or lies in something that is read, links resolved.

    Parameters
    ----------
    outputs : dict of str to Path
        Each by the option that names it.
    inputs : iterable of Path
        Files and folders that are read.

    Raises
    ------
    OutputError
        With every such output.
    """
    read = [whole for path in inputs for whole in _whole(path)]
    faults = []
    for option, output in outputs.items():
        over = next((path for path in read if _overlap(output, path)), None)
        if over is not None:
            same = over.name if over.name != output.name else "the same"
            faults.append(
                Fault(
                    where=f"{option} {output}",
                    found=f"it would be written over an input of this run ({same})",
                    must="what is read stays as it is",
                    remedy="choose another name or place for the output",
                )
            )
    if faults:
        raise OutputError(faults)


def _flag(parameter: click.Parameter) -> str:
    return parameter.opts[0] if isinstance(parameter, click.Option) else parameter.human_readable_name


def _named_by(path: Path) -> tuple[Path, ...]:
    """Files that a project file names; none where it is no project file, which is told when it is read."""
    if path.suffix.lower() != ".toml":
        return ()
    from parcelfence.inputs.project_file import files_named

    return files_named(path)


def _whole(path: Path) -> tuple[Path, ...]:
    """Give a file with the others that belong to it; of ``FILE:LAYER`` the file."""
    file, colon, _ = str(path).rpartition(":")
    if colon and not path.exists() and Path(file).exists():
        path = Path(file)
    if path.suffix.lower() == ".shp":
        return (path, *(path.with_suffix(suffix) for suffix in _COMPANIONS))
    return (path,)


def _overlap(output: Path, read: Path) -> bool:
    try:
        if output.exists() and read.exists() and output.samefile(read):
            return True
        one, other = output.resolve(), read.resolve()
    except (OSError, RuntimeError, ValueError):  # a ring of links, or a name that is none: told where it is opened
        return False
    return one == other or one.is_relative_to(other) or other.is_relative_to(one)


class _CleanStream(io.TextIOWrapper):
    """A text stream that shows text, line ends, tabs and our own colours, and no other order to a terminal."""

    def write(self, text: str, /) -> int:
        super().write(_clean(text))
        return len(text)


def _clean(text: str) -> str:
    rest, kept = _OUR_COLOURS.split(text), _OUR_COLOURS.findall(text)
    plain = [visible(part.replace("\r\n", "\n").replace("\r", "\ufffd")) for part in rest]
    return "".join(part + colour for part, colour in zip(plain, [*kept, ""], strict=True))


def clean_terminal() -> None:
    """Put standard output and standard error behind a stream that lets no control character of any file through."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper) and not isinstance(stream, _CleanStream):
            stream.flush()
            clean = _CleanStream(
                stream.buffer, encoding=stream.encoding, errors="replace", line_buffering=stream.line_buffering
            )
            setattr(sys, name, clean)


class Stopped(BaseException):
    """A signal asked the program to stop; what was begun is cleaned up on the way out."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


def stop_by_signal() -> None:
    """Turn the first SIGTERM or SIGINT into :class:`Stopped`, and let none disturb the cleaning up that follows.

    It waits while a module is being imported: packages written in C turn what is raised there into faults of their own.
    """
    signals = [one for name in ("SIGINT", "SIGTERM", "SIGHUP") if (one := getattr(signal, name, None)) is not None]

    def stop(number: int, frame: FrameType | None) -> None:
        for one in signals:
            signal.signal(one, signal.SIG_IGN)
        if hasattr(signal, "setitimer") and _importing(frame):
            signal.signal(signal.SIGALRM, lambda _number, later: stop(number, later))
            signal.setitimer(signal.ITIMER_REAL, _AGAIN_S)
            return
        raise Stopped(number)

    for one in signals:
        if signal.getsignal(one) is not signal.SIG_IGN:  # nohup, or a parent that wants no interrupt
            signal.signal(one, stop)


def _importing(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False


def silence(stream: Any) -> None:
    """Lead a stream whose reader has gone away into nothing, so that closing it raises no second error."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
