from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import pytest
from click.testing import CliRunner, Result

from parcelfence import screening
from parcelfence.cli.screen import screen
from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.source import Source
from parcelfence.settings import Settings
from tests.sample import SAMPLE

if TYPE_CHECKING:
    from pathlib import Path

LOTS = SAMPLE / "parcels.geojson"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(screen, [str(argument) for argument in arguments])


@pytest.mark.parametrize("ending", ["gpkg", "fgb", "geojson", "csv"])
def test_every_parcel_gets_one_row(ending: str, tmp_path: Path) -> None:
    table = tmp_path / f"table.{ending}"
    result = run(LOTS, "--reach", "1.5 m", "--workers", 1, "--out", table)
    assert result.exit_code == 0, result.output
    assert "6 parcels" in result.output
    rows = geopandas.read_file(table)
    assert len(rows) == 6
    assert set(rows["status"]) <= {"planned", "no_loop"}
    assert [path.name for path in tmp_path.iterdir()] == [table.name]


def test_a_parcel_without_room_has_its_reason(tmp_path: Path) -> None:
    assert run(LOTS, "--reach", "30 m", "--workers", 1, "--out", tmp_path / "t.geojson").exit_code == 0
    rows = geopandas.read_file(tmp_path / "t.geojson")
    without = rows[rows["status"] == "no_loop"]
    assert len(without)
    assert without["reason"].str.contains("no loop fits").all()
    assert without.geometry.is_empty.all() or without.geometry.isna().all()


def test_workers_and_one_process_agree(tmp_path: Path) -> None:
    run(LOTS, "--workers", 1, "--out", tmp_path / "one.csv")
    assert run(LOTS, "--workers", 2, "--out", tmp_path / "two.csv").exit_code == 0
    assert (tmp_path / "one.csv").read_text() == (tmp_path / "two.csv").read_text()


def test_a_stopped_run_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screening, "SLICE", 2)
    monkeypatch.setattr(screening.slices, "__kwdefaults__", {"size": 2})
    planned: list[tuple[int, int]] = []
    work = screening.outcomes

    def stopping(job: screening.ScreeningJob, task: tuple[int, int]) -> list[screening.Outcome]:
        if len(planned) == 2:
            raise KeyboardInterrupt
        planned.append(task)
        return work(job, task)

    monkeypatch.setattr(screening, "outcomes", stopping)
    assert run(LOTS, "--workers", 1, "--out", tmp_path / "t.csv").exit_code != 0
    assert not (tmp_path / "t.csv").exists()
    monkeypatch.setattr(screening, "outcomes", lambda job, task: planned.append(task) or work(job, task))
    assert run(LOTS, "--workers", 1, "--out", tmp_path / "t.csv").exit_code == 0
    assert sorted(planned) == [(0, 2), (2, 4), (4, 6)]


def test_one_bad_parcel_is_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a fault of our own")

    monkeypatch.setattr(screening, "plan", broken)
    job = screening.ScreeningJob(sources=(Source(role="parcels", path=LOTS),), settings=Settings())
    rows = screening.outcomes(job, (0, 2))
    assert [row.status for row in rows] == ["failed", "failed"]
    assert "ZeroDivisionError" in rows[0].reason


@pytest.mark.parametrize(
    ("table", "words"), [("t.xlsx", "names no format"), ("taken.csv", "--overwrite")], ids=["ending", "taken"]
)
def test_a_table_that_must_not_be_written_is_refused(table: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "taken.csv").write_text("mine")
    result = run(LOTS, "--out", tmp_path / table)
    assert isinstance(result.exception, ParcelFenceError)
    assert words in str(result.exception)
    assert (tmp_path / "taken.csv").read_text() == "mine"
