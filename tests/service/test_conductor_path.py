"""The conductor is met in the order of the current, a pair twice, and places are found on it and back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point

from parcelfence.service.conductor_path import conductor_path
from tests.service.wires import BRANCH, INNER, LEAD, OUTER, loop_of

SIMPLE = conductor_path(loop_of(OUTER, LEAD))
BRANCHED = conductor_path(loop_of(OUTER, INNER, LEAD, BRANCH))


def order(path: object) -> list[tuple[str, str, float, float]]:
    return [(piece.run.loop_id, piece.conductor, piece.from_m, piece.to_m) for piece in path.pieces]  # type: ignore[attr-defined]


def test_a_loop_comes_between_the_two_conductors_of_its_lead_in() -> None:
    assert order(SIMPLE) == [("T1", "A", 0.0, 10.0), ("L1", "", 0.0, 200.0), ("T1", "B", 10.0, 0.0)]
    assert SIMPLE.length_m == pytest.approx(220.0)


def test_a_branch_is_met_where_it_is_cut_into_conductor_a() -> None:
    assert order(BRANCHED) == [
        ("T1", "A", 0.0, 5.0),
        ("T2", "A", 0.0, 10.0),
        ("K1", "", 0.0, 40.0),
        ("T2", "B", 10.0, 0.0),
        ("T1", "A", 5.0, 10.0),
        ("L1", "", 0.0, 200.0),
        ("T1", "B", 10.0, 0.0),
    ]
    assert BRANCHED.length_m == pytest.approx(2 * (10 + 10) + 40 + 200)


def test_a_loop_with_the_current_against_its_line_is_met_backwards() -> None:
    path = conductor_path(loop_of(replace(OUTER, current=-1.0), LEAD))
    assert order(path)[1] == ("L1", "", 200.0, 0.0)
    assert path.station_m(20.0) == pytest.approx(190.0)


def test_a_wire_without_a_lead_in_begins_at_its_chainage() -> None:
    assert order(conductor_path(loop_of(OUTER))) == [("L1", "", 0.0, 200.0)]


@given(path_m=st.floats(10.5, 209.5))
def test_every_place_of_the_loop_is_found_again(path_m: float) -> None:
    found = SIMPLE.places_of(SIMPLE.point(path_m))
    assert len(found) == 1
    assert found[0] == pytest.approx(path_m, abs=0.01)
    assert SIMPLE.places_at("l1", station_m=SIMPLE.station_m(path_m))[0][0] == pytest.approx(path_m)


def test_a_place_on_a_pair_lies_on_the_path_twice() -> None:
    assert SIMPLE.places_of(Point(20, 6)) == pytest.approx((4.0, 216.0))
    assert SIMPLE.places_of(Point(20, 0)) == pytest.approx((10.0, 210.0))
    assert SIMPLE.places_of(Point(33, 20)) == ()


def test_a_stretch_is_drawn_over_the_pieces_that_it_covers() -> None:
    line = SIMPLE.line(5.0, 15.0)
    assert line.length == pytest.approx(10.0)
    assert line.bounds == pytest.approx((20.0, 0.0, 25.0, 5.0))
