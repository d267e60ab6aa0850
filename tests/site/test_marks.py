"""Locate marks become utilities: lines as given, points joined, nothing lost without a word."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist
from shapely import LineString, MultiLineString, Point, box

from parcelfence.inputs.source import Source
from parcelfence.settings import Settings
from parcelfence.site.marks import MarkRecord, Marks, utilities
from parcelfence.site.point_marks import distinct_points, joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

SETTINGS = Settings()
BASE_M = SETTINGS.tolerance_zone_m
places = st.floats(0, 200).map(lambda value: round(value, 1))


def mark(geometry: BaseGeometry, *, position: int = 0, file: str = "marks.geojson", **attributes: Any) -> MarkRecord:
    source = Source(role="marks", path=Path(file))
    return MarkRecord(geometry=geometry, attributes=attributes, source=source, position=position)


def dots(points: Sequence[tuple[float, float]], **attributes: Any) -> list[MarkRecord]:
    return [mark(Point(point), position=index, **attributes) for index, point in enumerate(points)]


def made(records: Sequence[MarkRecord], **settings: Any) -> Marks:
    return utilities(records, settings=Settings.from_words(settings))


def test_lines_and_areas_are_taken_as_given() -> None:
    line, vault = LineString([(0, 0), (10, 5)]), box(3, 3, 5, 5)
    gas, electric = made([mark(line, utility="gas"), mark(vault, utility="elec", position=1)]).utilities
    assert (gas.id, gas.kind, gas.apwa_color, gas.geometry) == ("gas-1", "gas", "yellow", line)
    assert (gas.source_id, gas.inferred, gas.tolerance_m) == ("marks.geojson#1", False, BASE_M)
    assert (electric.id, electric.geometry) == ("electric-1", vault)


def test_a_line_of_several_parts_is_several_utilities() -> None:
    parts = MultiLineString([[(0, 0), (5, 0)], [(8, 0), (12, 0)]])
    assert [utility.id for utility in made([mark(parts, utility="gas")]).utilities] == ["gas-1", "gas-2"]


@given(st.permutations(range(12)))
def test_shuffled_points_give_the_line_that_was_painted(order: list[int]) -> None:
    painted = [(4.0 * n, 3 * np.sin(n / 3)) for n in range(12)]
    result = made(dots([painted[n] for n in order], utility="tel", ticket="T1"))
    (line,) = result.utilities
    assert line.inferred
    assert line.geometry.equals_exact(LineString(painted), 1e-9) or line.geometry.equals_exact(
        LineString(painted[::-1]), 1e-9
    )


def test_points_are_joined_per_kind_and_ticket() -> None:
    records = [
        *dots([(0, 0), (10, 0)], utility="gas", ticket="A"),
        *dots([(0, 1), (10, 1)], utility="Gas", ticket="B"),
        *dots([(0, 2), (10, 2)], utility="water", ticket="A"),
    ]
    assert [utility.geometry.length for utility in made(records).utilities] == [10, 10, 10]


def test_unknown_marks_of_different_words_are_not_joined() -> None:
    records = [*dots([(0, 0), (10, 0)], utility="blorp"), *dots([(0, 1), (10, 1)], utility="zonk")]
    assert [utility.raw_kind for utility in made(records).utilities] == ["blorp", "zonk"]


def test_no_line_leaps_over_a_gap() -> None:
    points = [(0, 0), (10, 0), (20, 0), (51, 0), (61, 0)]
    lines = made(dots(points, utility="gas")).utilities
    assert sorted(line.geometry.length for line in lines) == [10, 20]
    assert made(dots(points, utility="gas"), mark_join_gap="31 m").utilities[0].geometry.length == 61


def test_a_branch_is_a_line_of_its_own() -> None:
    stem = [(x, 0) for x in range(0, 50, 5)]
    branch = [(20, y) for y in range(5, 20, 5)]
    trunk, side = made(dots(stem + branch, utility="water")).utilities
    assert trunk.geometry.length == 45
    assert side.geometry.length == 15
    assert trunk.geometry.intersects(side.geometry)


def test_a_wobble_of_the_paint_is_no_branch() -> None:
    points = [(x, 0.0) for x in range(0, 50, 5)] + [(20.0, 0.2)]
    assert len(made(dots(points, utility="water")).utilities) == 1


def test_points_shot_twice_are_dropped_and_told() -> None:
    result = made(dots([(0, 0), (0.02, 0.01), (8, 0), (8, 0)], utility="gas"))
    (line,) = result.utilities
    assert len(line.geometry.coords) == 2
    assert any("1 duplicate" in remark for remark in result.remarks)
    assert any("1 shot twice" in remark for remark in result.remarks)


def test_a_lone_point_is_a_disc_that_keeps_its_tolerance_zone() -> None:
    result = made(dots([(0, 0), (8, 0), (300, 0)], utility="gas"))
    line, disc = result.utilities
    assert disc.geometry.geom_type == "Polygon"
    assert disc.geometry.area < 0.01
    assert disc.tolerance_m == BASE_M
    assert any("1 too far from the others" in remark for remark in result.remarks)
    assert line.geometry.geom_type == "LineString"


def test_manholes_are_not_joined() -> None:
    result = made(dots([(0, 0), (20, 0)], type="Sanitary Manhole"))
    assert [utility.geometry.geom_type for utility in result.utilities] == ["Polygon", "Polygon"]
    assert any("2 manholes, valves and the like" in remark for remark in result.remarks)


def test_the_same_line_drawn_twice_counts_once() -> None:
    line = LineString([(0, 0), (10, 0), (20, 5)])
    result = made([
        mark(line, uid=1, utility="elec"),
        mark(line.reverse(), uid=2, utility="Electric"),
        mark(line, utility="gas"),
    ])
    assert [utility.kind for utility in result.utilities] == ["electric", "gas"]
    assert any("1 duplicate" in remark for remark in result.remarks)


def test_identifiers_are_unique_and_may_come_from_the_file() -> None:
    source = Source(role="marks", path=Path("marks.geojson"), id_field="uid")
    records = [
        MarkRecord(
            geometry=LineString([(0, n), (9, n)]), attributes={"utility": "gas", "uid": uid}, source=source, position=n
        )
        for n, uid in enumerate(["gas-1", "7", "8", "8", None])
    ]
    ids = [utility.id for utility in made(records).utilities]
    assert ids == ["gas-1", "7", "gas-2", "gas-3", "gas-4"]


def test_tolerance_is_reckoned_from_the_edge_of_the_pipe() -> None:
    """CGA Best Practices 5-19: half the facility's width and the tolerance each side; 12 in and 18 in give 1.2192 m."""
    (pipe,) = made(
        [mark(LineString([(0, 0), (9, 0)]), utility="water", diameter="12 in")], tolerance_zone="18 in"
    ).utilities
    assert 2 * pipe.tolerance_m == pytest.approx(1.2192, abs=1e-4)


