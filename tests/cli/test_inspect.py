"""The command that says what files hold."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from parcelfence.cli.inspect import inspect
from tests.inputs.layers import STATE_PLANE, feature, geojson, lot, shapefile, vector

SAMPLE = Path(__file__).parents[2] / "sample_geodata"
SQUARE = "POLYGON ((919000 988000, 919000 988300, 919300 988300, 919300 988000, 919000 988000))"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(inspect, [str(argument) for argument in arguments])


def test_a_file_is_described_for_a_newcomer() -> None:
    done = run(SAMPLE / "marks_lines.geojson")
    assert done.exit_code == 0, done.output
    for words in (
        "marks (guessed from its name)",
        "8: 5 LineString, 2 LineString Z, 1 none",
        "7 of 8",
        "WGS 84 (EPSG:4326), by the GeoJSON standard",
        "-76.2168",
        "GAS, Gas svc",
        "gas             2  from 'GAS' (column utility)",
        "unknown         1",
        "heights (Z) dropped (2 features)",
        "it has no geometry (1 feature left out)",
    ):
        assert words in done.output
    assert max(map(len, done.output.splitlines())) <= 120


def test_feet_are_shown_with_their_way_to_degrees() -> None:
    done = run(SAMPLE / "state_plane_feet" / "parcels.shp")
    assert "NAD83(2011) / New York Central (ftUS)" in done.output
    assert "within 2 m by PROJ" in done.output
    assert "-76.2" in done.output


def test_every_layer_of_a_geopackage_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "town.gpkg"
    for layer in ("parcels", "buildings", "easements"):
        vector(path, [SQUARE], driver="GPKG", crs=STATE_PLANE, layer=layer)
    done = run(path)
    assert done.exit_code == 0
    assert [f"layer {name}" in done.output for name in ("parcels", "buildings", "easements")] == [True] * 3
    assert "layer buildings" not in run(f"{path}:parcels").output


def test_an_unusable_file_has_its_reason_and_status_2_and_the_others_are_shown(tmp_path: Path) -> None:
    path = shapefile(tmp_path, without=[".prj"])
    done = run(path, SAMPLE / "doors.geojson", tmp_path / "gone.geojson")
    assert done.exit_code == 2
    for words in (
        "not stated; give it with --crs",
        "CANNOT BE USED",
        "never guessed",
        "doors that the animal uses",
        "no such file",
    ):
        assert words in " ".join(done.output.split())
    assert run(path, "--crs", STATE_PLANE).exit_code == 0


def test_a_role_that_does_not_fit_is_refused(tmp_path: Path) -> None:
    path = geojson(tmp_path / "spots.geojson", [feature({"type": "Point", "coordinates": [-76.2, 42.7]})])
    assert run(path).exit_code == 0
    done = run(path, "--role", "buildings")
    assert done.exit_code == 2
    assert "this role takes areas" in done.output


def test_duplicates_are_counted(tmp_path: Path) -> None:
    done = run(geojson(tmp_path / "parcels.geojson", [feature(lot()), feature(lot()), feature(lot(-76.3))]))
    assert "1 with the same geometry as an earlier one" in done.output


def test_json_holds_the_same_as_data() -> None:
    done = run(SAMPLE / "marks_survey.csv", "--crs", STATE_PLANE, "--json")
    result = json.loads(done.output)
    assert (result["command"], result["status"], result["exit_status"]) == ("inspect", "done", 0)
    (report,) = result["layers"]
    assert report["features"] == report["usable"] == 27
    assert report["kinds"]["gas"][0] == 8
    assert report["bounds_lon_lat"][0] == pytest.approx(-76.2153, abs=1e-3)
    assert report["faults"] == []


def test_control_characters_of_a_file_do_not_reach_the_terminal(tmp_path: Path) -> None:
    done = run(geojson(tmp_path / "parcels.geojson", [feature(lot(), note="\x1b[2Jgone")]))
    assert "\x1b" not in done.output
    assert "gone" in done.output


def test_the_command_loads_nothing_heavy_before_it_is_called() -> None:
    heavy = ("shapely", "fiona", "pyproj", "numpy")
    program = f"import sys, parcelfence.cli.inspect; print([name for name in {heavy!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("tree_roots", "trees"),
        ("garden fence", "fences"),
        ("gates", "gates"),
        ("passages", "passages"),
        ("no_dig", "no_dig"),
        ("septic", "no_dig"),
        ("creeks", "water"),
        ("ditch", "water"),
        ("driveways", "hardscape"),
    ],
)
def test_the_role_of_lines_is_guessed_from_their_name(tmp_path: Path, name: str, role: str) -> None:
    path = geojson(tmp_path / f"{name}.geojson", [feature({"type": "LineString", "coordinates": [[1, 1], [1, 1.1]]})])
    assert f"{role} (guessed from its name)" in run(path).output
