from __future__ import annotations

import time
from typing import TYPE_CHECKING

import geopandas
import pandas as pd
import pyarrow.dataset
import pytest
from click.testing import CliRunner, Result

from parcelfence import many, screening
from parcelfence.cli.screen import screen
from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.source import Source
from parcelfence.outputs import screening_table
from parcelfence.planning import plan
from parcelfence.settings import Settings
from parcelfence.site.reading import read_site
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
    assert without["reason"].str.contains("no loop fits|ground free").all()
    assert without.geometry.is_empty.all() or without.geometry.isna().all()


def test_workers_and_one_process_agree(tmp_path: Path) -> None:
    run(LOTS, "--workers", 1, "--out", tmp_path / "one.csv")
    assert run(LOTS, "--workers", 2, "--out", tmp_path / "two.csv").exit_code == 0
    assert (tmp_path / "one.csv").read_text() == (tmp_path / "two.csv").read_text()


def test_a_stopped_run_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screening, "SLICE", 2)
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


@pytest.mark.parametrize("ending", ["gpkg", "csv", "geojson"])
def test_a_run_killed_after_its_table_stood_ends_with_the_same_bytes(
    ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / f"t.{ending}"
    forget = screening_table.Parts.forget
    monkeypatch.setattr(screening_table.Parts, "forget", lambda _self: (_ for _ in ()).throw(KeyboardInterrupt))
    assert run(LOTS, "--workers", 1, "--out", table).exit_code != 0
    first = table.read_bytes()
    monkeypatch.setattr(screening_table.Parts, "forget", forget)
    assert run(LOTS, "--workers", 1, "--out", table).exit_code == 0
    assert table.read_bytes() == first
    assert [path.name for path in tmp_path.iterdir()] == [table.name]


def test_other_settings_start_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    forget = screening_table.Parts.forget
    monkeypatch.setattr(screening_table.Parts, "forget", lambda _self: None)
    run(LOTS, "--workers", 1, "--reach", "1 m", "--out", tmp_path / "t.csv")
    monkeypatch.setattr(screening_table.Parts, "forget", forget)
    result = run(LOTS, "--workers", 1, "--reach", "2 m", "--out", tmp_path / "t.csv")
    assert "--overwrite" in str(result.exception)
    assert run(LOTS, "--workers", 1, "--reach", "2 m", "--overwrite", "--out", tmp_path / "t.csv").exit_code == 0
    assert set(pd.read_csv(tmp_path / "t.csv")["reach_m"]) == {2.0}


def test_the_keys_of_the_parcels_come_first_and_join_back(tmp_path: Path) -> None:
    assert run(LOTS, "--workers", 1, "--keep", "parcel_no", "--out", tmp_path / "t.gpkg").exit_code == 0
    rows = geopandas.read_file(tmp_path / "t.gpkg")
    assert rows.columns[0] == "parcel_no"
    parcels = geopandas.read_file(LOTS)
    joined = parcels.merge(rows.drop(columns="geometry"), on="parcel_no")
    assert len(joined) == len(parcels)
    assert joined["free_m2"].gt(0.0).all()
    unknown = run(LOTS, "--keep", "parcel_nr", "--out", tmp_path / "u.csv")
    assert "parcel_no" in str(unknown.exception)


def test_several_reaches_and_prices(tmp_path: Path) -> None:
    arguments = ("--reaches", "1 m, 5 ft", "--price", "single_wire_per_m=0.5", "--out", tmp_path / "t.csv")
    assert run(LOTS, "--workers", 1, *arguments).exit_code == 0
    rows = pd.read_csv(tmp_path / "t.csv")
    assert len(rows) == 12
    assert set(rows["reach_m"]) == {1.0, 1.524}
    free = rows.pivot_table(index="position", columns="reach_m", values="free_m2")
    assert (free[1.0] > free[1.524]).all()
    assert (rows["cost"] >= 0.5 * rows["loop_m"]).all()
    assert isinstance(run(LOTS, "--price", "gold=1", "--out", tmp_path / "g.csv").exception, ParcelFenceError)


def test_selected_parcels_alone_have_rows(tmp_path: Path) -> None:
    assert run(LOTS, "--workers", 1, "--select", "parcel_no=31-07", "--out", tmp_path / "t.csv").exit_code == 0
    assert pd.read_csv(tmp_path / "t.csv")["position"].tolist() == [4]
    assert run(LOTS, "--parcels", LOTS, "--out", tmp_path / "u.csv").exit_code == 2


def test_a_parcel_that_takes_too_long_is_a_row_with_that_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(*_: object, **__: object) -> None:
        until = time.monotonic() + 60.0
        while time.monotonic() < until:
            pass

    monkeypatch.setattr(many, "measure", slow)
    arguments = ("--select", "parcel_no=31-07", "--limit-seconds", 0.2, "--out", tmp_path / "t.csv")
    assert run(LOTS, "--workers", 1, *arguments).exit_code == 0
    row = pd.read_csv(tmp_path / "t.csv").iloc[0]
    assert row["status"] == "refused"
    assert "within 0.2 s" in row["reason"]


def test_parts_of_geoparquet_are_one_table_for_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screening, "SLICE", 2)
    monkeypatch.setattr(screening_table, "_ROWS_AT_A_TIME", 2)
    table = tmp_path / "t.parquet"
    assert run(LOTS, "--workers", 1, "--keep", "parcel_no", "--partitioned", "--out", table).exit_code == 0
    assert len(list(table.iterdir())) == 3
    assert len(geopandas.read_parquet(table)) == 6
    assert pyarrow.dataset.dataset(table).count_rows() == 6


