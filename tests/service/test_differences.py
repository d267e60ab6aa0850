"""Differences of a wire from its plan."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Polygon, box
from shapely.affinity import translate

from parcelfence.service.differences import differences, off_plan_remarks
from parcelfence.settings import Settings
from tests.rules import sites

OUTLINE = box(3, 3, 57, 37)
PLAN = sites.loop_of(sites.loop_run(OUTLINE), sites.lead_in((20, 20), (20, 3)))


def test_the_plan_itself_is_nowhere_off() -> None:
    found = differences(PLAN, PLAN, tolerance_m=0.01)
    assert found.greatest_m == pytest.approx(0.0, abs=1e-12)
    assert not found.off
    assert not found.missed
    assert found.length_m == found.planned_length_m == pytest.approx(176 + 17)


@given(east_m=st.floats(-1.5, 1.5), north_m=st.floats(-1.5, 1.5))
def test_a_shifted_wire_is_off_by_no_more_than_the_shift(east_m: float, north_m: float) -> None:
    shifted = sites.loop_of(sites.loop_run(translate(OUTLINE, east_m, north_m)))
    found = differences(shifted, sites.loop_of(PLAN.runs[0]), tolerance_m=0.3)
    truth = [OUTLINE.exterior.distance(point) for point in found.points]
    assert np.abs(found.offset_m) == pytest.approx(truth, abs=1e-9)
    inside = shapely.contains(OUTLINE, found.points)
    assert ((found.offset_m <= 0) == inside)[np.abs(found.offset_m) > 1e-9].all()
    assert found.greatest_m <= np.hypot(east_m, north_m) + 1e-9
    assert bool(found.off) == (max(truth) > 0.3)


def test_a_bulge_is_one_stretch_with_its_greatest_offset() -> None:
    bulged = Polygon([(3, 3), (30, 3), (30, 2), (40, 2), (40, 3), (57, 3), (57, 37), (3, 37)])
    built = sites.loop_of(sites.loop_run(bulged), PLAN.runs[1])
    found = differences(built, PLAN, tolerance_m=0.3)
    (stretch,) = found.off
    assert -stretch.measured == pytest.approx(1.0)
    assert (stretch.line.bounds[0], stretch.line.bounds[2]) == pytest.approx((30.0, 40.0), abs=0.51)
    assert found.offset_m.max() == pytest.approx(1.0)
    (missed,) = found.missed
    assert missed.length_m == pytest.approx(10.0, abs=1.1)


def test_what_was_not_laid_is_missed() -> None:
    inner = sites.loop_run(box(25, 15, 35, 25), "K1", part="inner_loop")
    planned = sites.loop_of(*PLAN.runs, inner)
    found = differences(PLAN, planned, tolerance_m=0.3)
    assert {stretch.run.loop_id for stretch in found.missed} == {"K1"}
    assert sum(stretch.length_m for stretch in found.missed) == pytest.approx(40.0, abs=1.0)


def test_a_pair_is_compared_with_pairs_only() -> None:
    """A lead-in that crosses the loop's own line is still as far off as it lies from its plan."""
    moved = sites.loop_of(PLAN.runs[0], sites.lead_in((20, 20), (25, 3)))
    found = differences(moved, PLAN, tolerance_m=0.3)
    at_end = LineString([(20, 20), (20, 3)]).distance(shapely.Point(25, 3))
    assert found.greatest_m == pytest.approx(at_end, abs=0.5)


def test_remarks_say_where_and_by_how_much() -> None:
    shifted = sites.loop_of(sites.loop_run(translate(OUTLINE, 0.0, -1.0)))
    found = differences(shifted, PLAN, tolerance_m=0.3)
    remarks = off_plan_remarks(found, settings=Settings(), tolerance_m=0.3)
    assert {remark.rule for remark in remarks} == {"off-plan"}
    assert any("up to 1.00 m off the plan" in remark.message for remark in remarks)
    assert any("stations of the plan" in remark.message for remark in remarks)


def test_a_wire_surveyed_unevenly_is_a_few_places_and_not_a_long_list() -> None:
    """Off by 0.5 m at every other of its points, 3 m apart: one place on each side, not one for every point."""
    xy = shapely.get_coordinates(shapely.segmentize(OUTLINE.exterior, 3.0))
    xy[1:-1:2] += (xy[1:-1:2] - np.array([30.0, 20.0])) * 0.02
    uneven = sites.loop_of(sites.loop_run(Polygon(xy)), PLAN.runs[1])
    found = differences(uneven, PLAN, tolerance_m=0.3)
    assert 1 <= len(found.off) <= 4
    assert max(-stretch.measured for stretch in found.off) == pytest.approx(found.greatest_m)
    apart = Polygon([
        (3, 3),
        (20, 3),
        (20, 2),
        (22, 2),
        (22, 3),
        (40, 3),
        (40, 2),
        (42, 2),
        (42, 3),
        (57, 3),
        (57, 37),
        (3, 37),
    ])
    two = differences(sites.loop_of(sites.loop_run(apart), PLAN.runs[1]), PLAN, tolerance_m=0.3)
    assert len(two.off) == 2, "places far apart stay two"
