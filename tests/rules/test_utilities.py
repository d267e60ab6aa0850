"""Utilities: square crossings, nothing beside a line, hand digging in tolerance zones."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, Point, box

from parcelfence.settings import Settings
from tests.rules import sites

SETTINGS = Settings(utility_separation_m=1.5, crossing_tolerance_deg=10.0)
LOOP = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
"""South side at y = 3, from x = 4 to 56."""


def _crossing(angle_deg: float, *, x: float = 30.0) -> LineString:
    """Line through the south side only, at an angle to it."""
    dx, dy = 6 * math.cos(math.radians(angle_deg)), 6 * math.sin(math.radians(angle_deg))
    return LineString([(x - dx, 3 - dy), (x + dx, 3 + dy)])


def _found(rule: str, *utilities: sites.Utility, loop: sites.Loop = LOOP) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(sites.site(utilities=utilities), loop, settings=SETTINGS))


@pytest.mark.parametrize("angle_deg", [90.0, 81.0, 80.0, 99.5])
def test_crossings_within_the_tolerance_hold(angle_deg: float) -> None:
    assert not _found("utility-angle", sites.utility(_crossing(angle_deg)))
    assert not _found("utility-parallel", sites.utility(_crossing(angle_deg)))


@given(angle_deg=st.floats(35, 79.5))
def test_flatter_crossings_are_told_with_their_angle_and_not_as_runs_beside(angle_deg: float) -> None:
    (conflict,) = _found("utility-angle", sites.utility(_crossing(angle_deg)))
    assert conflict.measured == pytest.approx(angle_deg, abs=0.01)
    assert conflict.limit == 80.0
    assert conflict.geometry.distance(Point(30, 3)) < 1e-6
    assert not _found("utility-parallel", sites.utility(_crossing(angle_deg)))


def test_severity_follows_what_can_be_coupled() -> None:
    flat = _crossing(50.0)
    assert _found("utility-angle", sites.utility(flat))[0].severity == "must_fix"
    assert _found("utility-angle", sites.utility(flat, metallic=False))[0].severity == "caution"
    pair = sites.loop_of(sites.loop_run(box(3, 3, 57, 37)), sites.lead_in((20, 20), (40, 20)))
    across = LineString([(28, 18), (32, 22)])
    (conflict,) = _found("utility-angle", sites.utility(across), loop=pair)
    assert conflict.severity == "caution"
    assert "lead-in" in conflict.message


def test_a_bend_of_the_utility_in_the_crossing_counts() -> None:
    bent = LineString([(30, -3), (30, 3), (36, 9)])
    (conflict,) = _found("utility-angle", sites.utility(bent))
    assert conflict.measured == pytest.approx(45.0, abs=0.1)


def test_every_part_of_a_multi_line_and_every_crossing_is_found() -> None:
    lines = MultiLineString([_crossing(60.0, x=15), _crossing(90.0, x=30), _crossing(70.0, x=45)])
    found = _found("utility-angle", sites.utility(lines))
    assert sorted(conflict.measured for conflict in found) == pytest.approx([60.0, 70.0], abs=0.01)


def test_a_line_at_the_separation_holds_and_a_nearer_one_is_measured() -> None:
    for gap_m, holds in ((1.5, True), (1.4, False)):
        line = LineString([(10, 3 + gap_m), (40, 3 + gap_m)])
        assert LOOP.runs[0].line.distance(line) == pytest.approx(gap_m)
        found = _found("utility-parallel", sites.utility(line))
        assert bool(found) is not holds
        for conflict in found:
            assert conflict.measured == pytest.approx(gap_m)
            assert conflict.geometry.length == pytest.approx(30.0, abs=2.5)
            assert conflict.severity == "must_fix"


def test_within_the_tolerance_zone_even_an_unmetallic_line_must_be_fixed() -> None:
    for gap_m, severity in ((0.5, "must_fix"), (1.0, "caution")):
        line = LineString([(10, 3 + gap_m), (40, 3 + gap_m)])
        (conflict,) = _found("utility-parallel", sites.utility(line, metallic=False))
        assert conflict.severity == severity


def test_a_line_that_ends_beside_the_wire_is_no_crossing() -> None:
    (conflict,) = _found("utility-parallel", sites.utility(LineString([(30, 20), (30, 3.8)])))
    assert conflict.measured == pytest.approx(0.8)


def test_a_line_that_crosses_and_then_follows_is_told() -> None:
    line = LineString([(30, -5), (30, 4.2), (45, 4.2)])
    (conflict,) = _found("utility-parallel", sites.utility(line))
    assert conflict.measured == pytest.approx(1.2, abs=1e-6)
    west, _, east, _ = conflict.geometry.bounds
    assert west == pytest.approx(31.5, abs=0.8)
    assert east == pytest.approx(45 + math.sqrt(1.49**2 - 1.2**2), abs=0.6)


def test_a_square_crossing_is_dug_by_hand_over_the_zone() -> None:
    utility = sites.utility(_crossing(90.0), tolerance_m=0.61)
    (conflict,) = _found("utility-tolerance", utility)
    zone = utility.geometry.buffer(0.61, cap_style="flat")
    in_zone = LOOP.runs[0].line.intersection(zone)
    assert in_zone.length == pytest.approx(1.22)
    assert conflict.severity == "caution"
    assert conflict.geometry.length == pytest.approx(in_zone.length, abs=1e-3)
    assert conflict.geometry.hausdorff_distance(in_zone) < 1e-3
    assert conflict.station_m == pytest.approx(LOOP.runs[0].line.project(Point(30, 3)), abs=1e-6)
    assert "Dig by hand" in conflict.message


def test_a_zone_over_the_start_of_the_run_begins_before_it_and_ends_after() -> None:
    outline = box(3, 3, 57, 37)
    run = sites.loop_run(outline, line=sites.ring(outline, start=(30, 3)))
    (conflict,) = _found("utility-tolerance", sites.utility(_crossing(90.0)), loop=sites.loop_of(run))
    assert conflict.geometry.length == pytest.approx(1.22, abs=1e-3)
    assert "between stations 0+175.4 and 0+000.6" in conflict.message


def test_outside_the_zone_nothing_is_dug_by_hand() -> None:
    for gap_m, count in ((0.62, 0), (0.60, 1)):
        line = LineString([(10, 3 + gap_m), (40, 3 + gap_m)])
        assert len(_found("utility-tolerance", sites.utility(line, tolerance_m=0.61))) == count


def test_single_marks_and_areas_have_their_zones() -> None:
    assert len(_found("utility-tolerance", sites.utility(Point(30, 3.4)))) == 1
    assert not _found("utility-parallel", sites.utility(Point(30, 3.4)))
    across = box(29, 0, 31, 10)
    assert len(_found("utility-tolerance", sites.utility(across))) == 1
    assert not _found("utility-parallel", sites.utility(across))
    along = box(10, 2, 40, 4)
    (conflict,) = _found("utility-parallel", sites.utility(along))
    assert conflict.geometry.length == pytest.approx(33.0, abs=1.0)


def test_meetings_at_the_start_of_a_run_count_once() -> None:
    outline = box(3, 3, 57, 37)
    run = sites.loop_run(outline, line=sites.ring(shapely.segmentize(outline, 27), start=(30, 3)))
    assert len(_found("utility-angle", sites.utility(_crossing(60.0)), loop=sites.loop_of(run))) == 1


@pytest.mark.parametrize("joint_y", [2.0, 2.7, 3.0, 3.3, 4.0])
def test_a_line_stored_in_segments_that_is_crossed_square_near_a_joint_is_crossed_and_nothing_else(
    joint_y: float,
) -> None:
    below = sites.utility(LineString([(30, -5), (30, joint_y)]), id="gas-1", tolerance_m=0.6)
    above = sites.utility(LineString([(30, joint_y), (30, 20)]), id="gas-2", tolerance_m=0.7)
    assert not _found("utility-parallel", below, above)
    assert not _found("utility-angle", below, above)
    (zone,) = _found("utility-tolerance", below, above)
    assert 1.19 <= zone.geometry.length <= 1.41


def test_a_branch_beside_the_wire_is_told_though_the_main_is_crossed_square() -> None:
    main = [
        sites.utility(LineString([(30, -5), (30, 4)]), id="gas-1"),
        sites.utility(LineString([(30, 4), (30, 20)]), id="gas-2"),
    ]
    branch = sites.utility(LineString([(30, 4), (45, 4)]), id="gas-3")
    (conflict,) = _found("utility-parallel", *main, branch)
    assert conflict.feature == "gas-3"


def test_a_bend_at_a_joint_counts_for_the_angle() -> None:
    below = sites.utility(LineString([(30, -3), (30, 3.1)]), id="gas-1")
    above = sites.utility(LineString([(30, 3.1), (36, 9.1)]), id="gas-2")
    (conflict,) = _found("utility-angle", below, above)
    assert 45 <= conflict.measured < 80


def test_of_two_sewers_the_nearer_one_may_be_the_lesser_matter_and_the_row_says_why() -> None:
    """A sewer of clay at 1.2 m, and one of unknown material at 1.4 m: nothing is coupled into the first."""
    nearer = sites.utility(LineString([(10, 4.2), (50, 4.2)]), kind="sewer", metallic=False)
    farther = sites.utility(LineString([(10, 4.4), (50, 4.4)]), kind="sewer")
    (clay,), (unknown,) = _found("utility-parallel", nearer), _found("utility-parallel", farther)
    assert (clay.severity, unknown.severity) == ("caution", "must_fix")
    assert "conducts nothing" in clay.message
    assert "conducts nothing" not in unknown.message
