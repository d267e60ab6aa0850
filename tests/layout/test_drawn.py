"""A drawn wire as a loop: parts by nesting, orientation, starts, and what is refused."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box
from shapely.affinity import translate

from parcelfence.errors import InputError
from parcelfence.inputs.wire_file import DrawnLine
from parcelfence.layout.drawn import drawn_loop
from parcelfence.settings import Settings
from tests.rules import sites

if TYPE_CHECKING:
    from parcelfence.layout.loop import Loop

OUTER = LineString(box(3, 3, 57, 37).exterior.coords)
INNER = LineString(box(20, 15, 30, 25).exterior.coords)


def _loop(*lines: LineString | DrawnLine, **changes: object) -> Loop:
    drawn = [line if isinstance(line, DrawnLine) else DrawnLine(line=line) for line in lines]
    return drawn_loop(drawn, site=sites.site(**changes), settings=Settings())


@given(backwards=st.booleans(), order=st.permutations([0, 1, 2]))
def test_parts_follow_from_how_lines_lie(backwards: bool, order: list[int]) -> None:
    lines = [OUTER, INNER, LineString([(10, 10), (10, 3)])]
    given_lines = [lines[number].reverse() if backwards else lines[number] for number in order]
    loop = _loop(*given_lines)
    assert [(run.part, run.loop_id) for run in loop.runs] == [("loop", "L1"), ("inner_loop", "K1"), ("lead_in", "T1")]
    outer, inner, pair = loop.runs
    assert shapely.is_ccw(outer.line)
    assert not shapely.is_ccw(inner.line)
    assert (outer.current, inner.current, pair.current) == (1.0, 1.0, 0.0)
    assert pair.line.coords[0] == (10.0, 10.0)
    assert outer.line.coords[0] == (10.0, 3.0)
    assert outer.line.length == pytest.approx(OUTER.length)
    assert loop.transmitter is not None
    assert loop.transmitter.point == Point(10, 10)
    assert loop.enclosed.area == pytest.approx(54 * 34 - 100)


def test_a_loop_begins_where_the_lead_in_that_meets_it_ends_not_at_one_that_only_passes_near() -> None:
    passing, meeting = LineString([(30, 10), (30, 3.5)]), LineString([(10, 10), (10, 3)])
    loop = _loop(OUTER, DrawnLine(line=passing, part="lead_in"), DrawnLine(line=meeting, part="lead_in"))
    assert loop.runs[0].line.coords[0] == (10.0, 3.0)


def test_stated_parts_and_names_are_kept_and_repeated_names_are_not() -> None:
    loop = _loop(DrawnLine(line=OUTER, part="loop", loop_id="west"), DrawnLine(line=INNER, part="loop", loop_id="west"))
    assert [(run.part, run.loop_id) for run in loop.runs] == [("loop", "west"), ("loop", "L1")]


def test_the_given_transmitter_turns_the_lead_in() -> None:
    pair = LineString([(10, 3), (10, 10)])
    loop = _loop(OUTER, pair, transmitter=Point(10, 9.5))
    assert loop.of_part("lead_in")[0].line.coords[0] == (10.0, 10.0)
    assert loop.transmitter is not None
    assert loop.transmitter.given


def test_without_a_lead_in_a_loop_keeps_its_drawn_start() -> None:
    start = sites.ring(box(3, 3, 57, 37), start=(40, 3))
    loop = _loop(start)
    assert loop.runs[0].line.coords[0] == (40.0, 3.0)
    assert loop.transmitter is None


@pytest.mark.parametrize(("gap_m", "closes"), [(0.9, True), (1.1, False)])
def test_a_walk_that_ends_near_its_start_is_closed(gap_m: float, closes: bool) -> None:
    walk = LineString([*OUTER.coords[:-1], (57.0, 3.0 - gap_m)])
    if closes:
        assert _loop(walk).runs[0].line.is_closed
    else:
        with pytest.raises(InputError, match=r"1\.10 m apart"):
            _loop(walk)


def test_the_small_loop_of_a_walk_beyond_its_start_is_cut_off_and_told() -> None:
    walk = LineString([(3, 3), (57, 3), (57, 37), (3, 37), (3.0, 3.6), (3.2, 2.9), (3.3, 2.8)])
    loop = _loop(walk)
    assert loop.runs[0].line.is_simple
    assert loop.enclosed.area == pytest.approx(54 * 34, rel=1e-3)
    assert [remark.rule for remark in loop.remarks] == ["drawn-wire"]


def test_a_wire_somewhere_else_is_refused() -> None:
    with pytest.raises(InputError, match="4,940 m from the property"):
        _loop(translate(OUTER, 4_997.0))


def test_all_faults_are_told_at_once() -> None:
    eight = LineString([(5, 5), (20, 20), (20, 5), (5, 20), (5, 5)])
    loose = LineString([(30, 30), (40, 30)])
    with pytest.raises(InputError) as caught:
        _loop(eight, loose)
    assert len(caught.value.faults) == 2
    assert "crosses itself near" in str(caught.value)
    assert "meet no loop" in str(caught.value)


def test_a_lead_in_that_says_so_may_end_anywhere() -> None:
    loop = _loop(OUTER, DrawnLine(line=LineString([(30, 30), (40, 30)]), part="lead_in"))
    assert [run.part for run in loop.runs] == ["loop", "lead_in"]


def test_the_allowed_land_is_that_of_the_site() -> None:
    settings = Settings()
    expected = sites.PARCEL.buffer(-settings.lot_line_setback_m, join_style="mitre").area
    assert _loop(OUTER).allowed.area == pytest.approx(expected, rel=0.01)
    assert _loop(OUTER, parcel=box(0, 0, 3, 3)).allowed.is_empty


def test_ends_that_do_not_meet_are_told_with_their_gap() -> None:
    walk = LineString([*OUTER.coords[:-1], (56.5, 3.0)])
    (remark,) = _loop(walk).remarks
    assert (remark.rule, remark.severity, remark.measured) == ("drawn-wire", "caution", pytest.approx(0.5))
    assert not _loop(LineString([*OUTER.coords[:-1], (56.96, 3.0)])).remarks


@given(order=st.permutations([0, 1, 2]), turned=st.lists(st.booleans(), min_size=3, max_size=3))
def test_pieces_that_meet_end_to_end_are_one_loop(order: list[int], turned: list[bool]) -> None:
    cuts = [0.0, 0.3, 0.7, 1.0]
    pieces = [shapely.ops.substring(OUTER, *span, normalized=True) for span in pairwise(cuts)]
    drawn = [pieces[number].reverse() if turned[number] else pieces[number] for number in order]
    loop = _loop(*drawn, INNER)
    assert [run.part for run in loop.runs] == ["loop", "inner_loop"]
    assert loop.runs[0].line.equals(OUTER)


def test_pieces_that_do_not_meet_are_refused() -> None:
    pieces = [shapely.ops.substring(OUTER, 0, 0.5, normalized=True), INNER]
    with pytest.raises(InputError, match="meet no loop"):
        _loop(*pieces)


@pytest.mark.parametrize(
    "xy",
    [
        [(5, 5), (20, 5), (5, 5), (20, 5), (5, 5)],
        [(5, 5), (20, 5), (30, 5), (20, 5), (5, 5)],
        [(5, 5), (5, 5), (5, 5), (5, 5)],
        [(5, 5), (20, 20), (20, 5), (5, 20), (5, 5)],
        [(5, 5), (20, 5), (20, 20), (5, 20), (20, 5), (5, 5)],
    ],
)
def test_a_line_that_is_no_loop_is_refused_in_words(xy: list[tuple[float, float]]) -> None:
    with pytest.raises(InputError, match=r"encloses nothing|crosses itself|no line of it is closed"):
        _loop(LineString(xy))
