"""The command that writes out the sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from parcelfence.cli.sample import sample, sample_folder
from parcelfence.errors import OutputError
from parcelfence.inputs.project_file import read_project

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def _content(folder: Path) -> dict[str, bytes]:
    def files() -> Iterator[Path]:
        return (path for path in folder.rglob("*") if path.is_file())

    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files()}


def test_the_sample_is_written_whole_and_can_be_read(tmp_path: Path) -> None:
    result = CliRunner().invoke(sample, [f"{tmp_path}/mine"], catch_exceptions=False)
    assert result.exit_code == 0
    assert _content(tmp_path / "mine") == _content(sample_folder())
    assert read_project(tmp_path / "mine" / "SITE.toml").sources


def test_what_stands_there_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    with pytest.raises(OutputError, match="exists already"):
        CliRunner().invoke(sample, [f"{tmp_path}/mine"], catch_exceptions=False)
    assert not list((tmp_path / "mine").iterdir())
