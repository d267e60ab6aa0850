"""Segments of one utility become one line; what branches off does not."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely.ops
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from parcelfence.site.buried_lines import BuriedLine, join_segments
from tests.rules import sites


def _joined(*lines: LineString, **changes: object) -> tuple[BuriedLine, ...]:
    return join_segments([sites.utility(line, id=f"U{number}", **changes) for number, line in enumerate(lines)])


def test_segments_end_to_end_are_one_line_whichever_way_they_were_drawn() -> None:
    (line,) = _joined(LineString([(0, 0), (5, 0)]), LineString([(12, 1), (5, 0)]), LineString([(12, 1), (20, 1)]))
    assert line.geometry.equals(LineString([(0, 0), (5, 0), (12, 1), (20, 1)]))
    assert [member.id for member in line.members] == ["U0", "U1", "U2"]
    assert line.member_at(Point(18, 1)).id == "U2"


def test_ends_that_miss_each_other_by_centimetres_join_and_by_decimetres_do_not() -> None:
    assert len(_joined(LineString([(0, 0), (5, 0)]), LineString([(5.03, 0), (9, 0)]))) == 1
    assert len(_joined(LineString([(0, 0), (5, 0)]), LineString([(5.3, 0), (9, 0)]))) == 2


def test_at_a_branch_the_line_goes_on_straight() -> None:
    main, onward = LineString([(0, 0), (5, 0)]), LineString([(5, 0), (9, 0.5)])
    found = _joined(main, LineString([(5, 0), (5, 8)]), onward)
    assert sorted(len(line.members) for line in found) == [1, 2]
    (branch,) = [line for line in found if len(line.members) == 1]
    assert branch.members[0].id == "U1"


def test_two_ends_that_meet_at_a_right_angle_are_one_bent_line() -> None:
    (line,) = _joined(LineString([(0, 0), (5, 0)]), LineString([(5, 0), (5, 8)]))
    assert line.geometry.length == pytest.approx(13)


def test_kinds_do_not_mix_and_areas_and_single_marks_stand_alone() -> None:
    gas, water = (
        sites.utility(LineString([(0, 0), (5, 0)]), id="a", kind="gas"),
        sites.utility(LineString([(5, 0), (9, 0)]), id="b", kind="water"),
    )
    disc = sites.utility(Point(5, 0).buffer(0.05), id="c", kind="gas")
    found = join_segments((gas, water, disc))
    assert [line.members for line in found] == [(gas,), (water,), (disc,)]


def test_a_ring_of_segments_is_one_closed_line() -> None:
    corners = [(0, 0), (6, 0), (6, 6), (0, 6), (0, 0)]
    (line,) = _joined(*(LineString(corners[at : at + 2]) for at in range(4)))
    assert line.geometry.is_closed
    assert line.geometry.length == pytest.approx(24)


@given(cuts=st.lists(st.floats(1, 99), max_size=8, unique=True), seed=st.integers(0, 99))
def test_however_a_line_is_cut_up_it_comes_back(cuts: list[float], seed: int) -> None:
    whole = LineString([(0, 0), (40, 0), (70, 30), (70, 57.5735931)])
    cuts = [cut for cut in sorted(cuts) if not any(other < cut <= other + 0.5 for other in cuts)]
    bounds = [0.0, *cuts, whole.length]
    parts = [shapely.ops.substring(whole, *ends) for ends in itertools.pairwise(bounds)]
    turned = np.random.default_rng(seed)
    parts = [part.reverse() if turned.random() < 0.5 else part for part in turned.permutation(parts)]
    (line,) = _joined(*parts)
    assert line.geometry.length == pytest.approx(whole.length)
    assert line.geometry.hausdorff_distance(whole) < 1e-6
