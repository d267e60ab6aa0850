"""The command line of parcelfence as another process: where it is, what it is told, what it answers.

Standard library alone; nothing here knows QGIS.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["VARIABLE", "Answer", "Program", "ProgramError"]

VARIABLE = "PARCELFENCE"
"""Variable of the environment that may name the program."""
_HOW = (
    "Install it in a Python of its own (python -m venv, then pip install parcelfence's wheel), and name its program "
    "in QGIS under Settings > Options > Processing > Providers > parcelfence."
)
_OF_QGIS = ("PYTHON", "PROJ_", "GDAL_", "OGR_")
"""Variables that QGIS sets for its own libraries; with them another interpreter finds the wrong ones."""
_OF_QGIS_TOO = ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")
_LOOK_S = 0.1
_PATIENCE_S = 10.0
"""A run that was told to stop tidies up within a second or two; then it is ended."""
_DONE = (0, 3)
"""Statuses of a finished run: nothing to fix, and something to fix."""


class ProgramError(Exception):
    """The program is not there, or did not answer as it should."""


@dataclass(frozen=True)
class Answer:
    """What a run said: its exit status, its one result object, and what it wrote besides."""

    status: int
    result: dict[str, Any] = field(default_factory=dict)
    words: str = ""
    stopped: bool = False

    @property
    def done(self) -> bool:
        """Whether it came to its end."""
        return self.status in _DONE and not self.stopped

    @property
    def refusal(self) -> str:
        """The program's own message."""
        text = str(self.result.get("message", "")) or self.words.strip()
        return text or f"parcelfence ended with status {self.status} and said nothing."


@dataclass(frozen=True)
class Program:
    """How parcelfence is called."""

    words: tuple[str, ...]

    @classmethod
    def find(cls, named: str = "") -> Program:
        """Find it by the setting, by the variable, or on the path, in this order.

        Parameters
        ----------
        named : str
            What stands in the setting: the program ``parcelfence``, or a Python that has it.

        Raises
        ------
        ProgramError
            If what is named is not there, or nothing is found.
        """
        for name, source in ((named, "the setting"), (os.environ.get(VARIABLE, ""), f"the variable {VARIABLE}")):
            if name.strip():
                found = shutil.which(str(Path(name.strip()).expanduser()))
                if found is None:
                    raise ProgramError(f"{source} names {name.strip()!r}, and no program is there. {_HOW}")
                return cls(_call(found))
        found = shutil.which("parcelfence")
        if found is None:
            raise ProgramError(f"The program parcelfence was not found. {_HOW}")
        return cls(_call(found))

    def version(self) -> str:
        """Ask for its version; empty if it does not say."""
        answer = self.run(["--version"])
        return answer.words.strip().rpartition(" ")[2] if answer.status == 0 else ""

    def run(
        self,
        words: list[str],
        *,
        told: Callable[[dict[str, Any]], None] | None = None,
        said: Callable[[str], None] | None = None,
        stopped: Callable[[], bool] = lambda: False,
    ) -> Answer:
        """Run it to its end, or until it is stopped.

        Parameters
        ----------
        words : list of str
            Arguments.
        told : callable, optional
            Is handed each step of its progress: step, number, of.
        said : callable, optional
            Is handed each other line of its standard error.
        stopped : callable
            Whether it is to be stopped; asked ten times a second.

        Raises
        ------
        ProgramError
            If it cannot be started.
        """
        try:
            process = subprocess.Popen(
                [*self.words, *words],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env=clean_environment(dict(os.environ)),
                encoding="utf-8",
                errors="replace",
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )
        except OSError as error:
            raise ProgramError(f"{self.words[0]} cannot be started: {error.strerror or error}. {_HOW}") from error
        written: list[str] = []
        errors: list[str] = []
        with process:
            readers = [
                threading.Thread(target=written.extend, args=(process.stdout,)),
                threading.Thread(target=_listen, args=(process.stderr, errors), kwargs={"told": told, "said": said}),
            ]
            for reader in readers:
                reader.start()
            was_stopped = _wait(process, stopped=stopped)
            for reader in readers:
                reader.join()
        text = "".join(written)
        result = _object(text)
        words_said = "".join(errors) if result or errors else text
        return Answer(status=process.returncode, result=result, words=words_said, stopped=was_stopped)


def clean_environment(around: dict[str, str]) -> dict[str, str]:
    """Leave out what belongs to the libraries of QGIS; the program writes UTF-8."""
    left = {name: value for name, value in around.items() if not name.startswith(_OF_QGIS) and name not in _OF_QGIS_TOO}
    return {**left, "PYTHONIOENCODING": "utf-8", "PYTHONUTF8": "1"}


def _call(found: str) -> tuple[str, ...]:
    """Call a Python by its module, a program by itself."""
    return (found, "-m", "parcelfence") if Path(found).name.lower().startswith("python") else (found,)


def _wait(process: Any, *, stopped: Callable[[], bool]) -> bool:
    """Wait for the end; gives whether it was stopped."""
    while True:
        try:
            process.wait(timeout=_LOOK_S)
        except subprocess.TimeoutExpired:
            if not stopped():
                continue
        else:
            return False
        process.terminate()
        try:
            process.wait(timeout=_PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        return True


def _listen(
    stream: Any,
    errors: list[str],
    *,
    told: Callable[[dict[str, Any]], None] | None,
    said: Callable[[str], None] | None,
) -> None:
    for line in stream:
        step = _object(line).get("progress")
        if isinstance(step, dict):
            if told is not None:
                told(step)
            continue
        errors.append(line)
        if said is not None and line.strip():
            said(line.rstrip())


def _object(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
