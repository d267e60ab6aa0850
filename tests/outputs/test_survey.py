"""The survey sheet: its rows invert from their own coordinates, in any system."""

from __future__ import annotations

import csv
import json
import math
from itertools import pairwise, starmap
from typing import TYPE_CHECKING

import pytest
from pyproj import CRS, Geod, Transformer
from shapely import Polygon

from parcelfence.outputs.registry import write
from parcelfence.outputs.survey import COLUMNS
from parcelfence.units import US_SURVEY_FOOT_M
from tests.traverse import azimuth_of

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan

_STATE_PLANE = "EPSG:6535"
"""NAD83(2011) / New York Central in US survey feet (EPSG registry)."""


def _rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "survey.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _ends(row: dict[str, str]) -> tuple[tuple[float, float], tuple[float, float]]:
    return (
        (float(row["from_easting"]), float(row["from_northing"])),
        (float(row["to_easting"]), float(row["to_northing"])),
    )


def test_the_wire_is_there_course_by_course(written: Path, plan: Plan) -> None:
    rows = _rows(written)
    assert tuple(rows[0]) == COLUMNS
    assert [row["loop"] for row in rows] == sorted(
        (row["loop"] for row in rows), key=["L1", "K1", "F1", "lot line 1"].index
    )
    for run in plan.loop.runs:
        own = [row for row in rows if row["loop"] == run.loop_id]
        assert [int(row["number"]) for row in own] == list(range(1, len(own) + 1))
        assert all(before["to_station"] == after["from_station"] for before, after in pairwise(own))
        length_m = sum(float(row["ground_distance"]) for row in own)
        assert length_m == pytest.approx(run.line.length, rel=0.002)  # arcs are longer than their drawn chords
    lines = [row for row in rows if row["loop"] == "L1" and row["kind"] == "line"]
    assert sorted(float(row["lot_line_offset"]) for row in lines) == pytest.approx([3.3] * len(lines), abs=0.01)


@pytest.mark.parametrize("dst_crs", [None, _STATE_PLANE])
def test_every_row_inverts_from_its_coordinates(plan: Plan, tmp_path: Path, dst_crs: str | None) -> None:
    for row in _rows(write(plan, tmp_path / "out", formats=["survey"], dst_crs=dst_crs)):
        (west, south), (east, north) = _ends(row)
        chord = math.hypot(east - west, north - south)
        if chord < 1:
            continue
        azimuth = math.degrees(math.atan2(east - west, north - south)) % 360
        close = math.degrees(0.002 / chord)
        assert abs((float(row["azimuth_deg"]) - azimuth + 180) % 360 - 180) < close
        assert abs((azimuth_of(row["bearing"]) - azimuth + 180) % 360 - 180) < close + 1 / 3600
        if row["kind"] == "line":
            assert float(row["distance"]) == pytest.approx(chord, abs=0.002)
        else:
            half = math.radians(float(row["delta_deg"])) / 2
            assert 2 * float(row["radius"]) * math.sin(half) == pytest.approx(chord, abs=0.005)
            assert 2 * float(row["radius"]) * half == pytest.approx(float(row["distance"]), abs=0.005)


def test_feet_of_the_state_plane_are_grid_feet(plan: Plan, tmp_path: Path) -> None:
    """Ground distances by Karney (2013) through pyproj.Geod from the written coordinates."""
    folder = write(plan, tmp_path / "out", formats=["survey"], dst_crs=_STATE_PLANE)
    told = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert told["files"]["survey.csv"]["unit"] == "US survey foot"
    assert told["files"]["survey.csv"]["columns"] == list(COLUMNS)
    to_degrees = Transformer.from_crs(_STATE_PLANE, CRS.from_epsg(6318), always_xy=True)
    rows = [row for row in _rows(folder) if row["loop"] == "lot line 1"]
    assert len(rows) == 4
    factor = told["survey"]["scale"]["grid_factor"]
    assert factor != 1.0
    for row in rows:
        start, end = starmap(to_degrees.transform, _ends(row))
        geodesic = Geod(ellps="GRS80").inv(*start, *end)[2] / US_SURVEY_FOOT_M
        assert float(row["ground_distance"]) == pytest.approx(geodesic, abs=0.003)
        assert float(row["distance"]) == pytest.approx(geodesic * factor, abs=0.003)


def test_the_summary_closes_the_parcel_and_states_the_scale(written: Path, plan: Plan) -> None:
    told = json.loads((written / "summary.json").read_text(encoding="utf-8"))["survey"]
    assert isinstance(plan.site.parcel, Polygon)
    (outline,) = told["parcel"]
    assert outline == {"perimeter_m": 220.0, "misclosure_m": 0.0, "precision_one_in": None, "area_m2": 3000.0}
    assert told["scale"]["combined_factor"] == told["scale"]["grid_factor"] * told["scale"]["elevation_factor"] == 1.0


def test_a_web_mercator_has_no_grid_factor(plan: Plan, tmp_path: Path) -> None:
    folder = write(plan, tmp_path / "out", formats=["survey"], dst_crs="EPSG:3857")
    told = json.loads((folder / "summary.json").read_text(encoding="utf-8"))["survey"]["scale"]
    assert (told["grid_factor"], told["elevation_factor"], told["combined_factor"]) == (None, 1.0, None)


def test_no_cell_is_a_formula(nasty_written: Path) -> None:
    cells = [cell for row in _rows(nasty_written) for cell in row.values()]
    assert cells
    assert not [cell for cell in cells if cell[:1] in set("=+-@")]
