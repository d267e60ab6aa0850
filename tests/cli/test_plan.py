from __future__ import annotations

import hashlib
import json
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest
import rasterio
from click.testing import CliRunner, Result

from parcelfence.cli.plan import plan
from parcelfence.cli.run import in_options
from parcelfence.errors import ParcelFenceError
from tests.sample import PROJECT, SAMPLE, sample_site

if TYPE_CHECKING:
    from pathlib import Path

CONTRACT = {
    "plan.gpkg", "plan.qgs", "map.html", "worksheet.html", "owner.html", "training.html",
    "stakeout.csv", "stakeout.txt", "flags.gpx",
    "plan.dxf",
    "summary.json", "geojson", "SITE.toml",
}  # fmt: skip
LOTS = str(SAMPLE / "parcels.geojson")
FEET = SAMPLE / "state_plane_feet"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(plan, [str(argument) for argument in arguments])


def refused(*arguments: object) -> str:
    result = run(*arguments)
    assert isinstance(result.exception, ParcelFenceError), result.output
    return in_options(result.exception)


@pytest.fixture(scope="session")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    out = tmp_path_factory.mktemp("sample") / "plan"
    return out, run(PROJECT, "--out", out)


def hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_sample_gives_the_whole_contract(planned: tuple[Path, Result]) -> None:
    out, result = planned
    assert result.exit_code == 0, result.output
    assert {path.name for path in out.iterdir()} == CONTRACT
    assert not list(out.parent.glob(".*"))


def test_the_report_speaks_in_plain_words(planned: tuple[Path, Result]) -> None:
    _, result = planned
    for words in ("Heron Bend", "encloses", "stay free to roam", "0 must be fixed", "map.html", "call the utility"):
        assert words in result.output


def test_the_same_input_gives_the_same_bytes(planned: tuple[Path, Result], tmp_path: Path) -> None:
    assert run(PROJECT, "--out", tmp_path / "again").exit_code == 0
    assert hashes(tmp_path / "again") == hashes(planned[0])


def test_the_summary_holds_every_setting_and_no_path_of_this_machine(planned: tuple[Path, Result]) -> None:
    text = (planned[0] / "summary.json").read_text(encoding="utf-8")
    settings = json.loads(text)["settings"]
    assert settings["reach_m"] == pytest.approx(2.4384)
    assert settings["lot_line_setback_m"] == pytest.approx(2.7384)
    assert {"bend_radius_m", "utility_separation_m", "crossing_tolerance_deg", "receiver_height_m"} <= set(settings)
    assert str(SAMPLE) not in text


def test_files_and_settings_may_be_given_as_options(tmp_path: Path) -> None:
    result = run(
        *("--parcels", LOTS, "--buildings", SAMPLE / "buildings.geojson", "--marks", SAMPLE / "marks_lines.geojson"),
        *("--select", "parcel_no=31-07", "--reach", "6 ft", "--units", "us", "--out", tmp_path / "out"),
        *("--formats", "geojson"),
    )
    assert result.exit_code in {0, 3}, result.output
    assert "reach 6.0 ft" in result.output
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"geojson", "summary.json", "SITE.toml"}


def test_an_existing_folder_is_left_alone(planned: tuple[Path, Result]) -> None:
    before = hashes(planned[0])
    assert "--overwrite" in refused(PROJECT, "--out", planned[0])
    assert hashes(planned[0]) == before