def test_records_and_inferred_lines_have_a_wider_tolerance() -> None:
    line = LineString([(0, 0), (9, 0)])
    (records,) = made([mark(line, utility="gas", quality="QL-D")]).utilities
    assert records.tolerance_m == pytest.approx(1.5 * BASE_M)
    (inferred,) = made(dots([(0, 0), (5, 0), (17, 0)], utility="gas")).utilities
    assert inferred.tolerance_m == pytest.approx(BASE_M + 0.05 * 12)


def test_a_tolerance_area_gets_no_tolerance_on_top() -> None:
    (area,) = made([mark(box(0, 0, 9, 1), utility="gas", type="tolerance zone")]).utilities
    assert area.tolerance_m == 0


def test_an_inferred_line_is_as_good_as_its_worst_mark() -> None:
    records = [
        mark(Point(0, 0), utility="gas", ticket="A", quality="QL-A", marked_on="2026-04-16"),
        mark(Point(5, 0), utility="gas", ticket="A", quality="QL-C", marked_on="2026-04-14"),
    ]
    (line,) = made(records).utilities
    assert (line.quality_level, line.marked_on) == ("C", "2026-04-14")
    (half,) = made([*records, mark(Point(9, 0), utility="gas", ticket="A")]).utilities
    assert (half.quality_level, half.marked_on) == ("", "")


def test_what_is_not_understood_is_kept_and_told() -> None:
    result = made([mark(LineString([(0, 0), (9, 0)]), utility="?")])
    (utility,) = result.utilities
    assert (utility.kind, utility.metallic, utility.apwa_color) == ("unknown", True, "")
    assert any("strictest" in remark and "marks.geojson#1" in remark for remark in result.remarks)


def test_white_lines_are_no_utility_and_pink_ones_may_be() -> None:
    line = LineString([(0, 0), (9, 0)])
    result = made([mark(line, colour="white"), mark(line, colour="pink", position=1), mark(line, utility="survey")])
    assert [utility.kind for utility in result.utilities] == ["unknown"]
    assert any("left out" in remark for remark in result.remarks)
    assert any("some locators use" in remark for remark in result.remarks)


def test_a_disused_line_is_kept_and_told() -> None:
    result = made([mark(LineString([(0, 0), (9, 0)]), utility="gas", status="ABANDONED")])
    assert len(result.utilities) == 1
    assert any("disused" in remark for remark in result.remarks)


def test_no_marks_make_no_utilities() -> None:
    assert made([]) == Marks(utilities=())


@given(st.lists(st.tuples(places, places), min_size=2, max_size=40, unique=True))
def test_joined_lines_are_the_shortest_tree_less_its_long_edges(points: list[tuple[float, float]]) -> None:
    """Total length against scipy's minimum spanning tree; every point is on a line, no edge is over the gap."""
    array = np.array(points)
    array = array[distinct_points(array)]
    gap_m = 30.0
    lines = joined(array, gap_m=gap_m)
    edges = [edge for line in lines for edge in pairwise(line)]
    lengths = [float(np.hypot(*(array[a] - array[b]))) for a, b in edges]
    assert all(length <= gap_m for length in lengths)
    assert len(set(map(frozenset, edges))) == len(edges)
    tree = minimum_spanning_tree(cdist(array, array)).data
    wobbles = len(array) - len({index for line in lines for index in line})
    assert sum(lengths) == pytest.approx(tree[tree <= gap_m].sum(), abs=0.3 * wobbles + 1e-9)


def test_a_few_hundred_points_are_joined_in_no_time() -> None:
    rng = random.Random(4)  # noqa: S311  (test data)
    painted = [(2.0 * n, 20 * float(np.sin(n / 20))) for n in range(400)]
    (line,) = made(dots(rng.sample(painted, 400), utility="gas")).utilities
    assert shapely.equals_exact(line.geometry.normalize(), LineString(painted).normalize(), 1e-9)
