"""The README says what is true: its Python runs, its commands exist, its two commands are those that CI runs."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from parcelfence.cli.main import parcelfence
from parcelfence.settings import Settings, short_name

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHELL = "\n".join(re.findall(r"```sh\n(.*?)```", README, re.DOTALL)).replace("\\\n", " ")
COMMANDS = [line for line in SHELL.splitlines() if line.startswith("parcelfence ")]


def test_the_python_examples_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    program = "\n".join(re.findall(r"(?<!<!-- county -->\n)```python\n(.*?)```", README, re.DOTALL))
    exec(compile(program, "README.md", "exec"), {})  # noqa: S102


def test_the_map_of_a_county_is_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("matplotlib").use("agg")
    (tmp_path / "sample_geodata").symlink_to(ROOT / "sample_geodata")
    monkeypatch.chdir(tmp_path)
    command, program = re.findall(r"<!-- county -->\n```\w+\n(.*?)```", README, re.DOTALL)
    words = shlex.split(command.replace("\\\n", " "))
    assert CliRunner().invoke(parcelfence, [*words[1:], "--workers", "1"]).exit_code == 0
    names: dict[str, Any] = {}
    exec(compile(program, "README.md", "exec"), names)  # noqa: S102
    lots = names["lots"]
    assert lots.loc[lots["parcel_no"] == "31-07", "reach_m"].item() == pytest.approx(24 * 0.3048)
    small = lots[lots["parcel_no"] == "31-06"].squeeze()
    assert small["reach_m"] < 4.0
    assert small["rules"] or small["reason"]
    assert (lots["cost"] > 0.0).all()
    assert (tmp_path / "county.png").stat().st_size > 10_000


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_and_option_named_exists(line: str) -> None:
    _, name, *words = shlex.split(line)
    shown = (
        CliRunner()
        .invoke(parcelfence, [name, "--help-all" if name in {"plan", "check", "screen"} else "--help"])
        .output
    )
    assert shown.startswith("Usage")
    for word in words:
        if word.startswith("--"):
            assert word in shown, f"{name} has no {word}"


def test_ci_runs_the_readme_s_own_test_command() -> None:
    assert "<!-- test -->" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    blocks = dict(re.findall(r"<!-- (run|test) -->\n```sh\n(.*?)\n```", README, re.DOTALL))
    assert "parcelfence plan sample_geodata/SITE.toml" in blocks["run"]
    assert blocks["test"].endswith("-m pytest -n auto")


def test_the_settings_named_exist_with_their_defaults() -> None:
    table = README.split("## Settings")[1]
    names = {short_name(name) for name in Settings.model_fields}
    named = [word for row in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE) for word in re.findall(r"`(\w+)`", row)]
    assert len(named) >= 10
    assert set(named) <= names
