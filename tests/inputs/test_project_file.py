from __future__ import annotations

from pathlib import Path

import pytest

from parcelfence.errors import SettingsError
from parcelfence.inputs.project_file import read_project


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
