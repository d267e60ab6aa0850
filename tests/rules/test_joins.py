"""Joins: what hangs together from the transmitter on, what does not, and runs that touch where nothing is joined."""

from __future__ import annotations

import pytest
from shapely import LineString, Point, box

from tests.rules import sites

RUN = sites.loop_run(sites.rounded(box(3, 3, 57, 37)))
INNER = sites.loop_run(box(40, 15, 50, 25), "K1", part="inner_loop")
AT_WALL = Point(25, 20)
PAIR = sites.lead_in((25, 20), (3, 20))


def _found(rule: str, *runs: sites.Run, at: Point | None = AT_WALL) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(loop=sites.loop_of(*runs, transmitter=at)))


def test_a_loop_with_its_lead_in_hangs_together() -> None:
    assert not _found("unjoined-wire", RUN, PAIR)
    assert not _found("unjoined-wire", RUN, INNER, PAIR, sites.lead_in((25, 20), (40, 20)))


def test_a_loop_that_no_lead_in_reaches_must_be_fixed() -> None:
    (conflict,) = _found("unjoined-wire", RUN, INNER, PAIR)
    assert (conflict.severity, conflict.feature) == ("must_fix", "K1")
    assert conflict.measured == pytest.approx(7.0)


def test_two_loops_that_touch_only_each_other_are_not_fed() -> None:
    second = sites.loop_run(box(30, 20, 40, 30), "L2")
    third = sites.loop_run(box(40, 20, 50, 30), "L3")
    rows = _found("unjoined-wire", RUN, second, third, PAIR)
    assert [row.severity for row in rows] == ["must_fix"]
    assert "loop L2 and loop L3" in rows[0].message


@pytest.mark.parametrize(
    ("gap_m", "severity"), [(0.01, None), (0.05, "caution"), (0.29, "caution"), (0.35, "must_fix")]
)
def test_a_lead_in_that_ends_short_of_its_loop_is_told(gap_m: float, severity: str | None) -> None:
    rows = _found("unjoined-wire", RUN, sites.lead_in((25, 20), (3 + gap_m, 20)))
    assert [row.severity for row in rows] == ([severity] if severity else [])
    assert [row.measured for row in rows] == pytest.approx([gap_m] if severity else [])


@pytest.mark.parametrize(("away_m", "count"), [(0.45, 0), (0.55, 1)])
def test_a_lead_in_begins_at_the_transmitter(away_m: float, count: int) -> None:
    rows = _found("unjoined-wire", RUN, PAIR, at=Point(25 + away_m, 20))
    assert [row.measured for row in rows] == pytest.approx([away_m] * count)
    assert all(row.severity is None or row.severity == "must_fix" for row in rows)


def test_without_lead_ins_it_is_said_that_they_cannot_be_checked() -> None:
    (note,) = _found("unjoined-wire", RUN)
    assert (note.severity, note.layer) == ("note", "transmitter")
    assert not _found("unjoined-wire", RUN, at=None)
    (caution,) = _found("unjoined-wire", RUN, INNER, at=None)
    assert (caution.severity, caution.feature) == ("caution", "K1")


@pytest.mark.parametrize(("apart_m", "count"), [(0.0, 1), (0.015, 1), (0.03, 0)])
def test_two_loops_that_touch_are_told(apart_m: float, count: int) -> None:
    west, east = sites.loop_run(box(3, 3, 30, 37)), sites.loop_run(box(30 + apart_m, 3, 57, 37), "L2")
    assert len(_found("touching-runs", west, east)) == count


def test_two_loops_that_cross_are_told_at_each_place() -> None:
    west, east = sites.loop_run(box(3, 3, 31, 37)), sites.loop_run(box(29, 10, 57, 30), "L2")
    rows = _found("touching-runs", west, east)
    assert len(rows) == 2
    assert all(row.geometry.distance(LineString([(31, 10), (31, 30)])) < 0.1 for row in rows)
