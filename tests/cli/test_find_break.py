"""A broken wire is looked for from the command line, in the folder of its plan."""

from __future__ import annotations

import csv
import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from parcelfence.cli.main import parcelfence
from parcelfence.errors import ParcelFenceError
from tests.sample import sample_plan

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

NOTES = """
[[observation]]
kind = "resistance"
result = "open"
[[observation]]
kind = "tone"
at = "L1 300 m"
result = "heard"
note = "<script>alert(1)</script>"
[[observation]]
kind = "tone"
at = "L1 400 m"
result = "silent"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("plans") / "plan"
    sample_plan().write(target, formats=["gpkg"])
    return target


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    path = tmp_path / "notes.toml"
    path.write_text(NOTES, encoding="utf-8")
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(parcelfence, ["find-break", *map(str, words)])


def as_json(*words: object) -> dict[str, Any]:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    data: dict[str, Any] = json.loads(result.output)
    return data


def test_it_names_the_stretch_and_the_next_test(folder: Path, notes: Path) -> None:
    data = as_json(folder, "--observe", notes)
    best = data["named"]["stretches"][0]
    assert best["probability"] > 0.6
    assert "loop L1, " in best["place"]
    assert best["to_path_m"] - best["from_path_m"] > 100.0
    told = {one["kind"]: one for one in data["next"]}
    assert 0.3 < told["tone"]["bits"] < 1.0
    assert "Feed the tone into terminal A" in told["tone"]["do"]
    assert data["agrees"]
    text = run(folder, "--observe", notes).output
    assert re.search(r"Most likely at station \S+ of loop L1", text)
    assert "Unplug the transmitter first" in text


def test_page_table_and_summary_are_written_together(folder: Path, notes: Path, tmp_path: Path) -> None:
    out = tmp_path / "found"
    assert run(folder, "--observe", notes, "--out", out).exit_code == 0
    assert sorted(path.name for path in out.iterdir()) == ["break.csv", "break.html", "summary.json"]
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    rows = list(csv.DictReader((out / "break.csv").read_text(encoding="utf-8").splitlines()))
    located = [float(row["probability"]) for row in rows]
    assert sum(located) + summary["not_in_the_wire"] == pytest.approx(1.0, abs=1e-3)
    named = sum(float(row["length_m"]) for row in rows if row["named"] == "1")
    assert named == pytest.approx(summary["named"]["length_m"], abs=0.1)
    assert max(rows, key=lambda row: float(row["probability"]))["loop_id"] == "L1"
    page = (out / "break.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    first = {path.name: path.read_bytes() for path in out.iterdir()}
    assert run(folder, "--observe", notes, "--out", out, "--overwrite").exit_code == 0
    assert {path.name: path.read_bytes() for path in out.iterdir()} == first


def test_what_stands_there_is_not_overwritten(folder: Path, notes: Path, tmp_path: Path) -> None:
    out = tmp_path / "found"
    out.mkdir()
    (out / "letter.txt").write_text("mine", encoding="utf-8")
    result = run(folder, "--observe", notes, "--out", out, "--overwrite")
    assert isinstance(result.exception, ParcelFenceError)
    assert (out / "letter.txt").read_text(encoding="utf-8") == "mine"


def test_a_higher_probability_names_more_wire(folder: Path, notes: Path) -> None:
    lengths = [
        as_json(folder, "--observe", notes, "--probability", share)["named"]["length_m"] for share in (0.5, 0.8, 0.95)
    ]
    assert lengths == sorted(lengths)
    assert lengths[0] < lengths[2]
