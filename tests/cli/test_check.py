"""Checking a wire that was drawn elsewhere: a design goes out in every format and comes back the same."""

from __future__ import annotations

import csv
import json
from collections import Counter
from typing import TYPE_CHECKING, Any

import geopandas
import pytest
import shapely
from click.testing import CliRunner
from pyproj import CRS, Transformer
from shapely import LineString, Point, box
from shapely.affinity import translate

from parcelfence.cli.main import parcelfence
from parcelfence.inputs.project_file import read_project
from parcelfence.planning import plan
from parcelfence.site.reading import build_site
from tests.small_sites import read_summary, run, write_site

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

    from parcelfence.finished_plan import Plan

UTM = CRS.from_epsg(32618)
LOT = box(0, 0, 70, 50)
SITE = """
[site]
name = "Testing Green"
select = "lot=7"
[layers]
parcels = "parcels.geojson"
buildings = "buildings.geojson"
marks = "marks.geojson"
[settings]
reach = "1.5 m"
"""
EXACT_M = {"plan.gpkg": 1e-6, "geojson/wire.geojson": 0.01, "plan.dxf": 1e-6, "flags.gpx": 0.01, "stakeout.csv": 0.02}
"""Greatest offset that each format may bring in: its digits, and for stakes the fit of curves to three of them."""


