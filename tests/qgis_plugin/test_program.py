"""The command line as another process: found, run without the variables of QGIS, stopped."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

import pytest

from parcelfence.qgis_plugin.program import VARIABLE, Program, ProgramError, clean_environment

if TYPE_CHECKING:
    from pathlib import Path

SLOW = "import sys, time; print('begun', file=sys.stderr, flush=True); time.sleep(60)"


def test_a_python_is_called_by_its_module_and_the_setting_wins(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "/nowhere/parcelfence")
    program = Program.find(sys.executable)
    assert program.words == (sys.executable, "-m", "parcelfence")
    assert program.version() == "0.1.0"


@pytest.mark.parametrize("source", ["the setting", f"the variable {VARIABLE}"])
def test_a_wrong_place_is_named_with_what_to_do(source: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "" if source == "the setting" else "/nowhere/parcelfence")
    with pytest.raises(ProgramError, match=f"{source} names '/nowhere/parcelfence'.*Settings > Options"):
        Program.find("/nowhere/parcelfence" if source == "the setting" else "")


def test_nothing_on_the_path_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ProgramError, match="was not found"):
        Program.find()


def test_variables_of_other_libraries_are_left_out() -> None:
    around = {"PYTHONPATH": "a", "PYTHONHOME": "b", "PROJ_LIB": "c", "GDAL_DATA": "d", "PATH": "e", "LANG": "f"}
    assert clean_environment(around) == {"PATH": "e", "LANG": "f", "PYTHONIOENCODING": "utf-8", "PYTHONUTF8": "1"}


def test_steps_and_words_are_told_apart() -> None:
    code = """
import json, sys
print(json.dumps({"progress": {"step": "one", "number": 1, "of": 2}}), file=sys.stderr)
print("a word", file=sys.stderr)
print(json.dumps({"status": "done"}))
"""
    steps, words = list[dict[str, object]](), list[str]()
    answer = Program((sys.executable, "-c", code)).run([], told=steps.append, said=words.append)
    assert answer.done
    assert answer.result == {"status": "done"}
    assert steps == [{"step": "one", "number": 1, "of": 2}]
    assert words == ["a word"]


def test_a_run_is_stopped_soon() -> None:
    heard: list[str] = []
    begin = time.monotonic()
    answer = Program((sys.executable, "-c", SLOW)).run([], said=heard.append, stopped=lambda: bool(heard))
    assert answer.stopped
    assert not answer.done
    assert time.monotonic() - begin < 30  # of 60 that it would take


def test_what_cannot_be_started_is_told(tmp_path: Path) -> None:
    broken = tmp_path / "parcelfence"
    broken.write_text("nothing")
    with pytest.raises(ProgramError, match="cannot be started"):
        Program((str(broken),)).run(["--version"])