def test_slices_read_no_more_than_they_need_and_find_the_same(tmp_path: Path) -> None:
    """The same parcels as GeoPackage, of which each slice reads its part, and as GeoJSON, which is read whole."""
    geopandas.read_file(LOTS).to_file(tmp_path / "lots.gpkg")
    geopandas.read_file(SAMPLE / "buildings.geojson").to_crs(32618).to_file(tmp_path / "houses.gpkg")
    tables = []
    for lots, houses in ((LOTS, SAMPLE / "buildings.geojson"), (tmp_path / "lots.gpkg", tmp_path / "houses.gpkg")):
        sources = (Source(role="parcels", path=lots), Source(role="buildings", path=houses))
        job = screening.ScreeningJob(sources=sources, settings=Settings())
        assert screening.slices(job, size=4) == [(0, 4), (4, 6)]
        tables.append([row for task in screening.slices(job, size=4) for row in screening.outcomes(job, task)])
    whole, parts = tables
    assert [(row.status, row.must_fix, row.cautions) for row in whole] == [
        (row.status, row.must_fix, row.cautions) for row in parts
    ]
    for one, other in zip(whole, parts, strict=True):
        assert one.free_m2 == pytest.approx(other.free_m2, rel=1e-4)
        assert one.wire_m == pytest.approx(other.wire_m, rel=1e-4)


def test_a_row_says_what_a_full_plan_says() -> None:
    job = screening.ScreeningJob(sources=(Source(role="parcels", path=LOTS),), settings=Settings(reach_m=1.5))
    for row in screening.outcomes(job, (0, 6)):
        finished = plan(read_site(parcels=LOTS, select=f"feature={row.position}"), Settings(reach_m=1.5))
        severities = [conflict.severity for conflict in finished.conflicts if conflict.rule != "repaired-input"]
        assert row.free_m2 == finished.zones.free_ground.area
        assert row.wire_m == finished.take_off.sequence.conductor_length_m
        assert [row.must_fix, row.cautions, row.notes] == [
            severities.count(severity) for severity in ("must_fix", "caution", "note")
        ]


def test_a_feature_without_geometry_has_a_row_too(tmp_path: Path) -> None:
    lots = geopandas.read_file(LOTS)
    lots.loc[1, "geometry"] = None
    lots.to_file(tmp_path / "lots.gpkg")
    assert run(tmp_path / "lots.gpkg", "--workers", 1, "--out", tmp_path / "t.csv").exit_code == 0
    rows = pd.read_csv(tmp_path / "t.csv")
    assert rows["status"].tolist()[1] == "refused"
    assert "feature 2" in rows["reason"][1]


def test_one_bad_parcel_is_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault of our own")

    monkeypatch.setattr(many, "measure", broken)
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
