"""The plug-in in Debian's QGIS: layers in memory, in feet, with unsaved edits and a selection; results as one group."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import geopandas
import pytest

from parcelfence.layers import LAYERS
from parcelfence.outputs.plugin_archive import FOLDER, write_plugin

pytestmark = pytest.mark.qgis

SYSTEM_PYTHON = "/usr/bin/python3"
RUN = Path(__file__).with_name("run_in_qgis.py")
SAMPLE = Path(__file__).parents[2] / "sample_geodata"
FEET = "EPSG:2262"
"""New York Central, US survey feet."""
LOTS, CHOICE = "Lots of 2024", "parcel_no = '31-07'"


def sample(file: str, name: str, **more: Any) -> dict[str, Any]:
    return {"path": str(SAMPLE / file), "name": name, **more}


@pytest.fixture(scope="module")
def around(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Give the environment of a QGIS with the plug-in, whose variables must not reach parcelfence."""
    if not shutil.which("qgis_process"):
        pytest.skip("QGIS is not installed")
    home = tmp_path_factory.mktemp("home")
    plugins = home / ".local/share/QGIS/QGIS3/profiles/default/python/plugins"
    plugins.mkdir(parents=True)
    write_plugin(home / "plugin.zip")
    shutil.unpack_archive(home / "plugin.zip", plugins)
    home.chmod(0o700)
    return {
        "QT_QPA_PLATFORM": "offscreen",
        "HOME": str(home),
        "XDG_RUNTIME_DIR": str(home),
        "PYTHONPATH": str(plugins),
        "PROJ_LIB": "/usr/share/proj",
        "GDAL_DATA": "/usr/share/gdal",
        "PATH": os.environ["PATH"],
        "PARCELFENCE": sys.executable,
    }


