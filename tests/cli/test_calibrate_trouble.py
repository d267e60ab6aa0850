"""Weak signal from the command line: each cause is made with a field summed here, and must be named first."""

from __future__ import annotations

import csv
import json
import math
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from tests.small_sites import HOUSE, run, write_layer, write_site

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

HEIGHT_M = 0.35
THRESHOLD = 2.0 / math.hypot(2.0, HEIGHT_M)
"""Field of a long straight wire at a reach of 2 m, in units of mu0 I / 4 pi."""
FENCE = LineString([(14, 4.6), (40, 4.6)])
NEIGHBOUR = LineString([(-20, 43), (80, 43), (80, 70), (-20, 70), (-20, 43)])
NECK = [
    (4, 4),
    (25, 4),
    (25, 19.6),
    (33, 19.6),
    (33, 4),
    (56, 4),
    (56, 36),
    (33, 36),
    (33, 20.4),
    (25, 20.4),
    (25, 36),
    (4, 36),
]
"""Two yards joined by a neck 8 m long in which two runs lie 0.8 m apart."""
SLOT = [(4, 4), (28.8, 4), (28.8, 28), (31.2, 28), (31.2, 4), (56, 4), (56, 36), (4, 36)]
"""A yard with a slot in which two runs face each other at 2.4 m."""
Wires = list[tuple["NDArray[np.float64]", float]]


def field(points: NDArray[np.float64], wires: Wires) -> NDArray[np.float64]:
    """Field at points, by the law of Biot and Savart for straight pieces."""
    at, total = np.column_stack([points, np.full(len(points), HEIGHT_M)])[:, None], np.zeros((len(points), 3))
    for xy, current in wires:
        ends = np.column_stack([xy, np.zeros(len(xy))])
        a, b = at - ends[:-1], at - ends[1:]
        la, lb = np.linalg.norm(a, axis=2), np.linalg.norm(b, axis=2)
        share = (la + lb) / (la * lb * (la * lb + (a * b).sum(axis=2)))
        total += current * (share[:, :, None] * np.cross(a, b)).sum(axis=1)
    strength: NDArray[np.float64] = np.linalg.norm(total, axis=1)
    return strength


def walk(path: Path, drawn: dict[str, NDArray[np.float64]], wires: Wires, *, seed: int = 5) -> Path:
    """Walk up to the wire from both sides every 3 m, as it is drawn, and tape where the receiver is first heard."""
    random, rows, away_m = np.random.default_rng(seed), [], np.arange(5.0, 0.05, -0.02)
    for loop_id, xy in drawn.items():
        ring, left_is_inside = LineString(xy), shapely.LinearRing(xy).is_ccw
        for station_m in np.arange(2.0, ring.length - 1.0, 3.0):
            before, after = (np.array(ring.interpolate(m).coords[0]) for m in (station_m - 0.5, station_m + 0.5))
            if np.linalg.norm(after - before) < 0.98:  # in a bend nobody knows which way is square
                continue
            left = np.array([before[1] - after[1], after[0] - before[0]])
            for side in ("inside", "outside"):
                square = left if left_is_inside == (side == "inside") else -left
                heard = field((before + after) / 2 + away_m[:, None] * square, wires) >= THRESHOLD
                if heard.any() and not heard[:5].any():
                    taped_m = away_m[heard.argmax()] + random.normal(0.0, 0.05)
                    rows.append((station_m, max(taped_m, 0.05), side, loop_id))
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([("station", "distance", "side", "loop"), *rows])
    return path


def drawn_loops(plan: Path) -> dict[str, NDArray[np.float64]]:
    wire = geopandas.read_file(plan / "plan.gpkg", layer="wire")
    return {row.loop_id: np.asarray(row.geometry.coords) for row in wire.itertuples() if not row.twisted}


def layer(plan: Path, name: str) -> NDArray[np.float64]:
    return np.asarray(geopandas.read_file(plan / "plan.gpkg", layer=name).geometry[0].coords)


def weak(plan: Path, walked: Path) -> list[dict[str, Any]]:
    result = run("calibrate", walked, "--plan", plan, "--accuracy", "0.05", "--json")
    assert result.exit_code == 0
    found: list[dict[str, Any]] = json.loads(result.stdout)["weak_stretches"]
    return found


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plan a yard with an inner loop, a wire fence near the south run, and a neighbour's loop in the north."""
    folder = tmp_path_factory.mktemp("trouble")
    project = write_site(
        folder / "site",
        {"reach": 2.0},
        buildings=[(HOUSE, {})],
        keep_outs=[(box(44, 24, 50, 30), {"kind": "pool"})],
        fences=[(FENCE, {"kind": "wire fence"})],
        other_loops=[(NEIGHBOUR, {})],
    )
    assert run("plan", project, "--out", folder / "plan", "--formats", "gpkg").exit_code in {0, 3}
    return folder / "plan"


