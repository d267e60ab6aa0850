"""Where a located utility may lie, by the quality levels of PAS 128 and AS 5488.

Sources: PAS 128 (British Standards Institution): B1 150 mm or 15 % of the depth, B2 250 mm or 40 %, B3 500 mm, B4
suspected but not detected; that the greater of the two counts is from memory.  AS 5488: level B 300 mm horizontally,
level A 50 mm (A from memory).  ASCE 38-22 gives no accuracy at all, so its levels C and D keep the tolerance zone.
"""

from __future__ import annotations

import pytest
from shapely import LineString

from parcelfence.inputs.mark_details import mark_details
from parcelfence.site.accuracy import mark_uncertainty_m
from tests.rules import sites

LINE = LineString([(0, 0), (30, 0)])


@pytest.mark.parametrize(
    ("level", "depth_m", "expected_m"),
    [
        ("B1", 0.5, 0.15),
        ("B2", 0.5, 0.25),
        ("B3", 0.5, 0.50),
        ("B1", 1.0, 0.15),
        ("B2", 1.5, 0.60),
        ("B3", 1.5, 0.50),
        ("B1", 2.0, 0.30),
        ("B3", 2.0, 0.50),
    ],
)
def test_sub_levels_have_the_accuracy_of_pas_128_at_their_depth(level: str, depth_m: float, expected_m: float) -> None:
    utility = sites.utility(LINE, quality_level=level, depth_m=depth_m, tolerance_m=0.3)
    assert mark_uncertainty_m(utility) == pytest.approx(expected_m)


@pytest.mark.parametrize(("level", "at_least_m"), [("B1", 0.30), ("B2", 0.80), ("B3", 0.50)])
def test_without_a_depth_the_unsafe_side_is_excluded(level: str, at_least_m: float) -> None:
    """No value for a depth of 2 m or less may be larger than what is taken when nobody stated the depth."""
    assert mark_uncertainty_m(sites.utility(LINE, quality_level=level, tolerance_m=0.3)) >= at_least_m


def test_suspected_lines_keep_the_tolerance_zone_and_level_b_of_as_5488_its_own_figure() -> None:
    assert mark_uncertainty_m(sites.utility(LINE, quality_level="B4", tolerance_m=0.61)) == 0.61
    assert mark_uncertainty_m(sites.utility(LINE, quality_level="B", tolerance_m=0.61)) == 0.30
    assert mark_uncertainty_m(sites.utility(LINE, quality_level="A", tolerance_m=0.61)) == 0.05


@pytest.mark.parametrize(
    ("columns", "depth_m"),
    [
        ({"depth": 1.2}, 1.2),
        ({"depth": "4 ft"}, 1.2192),
        ({"depth_ft": 4}, 1.2192),
        ({"cover_in": "30"}, 0.762),
        ({"depth": "unknown"}, None),
        ({"depth": 0}, None),
        ({}, None),
    ],
)
def test_depths_are_read_in_their_units(columns: dict[str, object], depth_m: float | None) -> None:
    found = mark_details({"quality": "QL-B2", **columns})
    assert found.quality_level == "B2"
    assert found.depth_m == (None if depth_m is None else pytest.approx(depth_m))
