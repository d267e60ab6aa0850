"""Loops of a plan or a survey, turned into the sense of their current."""

from __future__ import annotations

import pytest
import shapely
from shapely import LineString, box

from parcelfence.errors import InputError
from parcelfence.inputs.wire_file import DrawnLine
from parcelfence.layout.laid import laid_loops

OUTER = LineString(box(0, 0, 60, 40).exterior.coords)
INNER = LineString(box(20, 10, 30, 20).exterior.coords)
LEAD = LineString([(30, 30), (30, 40)])


@pytest.mark.parametrize("part", [True, False])
@pytest.mark.parametrize("turned", [True, False])
def test_outer_loops_run_counter_clockwise_and_inner_ones_clockwise(*, part: bool, turned: bool) -> None:
    lines = [line.reverse() if turned else line for line in (OUTER, INNER)]
    drawn = [
        DrawnLine(line=lines[1], part="inner_loop" if part else ""),
        DrawnLine(line=LEAD, part="lead_in"),
        DrawnLine(line=lines[0], part="loop" if part else "", loop_id="L1"),
    ]
    inner, outer = laid_loops(drawn, name="wire")
    assert (outer.loop_id, outer.inner, shapely.is_ccw(outer.line)) == ("L1", False, True)
    assert (inner.loop_id, inner.inner, shapely.is_ccw(inner.line)) == ("1", True, False)
    assert outer.line.coords[0] == OUTER.coords[0]


def test_ends_that_all_but_meet_are_joined() -> None:
    (loop,) = laid_loops([DrawnLine(line=LineString([*OUTER.coords[:-1], (59.5, 0.0)]))], name="wire")
    assert loop.line.is_closed
    with pytest.raises(InputError, match=r"no line of it is closed; the ends of the longest are 60\.00 m apart"):
        laid_loops([DrawnLine(line=LineString(OUTER.coords[:-1]))], name="wire")


def test_a_wire_that_crosses_itself_is_refused() -> None:
    eight = DrawnLine(line=LineString([(0, 0), (10, 10), (10, 0), (0, 10), (0, 0)]), loop_id="L9")
    with pytest.raises(InputError, match="feature L9: the wire crosses itself"):
        laid_loops([eight], name="wire")
