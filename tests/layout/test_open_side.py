from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.setting import reach_for_return_run
from parcelfence.layout.design import design
from parcelfence.layout.open_side import end_reach_m, spacing_of
from parcelfence.planning import plan
from parcelfence.settings import Settings
from tests.layout.sites import HOUSE, LOT, feature, make_site, sharpest_radius_m

SETTINGS = Settings()
SHORE = LineString([(75, 50), (10, 60)])


@given(reach=st.floats(0.5, 5), spacing=st.floats(0.5, 20))
def test_the_setting_is_that_of_two_long_wires(reach: float, spacing: float) -> None:
    """r_out = (s / 2) (sqrt(1 + 4 w / s) - 1), superposition of two infinite wires (Ampere's law)."""
    setting = reach_for_return_run(reach, spacing_m=spacing)
    assert (spacing / 2) * (math.sqrt(1 + 4 * setting / spacing) - 1) == pytest.approx(reach)
    assert setting > reach


def test_the_field_of_a_long_return_run_is_one_at_the_wanted_reach() -> None:
    setting = reach_for_return_run(2.0, spacing_m=3.0)
    long_loop = LineString([(-5e4, 0), (5e4, 0), (5e4, 3), (-5e4, 3), (-5e4, 0)])
    field = normalised_field(
        np.array([[0.0, -2.0], [0.0, 5.0]]),
        [CurrentLoop.from_line(long_loop, 1.0)],
        receiver=Receiver(reach_m=setting, height_m=0.0, core_ratio=0.6),
    )
    assert field == pytest.approx(1.0, abs=1e-6)


def test_along_the_open_side_there_is_no_wire_and_elsewhere_two_runs() -> None:
    loop = design(make_site(buildings=[HOUSE], open_sides=[SHORE]), SETTINGS)
    (doubled,) = loop.of_part("return_run")
    assert not loop.of_part("loop")
    assert doubled.line.is_closed
    assert doubled.line.is_simple
    assert sharpest_radius_m(doubled.line, step_m=0.5) > 0.93
    assert not doubled.line.intersects(Point(40, 53).buffer(12))
    across = shapely.get_coordinates(doubled.line.intersection(LineString([(30, 0), (30, 20)])))
    assert abs(across[0][1] - across[1][1]) == pytest.approx(SETTINGS.return_run_spacing_m, abs=0.05)
    assert loop.enclosed.contains(HOUSE)
    assert loop.enclosed.area > 0.97 * loop.allowed.area


def test_two_open_sides_leave_two_doubled_loops_each_fed() -> None:
    opposite = LineString([(0, 0), (60, 0)])
    loop = design(make_site(buildings=[HOUSE], open_sides=[SHORE, opposite]), SETTINGS)
    assert [run.loop_id for run in loop.signal_runs] == ["R1", "R2"]
    ends = [shapely.get_point(run.line, -1) for run in loop.of_part("lead_in")]
    for run in loop.signal_runs:
        assert min(end.distance(shapely.get_point(run.line, 0)) for end in ends) < 1e-6


def test_an_open_side_elsewhere_changes_nothing() -> None:
    plain = design(make_site(buildings=[HOUSE]), SETTINGS)
    far = design(make_site(buildings=[HOUSE], open_sides=[LineString([(0, 200), (50, 200)])]), SETTINGS)
    assert far.runs[0].line.equals(plain.runs[0].line)
    assert Polygon(far.runs[0].line).within(LOT)


def test_open_all_round_is_no_loop_at_all_but_the_closed_one() -> None:
    loop = design(make_site(box(0, 0, 40, 40), open_sides=[LineString(box(0, 0, 40, 40).exterior)]), SETTINGS)
    assert loop.of_part("loop")


@pytest.mark.parametrize("reach_m", [1.0, 1.5, 2.0, 3.0])
def test_before_the_end_of_a_doubled_wire_the_field_is_one_at_the_reach_in_closed_form(reach_m: float) -> None:
    """Three straight wires, two of them half infinite (Biot and Savart); a long hairpin with square corners."""
    settings = Settings(reach_m=reach_m)
    spacing_m = spacing_of(settings)
    hairpin = LineString([(0, 0), (spacing_m, 0), (spacing_m, 1e4), (0, 1e4), (0, 0)])
    set_m = reach_m * (reach_m + spacing_m) / spacing_m
    field = normalised_field(
        np.array([[spacing_m / 2, -end_reach_m(settings)]]),
        [CurrentLoop.from_line(hairpin, 1.0)],
        receiver=Receiver(reach_m=set_m, height_m=0.0, core_ratio=0.6),
    )
    assert field == pytest.approx(1.0, abs=1e-3)


def test_two_runs_that_do_not_fit_behind_a_building_leave_it_outside_and_say_so() -> None:
    """A single wire fits between house and lot line; the return run of a passage would run into the wall."""
    settings = Settings(reach_m=1.5)
    house, passage = box(22, 4.2, 36, 12), feature(LineString([(48, 12), (48, -5)]), "P1")
    plain = plan(make_site(box(0, 0, 60, 50), buildings=[house]), settings)
    assert plain.loop.enclosed.covers(house)
    done = plan(make_site(box(0, 0, 60, 50), buildings=[house], passages=(passage,)), settings)
    runs = shapely.union_all([run.line for run in done.loop.of_part("return_run")])
    assert runs.distance(house) > settings.building_clearance_m - 0.05
    assert not [row.rule for row in done.conflicts if row.severity == "must_fix"]
    (row,) = [row for row in done.conflicts if "no room for two runs" in row.message]
    assert row.feature == "buildings-1"
    assert not done.loop.enclosed.intersects(house)


def test_a_wire_that_must_run_into_a_building_says_why() -> None:
    """On a narrow lot, runs that pass the shed on its inner side would leave no yard."""
    settings = Settings.from_words({"reach": 1.5, "layout": "back-yard", "front": "south"})
    shed = box(3, 40, 9, 46)
    done = plan(make_site(box(0, 0, 20, 60), buildings=[box(1.5, 14, 18.5, 25), shed]), settings)
    assert done.loop.enclosed.covers(shed)
    (row,) = [row for row in done.conflicts if "no room for two runs" in row.message]
    assert (row.severity, row.feature) == ("must_fix", "buildings-2")
    assert "would leave" in row.message
