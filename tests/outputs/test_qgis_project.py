"""The project file for QGIS: every layer in its place, named and styled, and the working CRS understood."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas
import pytest
from lxml import etree
from pyproj import CRS

from parcelfence.layers import LAYERS
from parcelfence.outputs.qgis_project import GROUPS
from parcelfence.outputs.registry import write
from tests.sample import sample_plan

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

SYSTEM_PYTHON = "/usr/bin/python3"
LOOK = Path(__file__).with_name("look_into_qgis_project.py")


@pytest.fixture(scope="module")
def project(written: Path) -> etree._ElementTree:
    return etree.parse(written / "plan.qgs")


def test_every_layer_has_one_place() -> None:
    placed = Counter(name for names in GROUPS.values() for name in names)
    assert set(placed) == {schema.name for schema in LAYERS} | {"conflict_places"}
    assert set(placed.values()) == {1}


def test_titles_order_and_groups_are_those_of_the_list(project: etree._ElementTree) -> None:
    tree = [layer.get("id").removeprefix("parcelfence_") for layer in project.iter("layer-tree-layer")]
    assert tree == [name for names in GROUPS.values() for name in names]
    groups = [group.get("name") for group in project.iter("layer-tree-group") if group.get("name")]
    assert groups == [title for title, names in GROUPS.items() if len(names) > 1]
    titles = {layer.findtext("id"): layer.findtext("layername") for layer in project.iter("maplayer")}
    assert titles["parcelfence_open_sides"] == "Open sides"
    assert tree.index("conflicts") < tree.index("utilities") < tree.index("conflict_places") < tree.index("zones")


def test_the_folder_can_be_moved(project: etree._ElementTree) -> None:
    sources = {layer.findtext("datasource") for layer in project.iter("maplayer")}
    assert all(source.startswith("./plan.gpkg|layername=") for source in sources)


def test_columns_are_named_with_their_units(project: etree._ElementTree) -> None:
    wire = next(layer for layer in project.iter("maplayer") if layer.findtext("id") == "parcelfence_wire")
    aliases = {alias.get("field"): alias.get("name") for alias in wire.iter("alias")}
    assert aliases["start_station_m"] == "Start station (m)"
    assert aliases["leg"] == "Leg"


def test_labels_wait_for_room(project: etree._ElementTree) -> None:
    for layer in project.iter("maplayer"):
        for rendering in layer.iter("rendering"):
            assert rendering.get("scaleVisibility") == "1"
            assert int(rendering.get("scaleMax")) > 0


def test_the_system_is_written_out(project: etree._ElementTree, plan: Plan) -> None:
    assert CRS.from_wkt(project.findtext("projectCrs/spatialrefsys/wkt")) == plan.site.frame.crs


def test_only_what_was_asked_for_is_shown(plan: Plan, tmp_path: Path) -> None:
    folder = write(plan, tmp_path / "out", formats=["gpkg"], layers=["wire", "zones"], dst_crs="EPSG:6535")
    found = etree.parse(folder / "plan.qgs")
    assert [layer.get("name") for layer in found.iter("layer-tree-layer")] == ["Wire", "Zones"]
    assert found.findtext("projectCrs/spatialrefsys/authid") == "EPSG:6535"


def look_in_qgis(source: Path, *, folder: Path) -> dict[str, Any]:
    if not shutil.which("qgis_process"):
        pytest.skip("QGIS is not installed")
    around = {"QT_QPA_PLATFORM": "offscreen", "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
    words = [SYSTEM_PYTHON, LOOK, source, folder / "picture.png"]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=around)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.qgis
def test_qgis_reads_it_as_it_was_meant(written: Path, tmp_path: Path) -> None:
    moved = tmp_path / "moved"
    shutil.copytree(written, moved)
    found = look_in_qgis(moved / "plan.qgs", folder=tmp_path)
    assert found["crs"] == "Local metres on NAD83(2011)"
    assert found["crs_is_valid"]
    assert set(found["layers"]) == {name for names in GROUPS.values() for name in names}
    assert all(layer["valid"] and layer["crs_is_valid"] for layer in found["layers"].values())
    assert found["layers"]["wire"]["alias"] == "Start station (m)"
    assert found["ink"] > 300, "the wire is to be seen"
    assert found["parcel_fill"] == 0, "no area hides the ground"


@pytest.mark.qgis
@pytest.mark.parametrize("file", ["plan.qgs", "plan.gpkg"])
def test_a_conflict_leaves_the_colour_of_the_utility_that_it_lies_on(file: str, tmp_path: Path) -> None:
    folder = write(sample_plan(), tmp_path / "plan", formats=["gpkg"])
    on_gas = geopandas.read_file(folder / "plan.gpkg", layer="conflicts").query("feature == 'gas-2'")
    assert on_gas.length.max() > 50.0
    found = look_in_qgis(folder / file, folder=tmp_path)
    assert found["gas_without_conflicts"] > 100
    assert found["gas"] > 0.8 * found["gas_without_conflicts"], "only the symbols on it hide some of it"
