"""Six things that a newcomer does, as the scripts that he writes after reading the README and DEVELOPERS.md."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SCRIPTS = sorted(path for path in HERE.glob("*.py") if path != Path(__file__))


def test_there_are_six() -> None:
    assert [path.stem for path in SCRIPTS] == [
        "errors",
        "join_screening",
        "own_files",
        "own_rule",
        "own_writer",
        "settings",
    ]


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.stem)
def test_it_does_what_it_wants(script: Path, tmp_path: Path) -> None:
    (tmp_path / "sample_geodata").symlink_to(HERE.parents[1] / "sample_geodata")
    done = subprocess.run(
        [sys.executable, script], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stderr


def test_a_script_that_finds_something_else_fails(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, SCRIPTS[0]], cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode != 0, "without the sample it cannot do its task"
