from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parcelfence.errors import SettingsError
from parcelfence.inputs.project_file import read_project

if TYPE_CHECKING:
    from pathlib import Path


def project(tmp_path: Path, text: str) -> Path:
    (tmp_path / "lots.geojson").write_text("{}")
    (tmp_path / "marks.shp").write_text("")
    path = tmp_path / "SITE.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_project_names_files_beside_itself(tmp_path: Path) -> None:
    path = project(
        tmp_path,
        """
        [site]
        name = "Elder Fold"
        select = ["pid=1", "pid=2"]
        [layers]
        parcels = "lots.geojson"
        marks = ["marks.shp", { path = "marks.shp", crs = "EPSG:2229", kind_field = "UTIL", accuracy_m = 0.5 }]
        [settings]
        reach = "8 ft"
        [prices]
        wire_per_m = 0.4
        """,
    )
    read = read_project(path, overrides={"reach_m": "6 ft"})
    assert read.name == "Elder Fold"
    assert read.select == ("pid=1", "pid=2")
    assert [source.role for source in read.sources] == ["parcels", "marks", "marks"]
    assert read.sources[0].path == tmp_path / "lots.geojson"
    assert read.sources[2].kind_field == "UTIL"
    assert read.settings.reach_m == pytest.approx(1.8288)
    assert read.prices == {"wire_per_m": 0.4}


def test_options_win_over_the_file_by_either_name(tmp_path: Path) -> None:
    path = project(tmp_path, '[layers]\nparcels = "lots.geojson"\n[settings]\nreach = "8 ft"\n')
    assert read_project(path, overrides={"reach_m": 1.0}).settings.reach_m == 1.0


def test_all_faults_of_files_and_settings_come_together(tmp_path: Path) -> None:
    path = project(
        tmp_path, '[layers]\nmarkz = "marks.shp"\nbuildings = "gone.geojson"\n[settings]\nreech = 2\nslack = -4\n'
    )
    with pytest.raises(SettingsError) as caught:
        read_project(path)
    message = str(caught.value)
    for words in ("markz", "did you mean 'marks'", "gone.geojson", "no parcels", "reech", "slack"):
        assert words in message.replace("Did", "did"), words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[layers\n", "not TOML"),
        ("[layers]\nparcels = 3\n", "parcels"),
        ("[sites]\n[layers]\nparcels = 'lots.geojson'\n", "did you mean 'site'"),
        ("[site]\nnam = 'x'\n[layers]\nparcels = 'lots.geojson'\n", "did you mean 'name'"),
        ("[site]\nname = 'x'\n", "'layers' is missing"),
    ],
)
def test_a_project_that_cannot_be_used_is_refused_in_plain_words(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(SettingsError) as caught:
        read_project(project(tmp_path, text))
    assert words in str(caught.value).replace("Did", "did")


def test_a_project_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        read_project(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("entry", "unit"), [('"hill.tif"', None), ('{ path = "hill.tif", unit = "ft", crs = "EPSG:2229" }', "ft")]
)
def test_a_raster_of_elevations_is_named_with_the_site(tmp_path: Path, entry: str, unit: str | None) -> None:
    (tmp_path / "hill.tif").write_bytes(b"")
    read = read_project(project(tmp_path, f'[site]\nelevation = {entry}\n[layers]\nparcels = "lots.geojson"\n'))
    assert read.elevation is not None
    assert (read.elevation.path, read.elevation.unit) == (tmp_path / "hill.tif", unit)
    assert read.elevation.crs_if_missing == ("EPSG:2229" if unit else None)


def test_faults_of_the_raster_come_with_the_others(tmp_path: Path) -> None:
    text = '[site]\nelevation = { path = "gone.tif", unit = "ells" }\n[layers]\nmarks = "marks.shp"\n'
    with pytest.raises(SettingsError) as caught:
        read_project(project(tmp_path, text))
    for words in ("gone.tif does not exist", "'ells'", "no parcels"):
        assert words in str(caught.value)


def test_a_word_that_is_not_known_of_a_raster(tmp_path: Path) -> None:
    text = '[site]\nelevation = { path = "x.tif", units = "ft" }\n[layers]\nparcels = "lots.geojson"\n'
    with pytest.raises(SettingsError, match=r"(?i)did you mean 'unit'"):
        read_project(project(tmp_path, text))
