"""What all commands have in common: the result as JSON, progress, more and fewer words, help in two lengths."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result

from parcelfence.cli.main import COMMANDS, parcelfence
from parcelfence.setting_info import describe_settings
from tests.sample import PROJECT, SAMPLE

if TYPE_CHECKING:
    from pathlib import Path

LOTS = SAMPLE / "parcels.geojson"
RUN_COMMANDS = ("plan", "check", "calibrate", "screen", "inspect")


def run(*words: object) -> Result:
    return CliRunner().invoke(parcelfence, [str(word) for word in words], catch_exceptions=False)


def result_of(*words: object) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run(*words, "--json").stdout)
    return found


def test_a_dry_run_says_everything_and_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("plan", "--parcels", LOTS, "--select", "parcel_no=31-05", "--reach", "5 ft", "--dry-run")
    assert "Nothing was written" in done.stdout
    assert "Loop" in done.stdout
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("words", [(), ("--dry-run", "--out", "x")])
def test_a_plan_is_written_or_is_not(words: tuple[str, ...]) -> None:
    done = run("plan", PROJECT, *words)
    assert done.exit_code == 2
    assert "either --out DIR" in done.stderr


def test_the_result_is_one_object(tmp_path: Path) -> None:
    out = tmp_path / "plan"
    found = result_of("plan", PROJECT, "--out", out, "--formats", "gpkg")
    assert found["command"] == "plan"
    assert found["files"] == ["SITE.toml", "plan.gpkg", "plan.qgs", "summary.json"]
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert found["figures"].items() <= summary["figures"].items()
    assert len(found["conflicts"]) == summary["conflicts"]["count"]
    grave = any(conflict["severity"] == "must_fix" for conflict in found["conflicts"])
    assert (found["status"], found["exit_status"]) == (("conflicts", 3) if grave else ("done", 0))


def test_a_refusal_is_a_result_too(tmp_path: Path) -> None:
    done = run("plan", "--parcels", LOTS, "--select", "parcel_no=99-99", "--out", tmp_path / "x", "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 2
    assert (found["status"], found["exit_status"]) == ("refused", 2)
    (fault,) = found["faults"]
    assert "99-99" in fault["found"]
    assert fault["found"] in found["message"]


def test_progress_can_be_read_by_a_program(tmp_path: Path) -> None:
    done = run("screen", LOTS, "--reach", "5 ft", "--out", tmp_path / "t.csv", "--workers", 1, "--progress", "json")
    lines = [json.loads(line)["progress"] for line in done.stderr.splitlines() if line.startswith("{")]
    assert lines
    assert lines[-1]["number"] == lines[-1]["of"]
    done = run("plan", PROJECT, "--dry-run", "--progress", "json")
    steps = [json.loads(line)["progress"]["number"] for line in done.stderr.splitlines() if line.startswith("{")]
    assert steps == [1, 2, 3]


def test_quiet_leaves_the_exit_status_to_speak() -> None:
    assert not run("inspect", LOTS, "-q").output


def test_verbose_tells_what_is_read() -> None:
    told = run("inspect", LOTS, "-v").stderr + run("plan", PROJECT, "--dry-run", "-v").stderr
    assert "parcels.geojson" in told


@pytest.mark.parametrize("name", ["plan", "check", "screen"])
def test_help_is_short_and_all_of_it_is_to_be_had(name: str) -> None:
    short, everything = run(name, "--help").output, run(name, "--help-all").output
    assert "--help-all" in short
    assert len(short.splitlines()) < len(everything.splitlines()) / 2
    for info in describe_settings():
        flag = f"--{info.short.replace('_', '-')} "
        assert flag in everything.replace("\n", " \n")
        assert (flag in short) is info.common
    assert "Settings (lengths as '8 ft', '2.4 m' or bare metres): Signal" in everything
    assert "[metric|us]" in short


@pytest.mark.parametrize("name", RUN_COMMANDS)
def test_every_long_command_gives_its_result_as_json(name: str) -> None:
    assert name in COMMANDS
    words = run(name, "--help").output
    assert "--json" in words
    assert "--progress" in words


def test_settings_come_from_a_file_too_and_options_win(tmp_path: Path) -> None:
    chosen = tmp_path / "chosen.json"
    chosen.write_text(json.dumps({"reach": "6 ft", "bend_radius_m": 2.0}), encoding="utf-8")
    rows = {row["setting"]: row for row in json.loads(
        run("settings", PROJECT, "--settings", chosen, "--reach", "7 ft", "--format", "json").stdout
    )}  # fmt: skip
    assert (rows["reach"]["value"], rows["reach"]["source"]) == ("2.1336 m", "option")
    assert (rows["bend_radius"]["value"], rows["bend_radius"]["source"]) == ("2 m", str(chosen))
    assert rows["lot_line_setback"]["value"] == "2.4336 m"
    assert rows["lot_line_setback"]["source"] == "reach + 0.3 m"
    assert rows["slack"]["source"] == "default"
    assert rows["transmitter_volts"]["source"] == "not given"
    assert f"{PROJECT.name} " in run("settings", PROJECT, "--changed").stdout


def test_a_file_of_settings_that_is_none_is_refused(tmp_path: Path) -> None:
    for text, words in (("[1]", "holds no settings"), ("{", "is not JSON"), ('{"reech": 1}', "Did you mean 'reach'")):
        (tmp_path / "s.json").write_text(text, encoding="utf-8")
        found = result_of("plan", PROJECT, "--settings", tmp_path / "s.json", "--dry-run")
        assert words in found["message"]
