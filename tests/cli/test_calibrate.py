"""A walk of the sample's wire gives back the reach, in every format, and names the points that do not fit."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from shapely import LineString

from parcelfence.cli.main import parcelfence
from parcelfence.cli.run import in_options
from parcelfence.errors import ParcelFenceError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.zones import field_zones
from tests.sample import sample_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from click.testing import Result

    from parcelfence.finished_plan import Plan

TRUE_REACH_M = 2.8
SET_REACH_M = 2.4384
LINES = tuple(run.line for run in sample_plan().loop.signal_runs)
IDS = tuple(run.loop_id for run in sample_plan().loop.signal_runs)


@dataclass(frozen=True, eq=False)
class Walk:
    """Points in the working CRS, and which of them are mistaken."""

    points: np.ndarray
    wrong: np.ndarray

    @property
    def names(self) -> tuple[str, ...]:
        """What the person called the points."""
        return tuple(f"w{number:03}" for number in range(len(self.points)))

    @property
    def wrong_names(self) -> set[str]:
        """Names of the mistaken ones."""
        return {name for name, wrong in zip(self.names, self.wrong, strict=True) if wrong}

    @property
    def lon_lat(self) -> np.ndarray:
        """On WGS 84."""
        return sample_plan().site.frame.to_wgs84().coordinates(self.points)

    @property
    def stations(self) -> list[tuple[float, float, str, str]]:
        """Station, distance, side and loop of each point, by the nearest loop."""
        rows = []
        for point in shapely.points(self.points):
            loop = min(range(len(LINES)), key=lambda number: LINES[number].distance(point))
            side = "inside" if shapely.Polygon(LINES[loop]).contains(point) else "outside"
            rows.append((LINES[loop].project(point), LINES[loop].distance(point), side, IDS[loop]))
        return rows


def walked(
    reach_m: float = TRUE_REACH_M,
    *,
    lines: Sequence[LineString] = LINES,
    seed: int = 1,
    wrong: float = 0.1,
    outside: bool = False,
) -> Walk:
    """Walk up to the edge of the signal from the roam area every 4 m; noise of 0.15 m, some gross errors."""
    loops = [CurrentLoop.from_line(line) for line in lines]
    (signal,) = field_zones(loops, Receiver(reach_m, 0.3), levels=[1.0])
    band, *islands = sorted(shapely.get_parts(signal), key=lambda part: -part.length)
    edges = [*band.interiors, *(part.exterior for part in islands), *([band.exterior] if outside else [])]
    exact = shapely.get_coordinates([edge.interpolate(at) for edge in edges for at in np.arange(0.0, edge.length, 4.0)])
    rng = np.random.default_rng(seed)
    points = exact + rng.normal(0.0, 0.15, exact.shape)
    feet = [shapely.get_coordinates(shapely.shortest_line(_union(lines), place))[0] for place in shapely.points(exact)]
    away = (exact - feet) / np.hypot(*(exact - feet).T)[:, None]
    astray = points + away * rng.uniform(1.5, 2.5, (len(points), 1))
    # beside a bend a step away from the wire may lead along the edge of the signal, which is no error at all
    gross = np.flatnonzero(shapely.distance(shapely.points(astray), _union(edges)) > 1.0)
    chosen = rng.choice(gross, round(wrong * len(points)), replace=False)
    points[chosen] = astray[chosen]
    mistaken = np.isin(np.arange(len(points)), chosen)
    return Walk(points, mistaken)


def _union(lines: Sequence[LineString]) -> shapely.Geometry:
    return shapely.MultiLineString([LineString(line.coords) for line in lines])


def _geojson(walk: Walk, path: Path) -> list[str]:
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Point", "coordinates": list(place)}}
        for name, place in zip(walk.names, walk.lon_lat.tolist(), strict=True)
    ]
    (path / "walk.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return [str(path / "walk.geojson")]


def _gpx(walk: Walk, path: Path) -> list[str]:
    """With the flags of the plan, which were loaded into the same device."""
    rows = zip(["Flag 1", "Flag 12", *walk.names], [[0, 0], [0, 0], *walk.lon_lat.tolist()], strict=True)
    points = "".join(f'<wpt lat="{y:.9f}" lon="{x:.9f}"><name>{name}</name></wpt>' for name, (x, y) in rows)
    text = f'<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>'
    (path / "walk.gpx").write_text(text)
    return [str(path / "walk.gpx")]


def _table(path: Path, *rows: Sequence[Any]) -> str:
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    return str(path)


def _survey(walk: Walk, path: Path) -> list[str]:
    rows = [(n, f"{y:.3f}", f"{x:.3f}", "", "heard") for n, (x, y) in zip(walk.names, walk.points, strict=True)]
    return [_table(path / "walk.csv", *rows), "--walk-crs", "plan"]


def _degrees(walk: Walk, path: Path) -> list[str]:
    rows = [(name, f"{y:.9f}", f"{x:.9f}") for name, (x, y) in zip(walk.names, walk.lon_lat, strict=True)]
    return [_table(path / "walk.csv", ("name", "latitude", "longitude"), *rows)]


def _stations(walk: Walk, path: Path) -> list[str]:
    rows = [
        (name, f"{station:.2f}", f"{distance / 0.3048:.2f}", side, loop)
        for name, (station, distance, side, loop) in zip(walk.names, walk.stations, strict=True)
    ]
    return [_table(path / "walk.csv", ("point", "station", "distance (ft)", "side", "loop"), *rows)]


def _shapefile(walk: Walk, path: Path) -> list[str]:
    """In feet of a State Plane zone."""
    crs = sample_plan().site.frame.crs
    table = geopandas.GeoDataFrame({"name": walk.names}, geometry=shapely.points(walk.points), crs=crs)
    table.to_crs(2261).to_file(path / "walk.shp")
    return [str(path / "walk.shp"), "--accuracy", "6 in"]


FORMATS: dict[str, Callable[[Walk, Path], list[str]]] = {
    "GeoJSON": _geojson,
    "GPX": _gpx,
    "survey CSV": _survey,
    "longitude and latitude": _degrees,
    "stations": _stations,
    "shapefile": _shapefile,
}


def metric_plan() -> Plan:
    """Give the sample's plan for a person who thinks in metres."""
    return replace(sample_plan(), settings=sample_plan().settings.replaced(units="metric"))


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sample's plan."""
    path = tmp_path_factory.mktemp("calibrate") / "plan"
    metric_plan().write(path, formats=("gpkg",))
    return path


