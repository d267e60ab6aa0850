"""Narrow places: what presses the wire to a wall, and a reach that was tried."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from parcelfence import Settings
from parcelfence.planning import measure
from parcelfence.rules.registry import find_conflicts
from tests.layout.sites import make_site
from tests.rules.sites import loop_of, loop_run

if TYPE_CHECKING:
    from parcelfence.conflict import Conflict
    from parcelfence.site.site import Site

LOT = box(0, 0, 60, 40)


def site_with(gap_m: float, **layers: Any) -> Site:
    return make_site(LOT, buildings=[box(20, gap_m, 36, gap_m + 9)], **layers)


def narrow(site: Site, wanted: Settings | None = None) -> list[Conflict]:
    found = find_conflicts(measure(site, wanted or Settings()).draft)
    return [conflict for conflict in found if conflict.rule == "narrow-place"]


@settings(max_examples=8)
@given(gap=st.floats(2.5, 4.4))
def test_between_wall_and_lot_line_half_the_gap_is_left_less_the_margins(gap: float) -> None:
    (conflict, *_) = narrow(site_with(gap))
    assert conflict.measured == pytest.approx((gap - 0.6) / 2, abs=0.01)
    assert "the lot line leaves it a reach of" in conflict.message


def test_room_enough_is_not_worth_a_word() -> None:
    assert not narrow(site_with(4.7))


@pytest.mark.parametrize(
    ("gap_m", "layers", "cause"),
    [
        (4.9, {"utilities": [LineString([(-10, 2.4), (70, 2.4)])]}, "line U1 leaves it a reach of 0.70 m"),
        (4.9, {"easements": [box(-1, -1, 61, 3.9)]}, "easements-1 leaves it a reach of 0.70 m"),
        (6.0, {"easements": [box(-1, -1, 61, 4.5)]}, "easements-1 leaves it a reach of 1.20 m"),
        (4.9, {"keep_outs": [box(-1, -1, 61, 2.4)]}, "keep_outs-1 leaves it a reach of 1.9"),
    ],
    ids=["gas line", "easement", "another gap", "keep-out"],
)
def test_the_true_cause_is_named_and_the_reach_that_is_advised_works(
    gap_m: float, layers: dict[str, Any], cause: str
) -> None:
    site = site_with(gap_m, **layers)
    (conflict, *_) = narrow(site)
    assert cause in conflict.message
    assert "lot line" not in conflict.message
    tried = re.search(r"A reach of ([\d.]+) m was tried", conflict.remedy)
    assert tried is not None
    again = find_conflicts(measure(site, Settings().replaced(reach_m=float(tried[1]))).draft)
    assert not {"narrow-place", "building-clearance", "building-signal"} & {one.rule for one in again}


def test_where_nothing_that_was_tried_helps_that_is_said() -> None:
    (conflict, *_) = narrow(site_with(4.9, easements=[box(-1, -1, 61, 4.4)]))
    assert "room for no usual reach" in conflict.message
    assert "No smaller reach that was tried helps" in conflict.remedy


def test_a_wire_squeezed_between_a_wall_and_the_lot_line_is_told_and_stops_no_check() -> None:
    """A gap in which not even the least reach fits."""
    loop = loop_of(loop_run(box(0.2, 0.2, 59.8, 39.8)))
    site = make_site(LOT, buildings=[box(20, 0.3, 36, 9)])
    found = find_conflicts(measure(site, Settings(), loop=loop).draft)
    (row,) = [row for row in found if row.rule == "narrow-place"]
    assert "room for no usual reach there" in row.message