def built(tmp_path: Path, corners: list[tuple[float, float]], *, splice: Point | None = None) -> Path:
    """Record a wire as it was built, with corners rounded by half a metre."""
    project = write_site(tmp_path / "site", {"reach": 2.0}, buildings=[(box(8, 24, 14, 30), {})])
    rounded = shapely.orient_polygons(shapely.Polygon(corners).buffer(-0.3).buffer(0.6).buffer(-0.3))
    wire = write_layer(tmp_path / "wire.geojson", (LineString(rounded.exterior.coords), {}))
    record = tmp_path / "record.toml"
    text = 'laid_on = "2026-03-01"\n'
    if splice is not None:
        station_m = LineString(rounded.exterior.coords).project(splice)
        text += f'[[splice]]\nat = "L1 {station_m:.2f} m"\n'
    record.write_text(text, encoding="utf-8")
    out = tmp_path / "built"
    result = run("check", wire, "--site", project, "--record", record, "--out", out)
    assert result.exit_code in {0, 3}, result.output
    return out


def test_a_sound_wire_has_no_weak_stretch(planned: Path, tmp_path: Path) -> None:
    drawn = drawn_loops(planned)
    for seed in range(5):
        assert weak(planned, walk(tmp_path / "walk.csv", drawn, [(xy, 1.0) for xy in drawn.values()], seed=seed)) == []


def test_a_fence_of_metal_beside_the_wire_is_named(planned: Path, tmp_path: Path) -> None:
    drawn, fence = drawn_loops(planned), layer(planned, "fences")
    circuit = np.vstack([fence, fence[-1] + [0, -66], fence[0] + [0, -66], fence[:1]])
    wires = [*((xy, 1.0) for xy in drawn.values()), (circuit, -0.35)]
    cause = weak(planned, walk(tmp_path / "walk.csv", drawn, wires))[0]["causes"][0]
    assert (cause["kind"], cause["about"]) == ("metal", "wire fence fence 1")


def test_a_neighbours_loop_is_named_though_no_point_stands_out_alone(planned: Path, tmp_path: Path) -> None:
    drawn = drawn_loops(planned)
    wires = [*((xy, 1.0) for xy in drawn.values()), (layer(planned, "other_loops"), 0.8)]
    cause = weak(planned, walk(tmp_path / "walk.csv", drawn, wires))[0]["causes"][0]
    assert (cause["kind"], cause["about"]) == ("other-loop", "other loop 1")
    assert cause["size"] == pytest.approx(0.8, abs=0.15)


def test_an_inner_loop_that_a_joint_bypasses_is_named_for_itself_and_for_what_it_weakens_beside_it(
    planned: Path, tmp_path: Path
) -> None:
    drawn = drawn_loops(planned)
    found = weak(planned, walk(tmp_path / "walk.csv", drawn, [(drawn["L1"], 1.0), (drawn["K1"], 0.5)]))
    named = {(stretch["loop_id"], *(stretch["causes"][0][key] for key in ("kind", "about"))) for stretch in found}
    assert ("K1", "bypassed-loop", "") in named
    assert named <= {("K1", "bypassed-loop", ""), ("L1", "bypassed-loop", "K1")}
    assert found[-1]["causes"][0]["size"] == pytest.approx(0.5, abs=0.1)


def test_a_facing_run_that_lies_nearer_than_drawn_is_named(tmp_path: Path) -> None:
    plan = built(tmp_path, SLOT)
    drawn = drawn_loops(plan)
    xy = shapely.get_coordinates(shapely.segmentize(LineString(drawn["L1"]), 0.5))
    south_west = xy.min(axis=0)
    x, y = (xy - south_west).T
    slot = (x > 26.0) & (x < 28.5) & (y > 5.0) & (y < 19.0)
    truth = xy - np.column_stack([np.where(slot, 1.2, 0.0), np.zeros(len(xy))])
    found = weak(plan, walk(tmp_path / "walk.csv", drawn, [(truth, 1.0)]))
    first = {stretch["causes"][0]["kind"]: stretch for stretch in found}
    assert set(first) == {"facing-run", "aside"}  # the run that was moved lies aside, the other one faces it
    assert first["facing-run"]["causes"][0]["size"] == pytest.approx(1.2, abs=0.31)
    assert first["aside"]["causes"][0]["size"] == pytest.approx(-1.2, abs=0.21)


def test_a_turn_that_a_splice_shorts_is_named(tmp_path: Path) -> None:
    plan = built(tmp_path, NECK, splice=Point(29, 20.4))
    drawn = drawn_loops(plan)
    xy = shapely.get_coordinates(shapely.segmentize(LineString(drawn["L1"]), 0.5))
    middle_x = (xy[:, 0].min() + xy[:, 0].max()) / 2 - 1.0
    turn = np.roll(xy[:-1], -int(np.flatnonzero(np.diff((xy[:-1, 0] > middle_x).astype(int)) == 1)[0]) - 1, axis=0)
    turn = turn[turn[:, 0] > middle_x]
    found = weak(plan, walk(tmp_path / "walk.csv", drawn, [(xy, 1.0), (np.vstack([turn, turn[:1]]), -0.4)]))
    causes = [stretch["causes"][0] for stretch in found if len(stretch["points"]) > 4]
    assert {cause["kind"] for cause in causes} == {"shorted-turn"}
    assert causes[0]["size"] == pytest.approx(0.4, abs=0.1)
    assert "S1" in causes[0]["about"]
