"""What is odd about inputs, as a person at the command line reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer
from shapely import Point, box
from shapely.affinity import translate

from parcelfence.errors import InputError, SelectionError
from parcelfence.site.features import overlapping_pairs
from tests.inputs.layers import feature, geojson
from tests.small_sites import GAS, HOUSE, LOT, UTM, run, write_layer, write_site

if TYPE_CHECKING:
    from pathlib import Path

FAR = 1000.0 * 40


def said(*arguments: object) -> str:
    return " ".join(run(*arguments).output.split())


def test_layers_of_another_place_are_named_with_the_distance(tmp_path: Path) -> None:
    lots = write_layer(tmp_path / "parcels.geojson", (LOT, {"id": "7"}))
    houses = write_layer(tmp_path / "buildings.geojson", *((translate(HOUSE, FAR + 30 * n, 0), {}) for n in range(3)))
    marks = write_layer(tmp_path / "marks.geojson", (translate(GAS, 0, 3250.0), {"kind": "gas"}))
    inspected = said("inspect", lots, houses, marks)
    assert "it lies 40 km away from" in inspected
    assert "it lies 3.2 km away from" in inspected
    planned = said("plan", "--parcels", lots, "--buildings", houses, "--marks", marks, "--dry-run")
    assert (
        "Nothing of buildings.geojson (buildings, 3 features) lies near the property; the nearest lies 40 km away"
        in planned
    )
    assert "None of the 1 marks of marks.geojson comes near the property; the nearest lies 3.2 km away" in planned
    in_feet = said("plan", "--parcels", lots, "--buildings", houses, "--units", "us", "--dry-run")
    assert "the nearest lies 25 miles away" in in_feet


def test_a_layer_of_the_whole_town_is_not_elsewhere(tmp_path: Path) -> None:
    lots = write_layer(tmp_path / "parcels.geojson", (LOT, {"id": "7"}))
    both = [(translate(HOUSE, side * 3000.0, side * 3000.0), {}) for side in (-1, 1)]
    houses = write_layer(tmp_path / "buildings.geojson", *both)
    assert "layer-elsewhere" not in said("plan", "--parcels", lots, "--buildings", houses, "--dry-run")


def test_parcels_that_overlap_are_named(tmp_path: Path) -> None:
    other, sliver = box(40, 0, 100, 40), box(-40, 0, 0.1, 40)
    rows = [(LOT, {"id": "7"}), (other, {"id": "8"}), (sliver, {"id": "6"}), (LOT, {"id": "7b"})]
    lots = write_layer(tmp_path / "parcels.geojson", *rows)
    inspected = said("inspect", lots)
    # the copy of the lot overlaps the same neighbour
    assert "2 pairs of parcels overlap: most of all features" in inspected
    assert "by 800 m2" in inspected.replace("799", "800").replace("801", "800")
    planned = said("plan", "--parcels", lots, "--select", "id=7", "--dry-run")
    assert "Parcel 8 of the same file covers 800" in planned or "Parcel 8 of the same file covers 0.08 ha" in planned
    assert "(33%)" in planned
    assert "Parcel 6 of" not in planned
    assert "Parcel 7b of" not in planned


def test_a_parcel_without_geometry_is_said_to_exist(tmp_path: Path) -> None:
    lots = geojson(
        tmp_path / "parcels.geojson", [feature(None, parcel_no="31-07"), feature(_ring(), parcel_no="31-08")]
    )
    for value, words in (
        ("31-07", r"feature 1 \(parcel_no 31-07\): .* exists, but has no geometry"),
        ("31-09", "no parcel has"),
    ):
        with pytest.raises(SelectionError, match=words):
            run("plan", "--parcels", lots, "--select", f"parcel_no={value}", "--dry-run")


def test_a_monster_is_named_by_inspect(tmp_path: Path) -> None:
    roads = Point(0, 0).buffer(2000.0, quad_segs=2000).difference(Point(0, 0).buffer(1990.0, quad_segs=2000))
    lots = write_layer(tmp_path / "parcels.geojson", (translate(LOT, 5000, 0), {"id": "7"}), (roads, {"id": "roads"}))
    assert "feature 2 (id roads) has 16,002 vertices and is 5.7 km across" in said("inspect", lots)


def test_repairs_far_from_the_property_are_not_those_of_its_plan(tmp_path: Path) -> None:
    bow_tie = [[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]
    far = {"type": "Polygon", "coordinates": [[[-76.0 + x / 1e3, 42.9 + y / 1e3] for x, y in bow_tie]]}
    lots = geojson(tmp_path / "parcels.geojson", [feature(_ring(), id="1"), feature(far, id="2")])
    assert "outline mended" in said("inspect", lots)
    assert "repaired-input" not in said("plan", "--parcels", lots, "--select", "id=1", "--dry-run", "-v")
    bent = {"type": "Polygon", "coordinates": [[[-76.2, 42.8, 5.0], *_ring()["coordinates"][0][1:]]]}  # type: ignore[index]
    near = geojson(tmp_path / "near.geojson", [feature(bent, id="1"), feature(far, id="2")])
    folder = tmp_path / "out"
    run("plan", "--parcels", near, "--select", "id=1", "--out", folder)
    conflicts = (folder / "geojson" / "conflicts.geojson").read_text("utf-8")
    assert "heights (Z) dropped" in conflicts
    assert "outline mended" not in conflicts


def test_check_asks_for_a_line_where_areas_are_given(tmp_path: Path) -> None:
    project = write_site(tmp_path / "site", buildings=[(HOUSE, {})])
    with pytest.raises(InputError, match=r"^parcels.geojson: its only feature is an area\. Wire is a line"):
        run("check", tmp_path / "site" / "parcels.geojson", "--site", project)


def _ring() -> dict[str, object]:
    ring = [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]
    return {"type": "Polygon", "coordinates": [[[-76.2 + x / 1e3, 42.8 + y / 1e3] for x, y in ring]]}


def test_common_ground_is_measured_in_any_unit() -> None:
    drawn = np.array([translate(LOT, 480_000 + 45 * n, 4_740_000) for n in range(3)], dtype=object)
    to_degrees = Transformer.from_crs(UTM, 4326, always_xy=True)
    degrees = shapely.transform(drawn, to_degrees.transform, interleaved=False)
    for parcels, crs in ((drawn, UTM), (degrees, CRS.from_epsg(4326))):
        pairs = overlapping_pairs(parcels, crs=crs)
        assert {pair[:2] for pair in pairs} == {(0, 1), (1, 2)}
        assert [pair[2] for pair in pairs] == pytest.approx([600.0, 600.0], rel=0.01)
    assert overlapping_pairs(drawn[:1], crs=UTM) == []
