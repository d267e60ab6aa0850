"""Alternatives written: table, pictures, and the plan of the chosen one."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as ET  # noqa: S405  (our own text)
from functools import cache
from typing import TYPE_CHECKING

import pytest
from shapely import Point, box

from parcelfence import compare
from parcelfence.errors import OutputError
from parcelfence.outputs.comparison import COLUMNS
from parcelfence.outputs.picture import picture
from tests.sample import sample_plan, sample_site

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.alternatives import Comparison

SVG = "{http://www.w3.org/2000/svg}"


@cache
def comparison() -> Comparison:
    from dataclasses import replace

    named = replace(sample_site(), name="<b>Heron</b> {{7*7}}")
    return compare(named, reaches=(1.5, 25.0))


def test_the_table_has_a_row_for_each_with_types() -> None:
    table = comparison().table()
    assert list(table.columns) == list(COLUMNS)
    assert {name: str(kind) for name, kind in table.dtypes.items()} == COLUMNS
    assert list(table["reach_m"]) == [25.0, 1.5]
    assert table["free_m2"].isna().tolist() == [True, False]
    assert table["reason"].str.len().gt(0).tolist() == [True, False]
    assert table["free_share_of_lot"][1] == pytest.approx(table["free_m2"][1] / sample_site().parcel.area)


def test_a_folder_is_whole_and_known_as_ours(tmp_path: Path) -> None:
    folder = tmp_path / "compared"
    comparison().write(folder)
    assert {path.name for path in folder.iterdir()} == {"compare.html", "compare.csv", "summary.json"}
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(OutputError, match="exists already"):
        comparison().write(folder)
    comparison().write(folder, overwrite=True, choose=2)
    assert (folder / "plan" / "map.html").exists()
    assert (folder / "plan" / "summary.json").exists()
    comparison().write(folder, overwrite=True)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first


def test_figures_agree_between_page_table_and_record(tmp_path: Path) -> None:
    folder = tmp_path / "compared"
    comparison().write(folder)
    with (folder / "compare.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    record = json.loads((folder / "summary.json").read_text(encoding="utf-8"))["alternatives"]
    assert [float(row["free_m2"]) for row in rows[1:]] == [round(row["free_m2"], 3) for row in record[1:]]
    page = (folder / "compare.html").read_text(encoding="utf-8")
    assert f"{record[1]['free_m2'] / 1e4:.2f} ha" in page
    assert page.count("<figure>") == 2
    assert "No plan." in page


def test_text_of_files_shows_as_text(tmp_path: Path) -> None:
    comparison().write(tmp_path / "compared")
    page = (tmp_path / "compared" / "compare.html").read_text(encoding="utf-8")
    assert "<b>Heron" not in page
    assert "{{" not in page
    assert not re.search(r"(?:src|href)\s*=|url\(|@import", page)


def test_an_alternative_without_a_plan_is_not_chosen_and_nothing_is_written(tmp_path: Path) -> None:
    for number, words in ((1, "it has no plan"), (9, "there is no number 9")):
        with pytest.raises(OutputError, match=words):
            comparison().write(tmp_path / "compared", choose=number)
    assert not list(tmp_path.iterdir())


def test_a_picture_is_well_formed_and_shows_wire_and_transmitter_inside_its_frame() -> None:
    root = ET.fromstring(picture(sample_plan(), width_px=200, height_px=160))  # noqa: S314  (our own text)
    assert root.get("viewBox") == "0 0 200 160"
    circles = [(float(one.get("cx", "nan")), float(one.get("cy", "nan"))) for one in root.iter(f"{SVG}circle")]
    assert len(circles) > 1
    assert all(box(0, 0, 200, 160).buffer(5).covers(Point(place)) for place in circles)
    numbers = [
        float(word) for path in root.iter(f"{SVG}path") for word in re.findall(r"-?\d+\.?\d*", path.get("d", ""))
    ]
    assert min(numbers) >= -5
    assert max(numbers) <= 205


def test_a_picture_keeps_the_shape_of_the_ground() -> None:
    """North is up and both axes have one scale: the lot's own proportions come out."""
    plan = sample_plan()
    root = ET.fromstring(picture(plan, width_px=400, height_px=400))  # noqa: S314  (our own text)
    west, south, east, north = plan.site.parcel.bounds
    drawn = [re.findall(r"(-?\d+\.?\d*) (-?\d+\.?\d*)", path.get("d", "")) for path in root.iter(f"{SVG}path")]
    spans = [
        (max(float(x) for x, _ in path) - min(float(x) for x, _ in path))
        / max(1e-9, max(float(y) for _, y in path) - min(float(y) for _, y in path))
        for path in drawn
        if path
    ]
    assert any(span == pytest.approx((east - west) / (north - south), rel=0.005) for span in spans)
