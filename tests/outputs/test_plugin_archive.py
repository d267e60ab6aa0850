"""The plug-in for QGIS as a zip: the same bytes each time, every role and setting, no name that hides the library."""

from __future__ import annotations

import configparser
import json
import zipfile
from typing import TYPE_CHECKING

import pytest

import parcelfence
from parcelfence.errors import OutputError
from parcelfence.layers import INPUT_ROLES
from parcelfence.outputs.plugin_archive import write_plugin
from parcelfence.settings import Settings, short_name

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    path = tmp_path_factory.mktemp("plugin") / "plugin.zip"
    write_plugin(path)
    return zipfile.ZipFile(path)


def test_the_same_bytes_each_time(tmp_path: Path) -> None:
    for name in ("a.zip", "b.zip"):
        write_plugin(tmp_path / name)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_its_folder_is_not_named_like_the_library(archive: zipfile.ZipFile) -> None:
    assert {name.split("/")[0] for name in archive.namelist()} == {"parcelfence_qgis"}
    assert "parcelfence_qgis/__init__.py" in archive.namelist()


def test_metadata_is_what_qgis_asks_for(archive: zipfile.ZipFile) -> None:
    metadata = configparser.ConfigParser()
    metadata.read_string(archive.read("parcelfence_qgis/metadata.txt").decode())
    general = metadata["general"]
    assert {"name", "description", "about", "author", "email", "qgisminimumversion"} <= set(general)
    assert general["version"] == parcelfence.__version__
    assert general["hasProcessingProvider"] == "yes"


def test_the_schema_holds_every_role_and_every_setting(archive: zipfile.ZipFile) -> None:
    schema = json.loads(archive.read("parcelfence_qgis/schema.json"))
    assert [role["name"] for role in schema["roles"]] == list(INPUT_ROLES)
    assert [setting["name"] for setting in schema["settings"]] == list(Settings.model_fields)
    names = [*INPUT_ROLES, *map(short_name, Settings.model_fields)]
    assert len(set(names)) == len(names), "each is a parameter of one form"


def test_a_file_that_stands_there_is_kept(tmp_path: Path) -> None:
    (tmp_path / "plugin.zip").write_text("mine")
    with pytest.raises(OutputError, match="it exists already"):
        write_plugin(tmp_path / "plugin.zip")
    assert (tmp_path / "plugin.zip").read_text() == "mine"
    write_plugin(tmp_path / "plugin.zip", overwrite=True)
    assert zipfile.is_zipfile(tmp_path / "plugin.zip")
