"""A project written as a file is the project that is read back."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.inputs.project_file import Project, read_project
from parcelfence.inputs.project_text import project_text, text_value
from parcelfence.inputs.source import ElevationSource, Source
from parcelfence.setting_info import describe_settings
from parcelfence.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

PLAIN = st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=20)
VALUES = st.recursive(
    PLAIN | st.integers(-(2**60), 2**60) | st.booleans() | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(PLAIN, inner, max_size=3),
    max_leaves=6,
)


@given(VALUES)
def test_values_are_read_back(value: Any) -> None:
    assert tomllib.loads(f"key = {text_value(value)}")["key"] == value


@pytest.mark.parametrize("reach", ["8 ft", "2.4 m", "7.5 ft", "31 in"])
def test_a_project_is_read_back(reach: str, tmp_path: Path) -> None:
    lots, walls, heights = (tmp_path / name for name in ("lots 1.geojson", "wände.gpkg", "dem.tif"))
    for file in (lots, walls, heights):
        file.touch()
    settings = Settings.from_words({
        "reach": reach,
        "bend_radius": "4 ft",
        "transmitter_volts": 12,
        "as_of": "2026-05-01",
        "animals": [{"name": 'Bramble "B"', "reach": reach, "speed": 3.5}, {"name": "Sorrel"}],
    })
    project = Project(
        name='Heron "Bend" \\ 7\nnorth',
        select=("parcel_no=1", "parcel_no=2"),
        sources=(
            Source(role="parcels", path=lots, id_field="apn", crs_if_missing="EPSG:2229"),
            Source(role="buildings", path=walls, layer="houses", accuracy_m=0.3, crs_if_missing="EPSG:2229"),
            Source(role="buildings", path=walls, layer="barns", crs_if_missing="EPSG:2229"),
        ),
        settings=settings,
        working_crs="EPSG:32618",
        elevation=ElevationSource(path=heights, unit="usft"),
        prices={"wire": 0.2},
        crew={"wage": 40.0},
    )
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    (folder / "SITE.toml").write_text(project_text(project, folder=folder, head="One.\nTwo."), encoding="utf-8")
    found = read_project(folder / "SITE.toml")
    assert found.settings == settings
    assert [source.path.resolve() for source in found.sources] == [source.path for source in project.sources]
    assert [replace(source, path=lots) for source in found.sources] == [
        replace(source, path=lots) for source in project.sources
    ]
    assert found.elevation is not None
    assert (found.elevation.path.resolve(), found.elevation.unit) == (heights, "usft")
    assert replace(found, sources=(), elevation=None) == replace(project, sources=(), elevation=None)


@pytest.mark.parametrize("name", [info.name for info in describe_settings() if info.kind not in {"tables", "table"}])
def test_every_setting_is_read_back(name: str, tmp_path: Path) -> None:
    lots = tmp_path / "lots.geojson"
    lots.touch()
    default = getattr(Settings(), name)
    settings = Settings(**{name: 3 if default is None else default})
    project = Project(name="Yard", select=(), sources=(Source(role="parcels", path=lots),), settings=settings)
    (tmp_path / "SITE.toml").write_text(project_text(project, folder=tmp_path, head=""), encoding="utf-8")
    assert read_project(tmp_path / "SITE.toml").settings.model_dump() == settings.model_dump()


@pytest.mark.parametrize("settings", [Settings(ground_elevation_m=-80.0), Settings(soil_resistivity_ohm_m=30.0)])
def test_numbers_that_are_no_lengths_are_read_back(settings: Settings, tmp_path: Path) -> None:
    (tmp_path / "lots.geojson").touch()
    source = Source(role="parcels", path=tmp_path / "lots.geojson")
    project = Project(name="Yard", select=(), sources=(source,), settings=settings)
    (tmp_path / "SITE.toml").write_text(project_text(project, folder=tmp_path, head="", hints=True), encoding="utf-8")
    assert read_project(tmp_path / "SITE.toml").settings == settings