def run(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(parcelfence, ["calibrate", "--plan", str(folder), *arguments], catch_exceptions=False)


def data(folder: Path, *arguments: str) -> dict[str, Any]:
    result = run(folder, *arguments, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def refusal(folder: Path, *arguments: str) -> str:
    with pytest.raises(ParcelFenceError) as caught:
        run(folder, *arguments)
    return in_options(caught.value)


@pytest.mark.parametrize("name", FORMATS)
def test_a_walk_gives_back_the_reach_and_names_the_outliers(name: str, folder: Path, tmp_path: Path) -> None:
    walk = walked()
    found = data(folder, *FORMATS[name](walk, tmp_path))
    assert found["points"] == len(walk.points)
    assert found["reach_m"] == pytest.approx(TRUE_REACH_M, rel=0.03)
    assert abs(found["reach_m"] - TRUE_REACH_M) < 4.0 * found["uncertainty_m"]
    assert found["set_reach_m"] == pytest.approx(SET_REACH_M)
    assert found["typical_error_m"] == pytest.approx(0.15, abs=0.08)
    assert found["verdict"] == "farther"
    assert found["reach_setting_m"] == pytest.approx(found["reach_m"], abs=1e-3)
    named = {row["point"] for row in found["outliers"]}
    assert walk.wrong_names <= named
    assert len(named - walk.wrong_names) <= 0.05 * len(walk.points)
    assert all(row["reason"] for row in found["outliers"])
    assert all(row["residual_m"] > 0.5 for row in found["outliers"] if row["point"] in walk.wrong_names)


@pytest.mark.parametrize("seed", range(2, 8))
@pytest.mark.parametrize("reach_m", [1.9, 3.3])
def test_other_walks_and_reaches(seed: int, reach_m: float, folder: Path, tmp_path: Path) -> None:
    walk = walked(reach_m, seed=seed, outside=seed % 2 == 0)
    found = data(folder, *_geojson(walk, tmp_path))
    assert found["reach_m"] == pytest.approx(reach_m, rel=0.03)
    assert walk.wrong_names <= {row["point"] for row in found["outliers"]}


def test_the_report_speaks_in_plain_words(folder: Path, tmp_path: Path) -> None:
    walk = walked()
    result = run(folder, *_geojson(walk, tmp_path))
    assert result.exit_code == 0
    text = " ".join(result.output.split())
    setting = re.search(r"reach setting to use: (\d\.\d\d) m \(plan again with it", text)
    assert setting is not None
    assert float(setting[1]) == pytest.approx(TRUE_REACH_M, rel=0.03)
    assert "Set reach 2.44 m" in text
    assert "farther than set: it may cross the lot line" in text
    assert "(standard error)" in text
    assert "Walk again after every change" in text
    assert "Test with the receiver in your hand" in text
    for name in walk.wrong_names:
        assert f"{name}, " in text


def test_a_walk_that_agrees_leaves_the_setting_as_it_is(folder: Path, tmp_path: Path) -> None:
    found = data(folder, *_geojson(walked(SET_REACH_M, wrong=0.0), tmp_path))
    assert found["verdict"] == "agrees"
    assert found["reach_setting_m"] == pytest.approx(SET_REACH_M)


def test_a_shift_of_the_whole_walk_is_told_from_a_farther_reach(folder: Path, tmp_path: Path) -> None:
    walk = walked(SET_REACH_M, wrong=0.0)
    off = replace(walk, points=walk.points + np.array([1.9, 1.2]))
    found = data(folder, *_gpx(off, tmp_path))
    assert found["verdict"] == "agrees"
    assert found["common_shift_m"] == pytest.approx([1.9, 1.2], abs=0.1)
    assert found["common_shift_is_sure"]
    text = " ".join(run(folder, *_gpx(off, tmp_path)).output.split())
    assert "to the north-east of where they belong" in text
    south = np.argsort(walk.points[:, 1])[:14]
    side = replace(walk, points=walk.points[south], wrong=walk.wrong[south])
    one_sided = data(folder, *_gpx(side, tmp_path))
    assert one_sided["verdict"] == "vague"
    assert one_sided["reach_mistakable_for_shift"]
    assert "cannot tell a farther reach from a shift" in " ".join(run(folder, *_gpx(side, tmp_path)).output.split())
    exact = data(folder, *_gpx(side, tmp_path), "--common-accuracy", "1 cm")
    assert exact["uncertainty_common_m"] < 0.02
    assert exact["verdict"] == "agrees"
    taped = data(folder, *_stations(walk, tmp_path))
    assert taped["uncertainty_common_m"] == 0.0


def test_three_uneven_points_cannot_judge_the_setting(folder: Path, tmp_path: Path) -> None:
    rows = [("station", "distance_m", "loop"), (40, 1.2, "L1"), (80, 2.6, "L1"), (120, 4.0, "L1")]
    walk = _table(tmp_path / "walk.csv", *rows)
    assert data(folder, walk)["verdict"] == "vague"
    assert "reach setting to use: 2.44 m (as set)" in run(folder, walk).output


def test_the_wire_as_laid_is_taken_instead(folder: Path, tmp_path: Path) -> None:
    """Laid 1 m farther in all round, the wrong way round and without its parts; the lead-in is left out."""
    laid = [LineString(shapely.Polygon(LINES[0]).buffer(-1.0).exterior.coords).reverse(), LINES[1].reverse()]
    table_lines = [*laid, LineString([(9990.0, 10030.0), (9970.0, 10020.0)])]
    kinds, crs = ["", "", "lead-in"], sample_plan().site.frame.crs
    table = geopandas.GeoDataFrame({"kind": kinds}, geometry=table_lines, crs=crs)
    table.to_crs(4326).to_file(tmp_path / "laid.geojson", engine="pyogrio", COORDINATE_PRECISION=9)
    walk = walked(lines=laid)
    found = data(folder, *_geojson(walk, tmp_path), "--wire", str(tmp_path / "laid.geojson"))
    assert found["wire"] == "laid.geojson"
    assert found["reach_m"] == pytest.approx(TRUE_REACH_M, rel=0.03)
    assert walk.wrong_names <= {row["point"] for row in found["outliers"]}
    planned = data(folder, *_geojson(walk, tmp_path))
    assert planned["reach_m"] > TRUE_REACH_M + 0.5


def test_stations_of_the_plan_are_taped_from_the_wire_as_laid(folder: Path, tmp_path: Path) -> None:
    laid = LineString(shapely.Polygon(LINES[0]).buffer(-0.5).exterior.coords)
    loops = [CurrentLoop.from_line(line) for line in (laid, LINES[1])]
    crs = sample_plan().site.frame.crs
    geopandas.GeoDataFrame(geometry=[laid, LINES[1]], crs=crs).to_crs(2261).to_file(tmp_path / "laid.shp")
    (signal,) = field_zones(loops, Receiver(TRUE_REACH_M, 0.3), levels=[1.0])
    edge = max(shapely.get_parts(signal), key=lambda part: part.length).interiors[0]
    places = [edge.interpolate(at) for at in np.arange(0.0, edge.length, 6.0)]
    rows = [(f"{LINES[0].project(laid.interpolate(laid.project(p))):.3f}", f"{laid.distance(p):.3f}") for p in places]
    walk = _table(tmp_path / "walk.csv", ("station", "distance", "loop"), *[(*row, "L1") for row in rows])
    found = data(folder, walk, "--wire", str(tmp_path / "laid.shp"))
    assert found["reach_m"] == pytest.approx(TRUE_REACH_M, rel=0.03)


def test_the_persons_units_and_the_side_of_the_setting(folder: Path, tmp_path: Path) -> None:
    """A plan in feet, whose reach is meant as walked from inside."""
    plan = tmp_path / "plan"
    plan.mkdir()
    (plan / "plan.gpkg").write_bytes((folder / "plan.gpkg").read_bytes())
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    summary["settings"] |= {"units": "us", "reach_seen_from": "inside", "reach_m": 2.6}
    (plan / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    walk = _geojson(walked(wrong=0.0), tmp_path)
    text = " ".join(run(plan, *walk).output.split())
    assert "Set reach 8.00 ft, which is 8.53 ft as walked from inside" in text
    found = data(plan, *walk)
    assert found["reach_setting_m"] > found["reach_m"] + 0.05
    assert f"reach setting to use: {found['reach_setting_m'] / 0.3048:.2f} ft, as walked from inside" in text
    bare = _table(tmp_path / "bare.csv", ("station", "distance", "loop"), (40, 9, "L1"))
    assert "distance_ft or distance_m" in refusal(plan, bare)


def test_a_plan_whose_layers_are_in_another_system_serves_as_well(tmp_path: Path) -> None:
    metric_plan().write(tmp_path / "plan", formats=("gpkg",), dst_crs="EPSG:2261")
    found = data(tmp_path / "plan", *_stations(walked(), tmp_path))
    assert found["reach_m"] == pytest.approx(TRUE_REACH_M, rel=0.03)


def test_weak_neighbours_point_at_a_break(folder: Path, tmp_path: Path) -> None:
    stations = np.arange(0.0, 700.0, 10.0)
    rows = [(f"{at:.0f}", "0.8" if 300 <= at < 350 else "2.6", "L1") for at in stations]
    found = data(folder, _table(tmp_path / "walk.csv", ("station", "distance", "loop"), *rows))
    weak = [row for row in found["outliers"] if "a break, a poor splice" in row["reason"]]
    assert {f"line {int(at / 10) + 2}" for at in range(300, 350, 10)} <= {row["point"] for row in weak}
    assert all(row["residual_m"] < -1.0 for row in weak)


def test_names_from_a_file_are_harmless(folder: Path, tmp_path: Path) -> None:
    rows = [("point", "station", "distance", "loop"), *((f"s{n}", 40 + 10 * n, 2.6, "L1") for n in range(6))]
    walk = _table(tmp_path / "walk.csv", *rows, ("\x1b[31mred", 110, 6.0, "L1"))
    output = run(folder, walk).output
    assert "red" in output
    assert "\x1b[31m" not in output


def test_a_folder_that_is_no_plan_is_refused(folder: Path, tmp_path: Path) -> None:
    walk = _geojson(walked(), tmp_path)
    assert "there is no such folder" in refusal(tmp_path / "nowhere", *walk)
    assert "it is a file" in refusal(tmp_path / "walk.geojson", *walk)
    assert "holds no summary.json" in refusal(tmp_path, *walk)
    other = tmp_path / "other"
    other.mkdir()
    (other / "summary.json").write_text('{"program": {"name": "another"}}', encoding="utf-8")
    assert "not written by parcelfence" in refusal(other, *walk)
    (other / "summary.json").write_text("[]", encoding="utf-8")
    assert "not one of a plan" in refusal(other, *walk)
    (other / "summary.json").write_bytes((folder / "summary.json").read_bytes())
    assert "--formats gpkg" in refusal(other, *walk)
    (other / "plan.gpkg").write_bytes((folder / "plan.gpkg").read_bytes())
    (other / "summary.json").write_text('{"program": {"name": "parcelfence"}}', encoding="utf-8")
    assert "lacks what a plan states" in refusal(other, *walk)


def test_a_walk_elsewhere_or_on_the_wire_is_refused(folder: Path, tmp_path: Path) -> None:
    walk = walked()
    away = _geojson(Walk(walk.points + 200.0, walk.wrong), tmp_path)
    assert "from the wire" in refusal(folder, *away)
    survey, *_ = _survey(walk, tmp_path)
    assert "--walk-crs" in refusal(folder, survey)
    assert "from the wire" in refusal(folder, survey, "--walk-crs", "EPSG:2261")
    on_wire = shapely.get_coordinates([LINES[0].interpolate(at) for at in range(0, 700, 10)])
    text = refusal(folder, *_geojson(Walk(on_wire, np.zeros(len(on_wire), dtype=bool)), tmp_path))
    assert "not the wire" in text


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ((40, 2.6, ""), "names no loop, and the plan has several (L1, K1)"),
        ((40, 2.6, "L7"), "there is no loop 'L7'"),
        ((900, 2.6, "L1"), "station 900.0 m is beyond loop L1 of 729."),
    ],
)
def test_a_station_that_is_on_no_loop_is_refused(row: Any, words: str, folder: Path, tmp_path: Path) -> None:
    walk = _table(tmp_path / "walk.csv", ("station", "distance", "loop"), row)
    assert words in refusal(folder, walk)


def test_too_few_points_a_bad_accuracy_and_a_bad_wire_are_refused(folder: Path, tmp_path: Path) -> None:
    few = _table(tmp_path / "walk.csv", ("station", "distance", "loop"), (40, 2.6, "L1"), (50, 2.6, "L1"))
    assert "At least 3 are needed" in refusal(folder, few)
    assert "must be more than nothing" in refusal(folder, few, "--accuracy", "0 m")
    assert "is not a quantity" in refusal(folder, few, "--accuracy", "good")
    crs = sample_plan().site.frame.crs
    opened = LineString([(9990, 9990), (10000, 9990), (10000, 10000)])
    geopandas.GeoDataFrame(geometry=[opened], crs=crs).to_crs(4326).to_file(tmp_path / "open.geojson")
    assert "no line of it is closed" in refusal(folder, few, "--wire", str(tmp_path / "open.geojson"))
    eight = LineString([(9990, 9990), (10000, 10000), (10000, 9990), (9990, 10000), (9990, 9990)])
    geopandas.GeoDataFrame(geometry=[eight], crs=crs).to_crs(4326).to_file(tmp_path / "eight.geojson")
    assert "crosses itself" in refusal(folder, few, "--wire", str(tmp_path / "eight.geojson"))


def test_the_plan_must_be_named(tmp_path: Path) -> None:
    result = CliRunner().invoke(parcelfence, ["calibrate", str(tmp_path / "walk.gpx")])
    assert result.exit_code == 2
    assert "--plan" in result.output


def test_a_weak_stretch_is_told_with_its_causes(folder: Path, tmp_path: Path) -> None:
    walk = walked(wrong=0.0)
    places = shapely.points(walk.points)
    near = np.array([LINES[0].distance(place) < 5 and 300 < LINES[0].project(place) < 330 for place in places])
    feet = np.array([shapely.get_coordinates(shapely.shortest_line(LINES[0], place))[0] for place in places])
    walk.points[near] -= (walk.points - feet)[near] * 0.45
    found = data(folder, *_geojson(walk, tmp_path))
    (stretch,) = [
        one for one in found["weak_stretches"] if one["loop_id"] == IDS[0] and 290 < one["from_station_m"] < 310
    ]
    assert stretch["to_station_m"] > 320
    assert 0.8 < stretch["shortfall_m"] < 1.7
    assert sum(cause["probability"] for cause in stretch["causes"]) == pytest.approx(1.0, abs=1e-4)
    assert {"aside", "unknown-metal"} & {cause["kind"] for cause in stretch["causes"][:2]}
    text = run(folder, *_geojson(walk, tmp_path)).output
    assert "too near the wire" in text
    assert "Only causes that can be computed are weighed" in " ".join(text.split())