def in_qgis(cases: list[dict[str, Any]], *, around: dict[str, str], folder: Path) -> list[dict[str, Any]]:
    (folder / "cases.json").write_text(json.dumps(cases))
    done = subprocess.run(
        [SYSTEM_PYTHON, RUN, folder / "cases.json"], capture_output=True, text=True, check=False, env=around
    )
    assert done.returncode == 0, done.stderr
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def planned(around: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    folder = tmp_path_factory.mktemp("plan")
    case = {
        "algorithm": "parcelfence:plan",
        "layers": {
            "PARCELS": sample("parcels.geojson", LOTS, crs=FEET, select=CHOICE),
            "BUILDINGS": sample("buildings.geojson", "Houses", crs=FEET),
            "MARKS": sample("marks_lines.geojson", "Marks: lines", crs=FEET, only="utility is not null"),
        },
        "lists": {"MORE_MARKS": [sample("marks_points.geojson", "Paint")]},
        "parameters": {"REACH": "8 ft", "OUTPUT": str(folder / "new" / "plan")},
        "picture": str(folder / "picture.png"),
    }
    return in_qgis([case], around=around, folder=folder)[0], folder / "new" / "plan"


def test_a_plan_comes_as_one_group_in_order(planned: tuple[dict[str, Any], Path]) -> None:
    found, folder = planned
    assert found["outputs"]["OUTPUT"] == str(folder)
    group, *given = found["tree"]
    assert group[0] == LOTS
    names = [name for entry in group[1:] for name in (entry if isinstance(entry, list) else [entry])]
    assert {schema.title for schema in LAYERS} <= set(names)
    order = ["Conflicts", "Wire", "Utilities", "Where conflicts lie", "Zones", "Parcel"]
    assert sorted(order, key=names.index) == order
    assert set(given) == {LOTS, "Houses", "Marks: lines", "Paint"}


def test_layers_are_taken_as_they_are_on_the_screen(planned: tuple[dict[str, Any], Path]) -> None:
    summary = json.loads((planned[1] / "summary.json").read_text())
    assert summary["settings"]["reach_m"] == pytest.approx(8 * 0.3048)
    inputs = {entry["name"]: entry for entry in summary["provenance"]["inputs"]}
    assert set(inputs) == {f"{LOTS}.fgb", "Houses.fgb", "Marks_ lines.fgb", "Paint.fgb"}
    assert inputs[f"{LOTS}.fgb"]["crs"] == FEET
    assert summary["site"]["parcel_id"] == "31-07"
    marks = json.loads((SAMPLE / "marks_lines.geojson").read_text())["features"]
    left = [mark for mark in marks if mark["properties"].get("utility") and mark["geometry"]]
    assert 0 < inputs["Marks_ lines.fgb"]["features"] == len(left) < len(marks)
    assert "warning: Marks: lines: 1 features have no geometry and were left out" in planned[0]["lines"]


def test_steps_are_shown_and_conflicts_told(planned: tuple[dict[str, Any], Path]) -> None:
    assert planned[0]["steps"] == ["reading", "designing and checking", "writing"]
    assert any(line.startswith("warning: caution: Dig by hand") for line in planned[0]["lines"])
    assert not any(".fgb" in line for line in planned[0]["lines"] if line.startswith("warning"))


def test_refusals_are_the_words_of_the_program_with_the_names_of_the_user(
    around: dict[str, str], tmp_path: Path
) -> None:
    out = {"OUTPUT": str(tmp_path / "out")}
    chosen = {"PARCELS": sample("parcels.geojson", LOTS, select=CHOICE)}
    cases: list[dict[str, Any]] = [
        {"layers": {"PARCELS": sample("parcels.geojson", LOTS)}, "parameters": out},
        {"layers": {"PARCELS": sample("parcels.geojson", LOTS, crs="")}, "parameters": out},
        {"layers": chosen, "parameters": {**out, "REACH": "8 fot"}},
        {"layers": chosen, "parameters": {"OUTPUT": str(tmp_path)}},
        {"layers": chosen, "parameters": out, "stop_after_s": 1.0},
        {
            "layers": chosen,
            "parameters": {**out, "REACH": "8 ft", "ANIMALS": "name=Bo, reach=6 ft; name=Rex, reech=8 ft"},
        },
        {
            "layers": chosen,
            "parameters": {
                "OUTPUT": str(tmp_path / "two"),
                "REACH": "8 ft",
                "ANIMALS": "name=Bo, reach=6 ft; name=Rex, reach=8 ft",
            },
        },
    ]
    found = in_qgis([{"algorithm": "parcelfence:plan", **case} for case in cases], around=around, folder=tmp_path)
    none_chosen, no_crs, unit, taken = (case["refusal"] for case in found[:4])
    assert none_chosen.startswith(f"{LOTS}: it holds 6 parcels and none was chosen.")
    assert "select the parcel in its layer" in none_chosen
    assert no_crs.startswith(f"{LOTS}")
    assert "set the coordinate system of the layer" in no_crs
    assert "the unit 'fot', which is not known" in unit
    assert "it exists already" in taken
    assert found[4]["canceled"]
    assert not found[4]["outputs"]
    assert any("nothing that stood on disk was changed" in line for line in found[4]["lines"])
    assert not (tmp_path / "out").exists()
    assert "'reech'" in found[5]["refusal"]
    assert not found[6]["refusal"]
    summary = json.loads((tmp_path / "two" / "summary.json").read_text())
    assert [animal["name"] for animal in summary["settings"]["animals"]] == ["Bo", "Rex"]


def test_inspection_names_roles_and_faults(around: dict[str, str], tmp_path: Path) -> None:
    case = {
        "algorithm": "parcelfence:inspect",
        "lists": {
            "LAYERS": [
                sample("marks_points.geojson", "Paint"),
                sample("parcels.geojson", "Lots <b>"),
                sample("parcels.geojson", "Lots of nowhere", crs=""),
            ]
        },
        "parameters": {"OUTPUT": str(tmp_path / "report.html")},
    }
    found = in_qgis([case], around=around, folder=tmp_path)[0]
    page = (tmp_path / "report.html").read_text()
    assert found["outputs"]["UNUSABLE"] == 1
    assert "Lots &lt;b&gt;" in page
    assert "marks (" in page
    assert any(line.startswith("error: Lots of nowhere: ") for line in found["lines"])


def test_an_edited_wire_is_checked_before_it_is_saved(
    planned: tuple[dict[str, Any], Path], around: dict[str, str], tmp_path: Path
) -> None:
    plan = planned[1] / "plan.gpkg"
    wire = {"path": f"{plan}|layername=wire", "name": "Wire as I want it"}
    moved = {**wire, "move": {"where": "part = 'loop'", "by": [6.0, 0.0]}}
    site = {
        "PARCELS": sample("parcels.geojson", LOTS, crs=FEET, select=CHOICE),
        "BUILDINGS": sample("buildings.geojson", "Houses", crs=FEET),
    }
    common = {"REACH": "8 ft", "PLAN": str(planned[1])}
    names = ("as planned", "edited", "by file")
    outs = [{**common, "OUTPUT": str(tmp_path / name)} for name in names]
    cases: list[dict[str, Any]] = [
        {"layers": {**site, "WIRE": wire}, "parameters": outs[0]},
        {"layers": {**site, "WIRE": moved}, "parameters": outs[1]},
        {"layers": {"WIRE": moved}, "parameters": {**outs[2], "SITE": str(SAMPLE / "SITE.toml")}},
        {"layers": {"WIRE": moved}, "parameters": {"OUTPUT": str(tmp_path / "none")}},
    ]
    found = in_qgis([{"algorithm": "parcelfence:check", **case} for case in cases], around=around, folder=tmp_path)
    assert [case["refusal"] for case in found[:3]] == ["", "", ""]
    as_planned, edited, by_file = (case["outputs"]["MUST_FIX"] for case in found[:3])
    assert as_planned == 0
    assert edited > 0
    assert by_file > 0
    assert any("lot line" in line for line in found[1]["lines"] if line.startswith("warning: MUST FIX"))
    assert found[3]["refusal"] == "Neither a project file nor a layer of parcels was given."


def test_the_chosen_one_of_a_comparison_is_shown(around: dict[str, str], tmp_path: Path) -> None:
    case = {
        "algorithm": "parcelfence:compare",
        "layers": {"PARCELS": sample("parcels.geojson", LOTS, crs=FEET, select="parcel_no = '31-05'")},
        "parameters": {"REACHES": "4 ft, 6 ft", "CHOOSE": 2, "OUTPUT": str(tmp_path / "ways")},
    }
    found = in_qgis([case], around=around, folder=tmp_path)[0]
    assert Path(found["outputs"]["PAGE"]).is_file()
    second = next(line for line in found["lines"] if line.startswith("number 2, "))
    reach_m = json.loads((tmp_path / "ways/plan/summary.json").read_text())["settings"]["reach_m"]
    assert f"reach_m {reach_m:g}," in second
    assert found["tree"][0][0] == LOTS


def test_every_parcel_is_screened_from_a_layer_with_unsaved_edits(around: dict[str, str], tmp_path: Path) -> None:
    lots = sample("parcels.geojson", LOTS, crs=FEET, only="parcel_no <> '31-04'")
    parameters = {"REACH": "6 ft", "KEEP": "parcel_no", "OUTPUT": str(tmp_path / "rows.gpkg")}
    cases: list[dict[str, Any]] = [
        {"layers": {"PARCELS": lots}, "parameters": parameters, "picture": str(tmp_path / "rows.png")},
        {"layers": {"PARCELS": lots}, "parameters": parameters},
    ]
    first, second = in_qgis(
        [{"algorithm": "parcelfence:screen", **case} for case in cases], around=around, folder=tmp_path
    )
    assert first["outputs"]["PARCELS_SCREENED"] == 5
    assert first["outputs"]["PLANNED"] >= 4
    assert first["tree"] == ["rows", LOTS]
    assert (tmp_path / "rows.gpkg").is_file()
    assert "it exists already" in second["refusal"]


def test_walked_points_fit_the_reach(
    planned: tuple[dict[str, Any], Path], around: dict[str, str], tmp_path: Path
) -> None:
    zones = geopandas.read_file(planned[1] / "plan.gpkg", layer="zones").set_index("kind")
    edge = zones.loc[["signal"]].boundary.explode().iloc[0]
    walked = geopandas.GeoSeries([edge.interpolate(share / 30, normalized=True) for share in range(30)], crs=zones.crs)
    walked.to_crs("EPSG:4326").to_file(tmp_path / "walk.gpkg")
    case = {
        "algorithm": "parcelfence:calibrate",
        "layers": {"WALK": {"path": str(tmp_path / "walk.gpkg"), "name": "Walk of Tuesday", "crs": FEET}},
        "parameters": {"PLAN": str(planned[1])},
    }
    found = in_qgis([case], around=around, folder=tmp_path)[0]
    assert found["outputs"]["REACH_M"] == pytest.approx(8 * 0.3048, abs=0.02)
    assert found["outputs"]["OUTLIERS"] == 0


def test_the_command_of_qgis_knows_it(around: dict[str, str], tmp_path: Path) -> None:
    def asked(*words: str) -> subprocess.CompletedProcess[str]:
        program = shutil.which("qgis_process.bin") or "qgis_process"  # Debian's wrapper adds a word that it refuses
        return subprocess.run([program, *words], capture_output=True, text=True, check=True, env=around)

    asked("plugins", "enable", FOLDER)
    assert "parcelfence:plan" in asked("list").stdout
    done = asked(
        *("run", "parcelfence:plan", "--", f"PARCELS={SAMPLE / 'parcels.geojson'}", "PROPERTY=parcel_no=31-05"),
        f"OUTPUT={tmp_path / 'plan'}",
    )
    assert "MUST_FIX" in done.stdout
    assert (tmp_path / "plan" / "plan.gpkg").is_file()