def _write(path: Path, *features: tuple[Any, dict[str, Any]]) -> None:
    to_degrees = Transformer.from_crs(UTM, 4326, always_xy=True)
    rows = [
        {
            "type": "Feature",
            "properties": properties,
            "geometry": json.loads(
                shapely.to_geojson(
                    shapely.transform(translate(geometry, 480_000, 4_740_000), to_degrees.transform, interleaved=False)
                )
            ),
        }
        for geometry, properties in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}), encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Project with its design, written."""
    path = tmp_path_factory.mktemp("check")
    _write(path / "parcels.geojson", (LOT, {"lot": "7"}))
    _write(path / "buildings.geojson", (box(28, 20, 42, 30), {"name": "house"}))
    _write(path / "marks.geojson", (LineString([(35, 60), (35, 30)]), {"utility": "gas", "quality_level": "B"}))
    (path / "SITE.toml").write_text(SITE, encoding="utf-8")
    designed(path).write(path / "plan")
    return path


def designed(folder: Path) -> Plan:
    job = read_project(folder / "SITE.toml")
    return plan(build_site(job.sources, select=job.select, settings=job.settings, name=job.name), job.settings)


def _check(wire: Path, *options: str, folder: Path) -> Result:
    arguments = ["check", str(wire), "--site", str(folder / "SITE.toml"), *options]
    return CliRunner().invoke(parcelfence, arguments, catch_exceptions=False)


def _rows(folder: Path) -> Counter[tuple[str, str, str]]:
    table = geopandas.read_file(folder / "plan.gpkg", layer="conflicts")
    keys = zip(table["severity"], table["rule"], table["feature"].fillna(""), strict=True)
    return Counter(key for key in keys if key[1] not in {"repaired-input", "drawn-wire"})


def _lengths(folder: Path) -> dict[str, float]:
    table = geopandas.read_file(folder / "plan.gpkg", layer="wire")
    return table.groupby("part")["ground_length_m"].sum().to_dict()


@pytest.mark.parametrize("name", EXACT_M)
def test_a_design_comes_back_with_the_same_conflicts_and_lengths(name: str, folder: Path, tmp_path: Path) -> None:
    """All but what the designer alone has to say."""
    crs = ["--wire-crs", "site"] if name in {"plan.dxf", "stakeout.csv"} else []
    layer = ["--layer", "wire"] if name == "plan.gpkg" else []
    plans = ["--plan", str(folder / "plan"), "--tolerance", f"{EXACT_M[name]} m"]
    result = _check(folder / "plan" / name, *crs, *layer, *plans, "--out", str(tmp_path / "out"), folder=folder)
    assert result.exit_code in {0, 3}, result.output
    said = Counter((remark.severity, remark.rule, remark.feature) for remark in designed(folder).loop.remarks)
    assert _rows(tmp_path / "out") - _rows(folder / "plan") == Counter()
    assert _rows(folder / "plan") - _rows(tmp_path / "out") - said == Counter()
    lengths, planned = _lengths(tmp_path / "out"), _lengths(folder / "plan")
    assert set(lengths) == set(planned)
    for part, length_m in planned.items():
        assert lengths[part] == pytest.approx(length_m, abs=max(2 * EXACT_M[name], 2e-4 * length_m))


DOUBLED = {
    "back yard": (
        {"layout": "back-yard", "front": "south", "reach_m": 1.5},
        {"parcels": [(box(0, 0, 20, 60), {"lot": "7"})], "buildings": [(box(1.5, 14, 18.5, 25), {})]},
    ),
    "lakefront": (
        {"layout": "open-side"},
        {"buildings": [(box(22, 12, 36, 21), {})], "water": [(box(-20, 35, 80, 90), {})]},
    ),
    "two open sides and a garden": (
        {"reach_m": 1.5},
        {
            "parcels": [(box(0, 0, 60, 50), {"lot": "7"})],
            "buildings": [(box(22, 12, 36, 21), {})],
            "open_sides": [(LineString([(60, 50), (0, 50)]), {}), (LineString([(60, 0), (0, 0)]), {})],
            "keep_outs": [(box(40, 28, 46, 34), {"kind": "garden"})],
        },
    ),
    "passage": (
        {},
        {"buildings": [(box(22, 16, 36, 25), {})], "passages": [(LineString([(30, 12), (30, -5)]), {})]},
    ),
}


FIGURES = (
    *("loop_length_m", "lead_in_length_m", "allowed_area_m2", "enclosed_area_m2", "free_area_m2", "signal_area_m2"),
    *("enclosed_share_of_allowed", "free_share_of_enclosed", "resistance_high_ohm", "flags", "splices"),
)


@pytest.mark.parametrize("name", DOUBLED)
def test_a_doubled_back_design_comes_back_with_its_own_figures(name: str, tmp_path: Path) -> None:
    """The ground up to the open side is contained, not only the strip between both runs."""
    settings, layers = DOUBLED[name]
    project = write_site(tmp_path, settings, **layers)
    run("plan", project, "--out", tmp_path / "plan")
    planned = read_summary(tmp_path / "plan")["figures"]
    assert planned["free_share_of_enclosed"] > 0.3
    assert planned["enclosed_share_of_allowed"] <= 1.0
    for number, file in enumerate(("plan.gpkg", "geojson/wire.geojson", "plan.dxf")):
        options = {"plan.gpkg": ["--layer", "wire"], "plan.dxf": ["--wire-crs", "site"]}.get(file, [])
        out = tmp_path / f"out{number}"
        run("check", tmp_path / "plan" / file, "--site", project, *options, "--out", out)
        found = read_summary(out)["figures"]
        for figure in FIGURES:
            assert found[figure] == pytest.approx(planned[figure], rel=1e-3), (file, figure)
        rows, own = _rows(out), _rows(tmp_path / "plan")
        assert rows - own == Counter(), file
        assert {key[1] for key in own - rows} <= {"inner-loop"}, file


def test_a_hairpin_without_a_word_is_a_return_run_where_a_side_is_open(tmp_path: Path) -> None:
    settings, layers = DOUBLED["lakefront"]
    project = write_site(tmp_path, settings, **layers)
    run("plan", project, "--out", tmp_path / "plan")
    table = geopandas.read_file(tmp_path / "plan" / "plan.gpkg", layer="wire")[["geometry"]]
    table.to_file(tmp_path / "wire.shp")
    run("check", tmp_path / "wire.shp", "--site", project, "--out", tmp_path / "out")
    planned, found = (read_summary(tmp_path / folder)["figures"] for folder in ("plan", "out"))
    assert found["enclosed_area_m2"] == pytest.approx(planned["enclosed_area_m2"], rel=1e-3)
    assert not any(key[1] == "no-roam" for key in _rows(tmp_path / "out"))


def test_shapefiles_and_other_systems_come_back_too(folder: Path, tmp_path: Path) -> None:
    """In feet of a State Plane zone, with nothing but the lines."""
    table = geopandas.read_file(folder / "plan" / "plan.gpkg", layer="wire")[["geometry"]].to_crs(2261)
    table.to_file(tmp_path / "wire.shp")
    options = ["--plan", str(folder / "plan"), "--tolerance", "1 cm", "--out", str(tmp_path / "out")]
    result = _check(tmp_path / "wire.shp", *options, folder=folder)
    assert result.exit_code in {0, 3}, result.output
    assert "greatest offset 0.00 m" in result.output
    assert _lengths(tmp_path / "out") == pytest.approx(_lengths(folder / "plan"), abs=1e-3)


def test_a_wire_moved_by_a_metre_is_told_with_its_stretch(folder: Path, tmp_path: Path) -> None:
    table = geopandas.read_file(folder / "plan" / "plan.gpkg", layer="wire")
    outer = table.loc[table["part"] == "loop", "geometry"].iloc[0]
    west, south, east, _ = outer.bounds
    moved = shapely.transform(outer, lambda xy: xy - [[0.0, 1.0]] * (xy[:, 1:2] < south + 5))
    table.loc[table["part"] == "loop", "geometry"] = moved
    table.to_file(tmp_path / "wire.gpkg", layer="wire")
    options = ["--plan", str(folder / "plan"), "--differences", str(tmp_path / "d.csv"), "--out", str(tmp_path / "out")]
    result = _check(tmp_path / "wire.gpkg", *options, folder=folder)
    assert result.exit_code == 3
    assert "greatest offset 1.00 m" in result.output
    rows = _rows(tmp_path / "out")
    assert rows["must_fix", "lot-line-wire", "7"] >= 1
    assert rows["caution", "off-plan", table.loc[table["part"] == "loop", "loop_id"].iloc[0]] >= 1
    with (tmp_path / "d.csv").open(encoding="utf-8") as file:
        offsets = [float(row["offset_m"]) for row in csv.DictReader(file)]
    assert max(offsets) == pytest.approx(1.0, abs=2e-3)
    assert sum(offset > 0.999 for offset in offsets) / 2 == pytest.approx(east - west, abs=8.0)
    off = geopandas.read_file(tmp_path / "out" / "plan.gpkg", layer="conflicts").query("rule == 'off-plan'")
    assert off["measured"].max() == pytest.approx(1.0, abs=0.01)
    assert off.total_bounds[1] == pytest.approx(south - 1.0, abs=0.01)
    assert (off.total_bounds[0], off.total_bounds[2]) == pytest.approx((west, east), abs=1.0)


def test_without_an_output_folder_it_only_speaks(folder: Path) -> None:
    result = _check(folder / "plan" / "geojson" / "wire.geojson", folder=folder)
    assert result.exit_code in {0, 3}
    assert "Against the plan" not in result.output
    assert "utility-tolerance" in result.output


def test_a_table_of_differences_needs_a_plan_and_a_free_name(folder: Path, tmp_path: Path) -> None:
    wire, table = folder / "plan" / "geojson" / "wire.geojson", tmp_path / "d.csv"
    alone = _check(wire, "--differences", str(table), folder=folder)
    assert (alone.exit_code, "--plan DIR" in alone.output) == (2, True)
    table.write_text("mine", encoding="utf-8")
    taken = _check(wire, "--plan", str(folder / "plan"), "--differences", str(table), folder=folder)
    assert (taken.exit_code, "exists already" in taken.output) == (2, True)
    assert table.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.write_text("", encoding="utf-8"), ("empty",)),
        (lambda path: _write(path, (Point(3, 3), {})), ("none of its 1 features is a line of wire", "wire.geojson")),
        (lambda path: _write(path, (LineString([(5, 5), (30, 5), (30, 30)]), {})), ("closed", "35.37 m apart")),
        (
            lambda path: _write(path, (LineString([(5, 5), (30, 30), (30, 5), (5, 30), (5, 5)]), {})),
            ("crosses itself", "simple closed line"),
        ),
        (
            lambda path: _write(path, (box(5, 5, 60, 40).exterior, {}), (LineString([(10, 10), (20, 10)]), {})),
            ("open line of 10.0 m", "lead-in"),
        ),
    ],
    ids=["empty", "points", "open", "figure of eight", "loose end"],
)
def test_what_is_no_wire_is_refused_with_the_reason(
    make: Any, words: tuple[str, ...], folder: Path, tmp_path: Path
) -> None:
    from parcelfence.errors import InputError

    make(tmp_path / "wire.geojson")
    with pytest.raises(InputError) as caught:
        _check(tmp_path / "wire.geojson", folder=folder)
    for word in words:
        assert word in str(caught.value)


def test_a_drawing_without_a_crs_is_refused(folder: Path) -> None:
    from parcelfence.errors import CrsError

    with pytest.raises(CrsError, match="does not say"):
        _check(folder / "plan" / "plan.dxf", folder=folder)


def test_a_walk_with_a_hand_held_receiver_leaves_the_lot_line_unsure(folder: Path, tmp_path: Path) -> None:
    wire = folder / "plan" / "flags.gpx"
    plain = _check(wire, folder=folder)
    assert "--wire-accuracy" in plain.output
    result = _check(wire, "--wire-accuracy", "4 m", "--out", str(tmp_path / "out"), folder=folder)
    assert "--wire-accuracy" not in result.output
    rows = geopandas.read_file(tmp_path / "out" / "plan.gpkg", layer="conflicts").query("rule == 'coordinate-accuracy'")
    assert set(rows["layer"]) >= {"parcel"}
    assert rows["limit"].min() > 4.0


def test_the_file_of_the_wire_stands_in_the_provenance(folder: Path, tmp_path: Path) -> None:
    wire = folder / "plan" / "geojson" / "wire.geojson"
    _check(wire, "--out", str(tmp_path / "out"), folder=folder)
    summary = (tmp_path / "out" / "summary.json").read_text(encoding="utf-8")
    assert '"wire.geojson"' in summary