def test_overwriting_replaces_a_plan_but_no_stranger_s_folder(planned: tuple[Path, Result], tmp_path: Path) -> None:
    out = tmp_path / "plan"
    shutil.copytree(planned[0], out)
    assert run(PROJECT, "--out", out, "--overwrite", "--formats", "geojson").exit_code == 0
    assert not (out / "map.html").exists()
    papers = tmp_path / "papers"
    papers.mkdir()
    (papers / "deed.txt").write_text("mine")
    assert "deed.txt" in refused(PROJECT, "--out", papers, "--overwrite")
    assert (papers / "deed.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--parcels", LOTS], ["6 parcels", "--select"]),
        (["--parcels", LOTS, "--select", "parcelno=31-07"], ["no field 'parcelno'", "parcel_no"]),
        (["--parcels", LOTS, "--select", "parcel_no=31-70"], ["31-70", "31-07"]),
        (["--parcels", "nowhere.geojson"], ["nowhere.geojson does not exist"]),
        (["--parcels", SAMPLE / "marks_lines.geojson"], ["marks_lines.geojson"]),
        (["--parcels", SAMPLE / "README.md"], ["README.md"]),
        (["--parcels", LOTS, "--select", "parcel_no=31-07", "--reach", "8 parsecs"], ["parsecs", "ft"]),
        (
            ["--parcels", LOTS, "--select", "parcel_no=31-07", "--reach", "25 m"],
            ["reach of 25.0 m", "0.0 m2 of ground free"],
        ),
        (["--parcels", LOTS, "--select", "parcel_no=31-07", "--working-crs", "EPSG:3857"], ["stretches lengths"]),
        (
            ["--parcels", LOTS, "--select", "parcel_no=31-07", "--working-crs", "nonsense"],
            ["'nonsense' is no coordinate reference system"],
        ),
        (["--parcels", LOTS, "--select", "parcel_no=31-07", "--formats", "pdff"], ["pdff"]),
        (["--parcels", LOTS, "--select", "parcel_no=31-07", "--layers", "wires"], ["wire"]),
        ([], ["--help"]),
    ],
)
def test_what_cannot_be_used_is_said_and_nothing_is_written(
    arguments: list[object], words: list[str], tmp_path: Path
) -> None:
    message = refused(*arguments, "--out", tmp_path / "out")
    for word in words:
        assert word in message, message
    assert not list(tmp_path.iterdir())


def test_a_shapefile_without_a_crs_is_refused_until_it_is_given(tmp_path: Path) -> None:
    for ending in ("shp", "shx", "dbf"):
        shutil.copy(FEET / f"parcels.{ending}", tmp_path / f"lots.{ending}")
    lots = ["--parcels", tmp_path / "lots.shp", "--select", "parcel_no=31-07", "--formats", "geojson"]
    assert "--crs" in refused(*lots, "--out", tmp_path / "out")
    assert run(*lots, "--crs", "EPSG:6535", "--out", tmp_path / "out").exit_code in {0, 3}


def test_with_elevations_lengths_are_along_the_ground(tmp_path: Path, planned: tuple[Path, Result]) -> None:
    frame = sample_site().frame
    path = tmp_path / "dem.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=300,
        height=300,
        count=1,
        dtype="float32",
        crs=frame.crs.to_wkt(),
        transform=rasterio.Affine(2, 0, 9700, 0, -2, 10300),
    ) as dataset:
        dataset.write(np.tile(0.75 * 2 * np.arange(300, dtype="float32") / 0.3048, (300, 1)), 1)
    elevation = ["--elevation", path, "--elevation-unit", "ft", "--formats", "geojson"]
    assert run(PROJECT, *elevation, "--out", tmp_path / "out").exit_code in {0, 3}
    flat, sloping = (json.loads((out / "summary.json").read_text()) for out in (planned[0], tmp_path / "out"))
    assert 1.05 < sloping["figures"]["conductor_length_m"] / flat["figures"]["conductor_length_m"] < 1.25
    assert sloping["figures"]["stations"] == flat["figures"]["stations"]
    assert any("along the ground by the elevations of dem.tif" in remark for remark in sloping["remarks"])
    assert [record["name"] for record in sloping["provenance"]["inputs"] if record["role"] == "elevation"] == [
        "dem.tif"
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--elevation", "nowhere.tif"], "nowhere.tif"),
        (["--elevation", LOTS], "Elevations are read from a GeoTIFF"),
        (["--elevation-unit", "ft"], "--elevation FILE"),
        (["--elevation", LOTS, "--elevation-unit", "ells"], "'ells'"),
    ],
)
def test_elevations_that_cannot_be_used_are_refused(arguments: list[str], words: str, tmp_path: Path) -> None:
    assert words in refused(PROJECT, *arguments, "--out", tmp_path / "out")
