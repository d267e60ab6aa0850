"""The stakeout file, as a data collector or a GIS reads it."""

from __future__ import annotations

import csv
import json
import re
from typing import TYPE_CHECKING

import geopandas
import pytest

from parcelfence import planning
from parcelfence.outputs.registry import write
from parcelfence.site.reading import read_site
from parcelfence.units import station_label
from tests.sample import SAMPLE

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan


def _rows(folder: Path) -> list[list[str]]:
    with (folder / "stakeout.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def test_every_point_is_there_once_in_the_survey_order(written: Path, plan: Plan) -> None:
    rows = _rows(written)
    take_off = plan.take_off
    count = len(take_off.stations) + len(plan.crossings) + len(take_off.sequence.splices) + 1 + len(take_off.flags)
    assert [int(row[0]) for row in rows] == list(range(1, count + 1))
    first = take_off.stations[1]
    assert float(rows[1][1]) == pytest.approx(first.point.y, abs=5e-4)
    assert float(rows[1][2]) == pytest.approx(first.point.x, abs=5e-4)
    assert rows[1][4] == f"WIRE L1 {station_label(first.station_m, style=plan.settings.station_format)} regular"
    assert {len(row) for row in rows} == {5}


def test_no_elevation_is_made_up(written: Path) -> None:
    assert {row[3] for row in _rows(written)} == {""}


def test_the_summary_says_what_the_columns_are(written: Path) -> None:
    told = json.loads((written / "summary.json").read_text(encoding="utf-8"))["files"]["stakeout.csv"]
    assert told["columns"] == ["point", "northing", "easting", "elevation", "description"]
    assert told["crs"] == "Local metres on NAD83(2011)"
    assert told["unit"] == "metre"


def test_coordinates_follow_the_crs_that_was_asked_for(plan: Plan, tmp_path: Path) -> None:
    folder = write(plan, tmp_path / "out", formats=["stakeout"], dst_crs="EPSG:6535")
    rows = _rows(folder)
    assert float(rows[0][1]) > 1e5  # US survey feet of the state plane
    told = json.loads((folder / "summary.json").read_text(encoding="utf-8"))["files"]["stakeout.csv"]
    assert told["unit"] == "US survey foot"


def test_beside_coordinates_in_feet_no_description_speaks_of_metres(tmp_path: Path) -> None:
    from plan_fixture import hand_made_plan

    plan = hand_made_plan(units="metric")
    folder = write(plan, tmp_path / "out", formats=["stakeout"], dst_crs="EPSG:6535")
    words = [row[4] for row in _rows(folder)]
    assert not [text for text in words if re.search(r"\d m\b", text)]
    second = plan.take_off.stations[1]
    assert f"WIRE L1 {station_label(second.station_m, style='us')} regular" in words


def test_no_cell_is_a_formula_and_no_line_is_broken(nasty_written: Path, plan: Plan) -> None:
    rows = _rows(nasty_written)
    assert len(rows) == len(_rows(nasty_written.parent / "out"))
    assert not [cell for row in rows for cell in row if cell[:1] in tuple("=+@\t\r") or cell[:2] in {"-=", "-+"}]
    assert len((nasty_written / "stakeout.csv").read_text(encoding="utf-8").splitlines()) == len(rows)
    assert len(rows) > len(plan.take_off.flags)


def test_the_side_file_names_a_local_grid(written: Path, plan: Plan) -> None:
    text = (written / "stakeout.txt").read_text(encoding="utf-8")
    assert "point, northing, easting, elevation, description" in text
    assert "LOCAL GRID" in text
    assert plan.site.frame.crs.name in text


def test_points_come_in_the_public_system_of_the_parcels(tmp_path: Path) -> None:
    feet = SAMPLE / "state_plane_feet"
    site = read_site(parcels=feet / "parcels.shp", buildings=feet / "buildings.shp", select="parcel_no=31-07")
    made = planning.plan(site)
    written = write(made, tmp_path / "out", formats=["stakeout", "dxf", "survey"])
    text = (written / "stakeout.txt").read_text(encoding="utf-8")
    assert "EPSG:6535" in text
    assert "US survey foot" in text
    assert "LOCAL GRID" not in text
    west, south, east, north = geopandas.read_file(feet / "parcels.shp").total_bounds
    assert all(west < float(row[2]) < east and south < float(row[1]) < north for row in _rows(written))
    assert json.loads((written / "summary.json").read_text())["files"]["stakeout.csv"]["unit"] == "US survey foot"
