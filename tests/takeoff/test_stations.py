"""Stations: start, tangent points, curves, regular stakes, crossings, end."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from parcelfence.layout.crossing import Crossing
from parcelfence.settings import Settings
from parcelfence.takeoff.stations import stations
from tests.rules import sites

OUTLINE = sites.rounded(box(0, 0, 40, 20), 2.0)
RUN = sites.loop_run(OUTLINE, line=sites.ring(OUTLINE, start=(20, 0)))
PAIR = sites.lead_in((10, 10), (20, 10), (20, 0))


def _crossing(run: sites.Run, station_m: float) -> Crossing:
    return Crossing(
        crosses="U1", layer="utilities", kind="gas", point=run.line.interpolate(station_m), angle_deg=90.0,
        station_m=station_m, loop_id=run.loop_id, twisted=run.twisted, length_m=1.2,
    )  # fmt: skip


def _of(run: sites.Run, *crossings: Crossing, **settings: object) -> list[tuple[float, str]]:
    found = stations(sites.loop_of(run), crossings, settings=Settings(**settings))
    return [(round(station.station_m, 3), station.point_kind) for station in found]


def test_a_rounded_rectangle_has_two_tangent_points_and_even_stakes_on_each_curve() -> None:
    kinds = Counter(kind for _, kind in _of(RUN, station_interval_m=1000.0))
    # chords of 2 x 2 m x acos(1 - 0.01 / 2) = 0.400 m at most, quarter circles of 3.142 m: 8 pieces, 7 stakes between
    assert kinds == {"start": 1, "end": 1, "tangent": 8, "curve": 4 * 7}


def test_chords_between_stakes_leave_the_wire_by_a_centimetre_at_most() -> None:
    found = stations(sites.loop_of(RUN), (), settings=Settings(station_interval_m=1000.0))
    chords = LineString([station.point for station in found])
    assert chords.hausdorff_distance(RUN.line) < 0.0105
    curved = [s.station_m for s in found if s.point_kind in {"tangent", "curve"}]
    assert min(after - before for before, after in pairwise(curved)) >= 0.15


def test_tangent_points_are_where_geometry_puts_them() -> None:
    found = stations(sites.loop_of(RUN), (), settings=Settings(station_interval_m=1000.0))
    tangents = {(round(s.point.x, 6), round(s.point.y, 6)) for s in found if s.point_kind == "tangent"}
    assert tangents == {(2, 0), (38, 0), (40, 2), (40, 18), (38, 20), (2, 20), (0, 18), (0, 2)}
    for station in found:
        if station.point_kind == "curve":
            corner = min((Point(x, y) for x in (2, 38) for y in (2, 18)), key=station.point.distance)
            assert station.point.distance(corner) == pytest.approx(2.0, abs=1e-3)


def test_regular_stakes_crossings_and_both_ends() -> None:
    found = _of(RUN, _crossing(RUN, 7.3), station_interval_m=10.0)
    regular = [station for station, kind in found if kind == "regular"]
    assert regular == [float(n) for n in range(10, int(RUN.line.length) + 1, 10)]
    assert (7.3, "crossing") in found
    assert found[0] == (0.0, "start")
    assert found[-1] == (round(RUN.line.length, 3), "end")
    assert [station for station, _ in found] == sorted(station for station, _ in found)


def test_of_two_at_one_place_the_more_important_stays() -> None:
    found = _of(RUN, _crossing(RUN, 10.02), station_interval_m=10.0)
    assert (10.02, "crossing") in found
    assert (10.0, "regular") not in found


@given(interval_m=st.floats(0.5, 40.0), start_m=st.floats(0.0, 500.0))
def test_no_gap_is_longer_than_the_interval_and_no_two_stakes_share_a_place(interval_m: float, start_m: float) -> None:
    run = sites.loop_run(OUTLINE, line=sites.ring(OUTLINE, start=(20, 0)), start_station_m=start_m)
    found = stations(sites.loop_of(run), (), settings=Settings(station_interval_m=interval_m))
    gaps = [after.station_m - before.station_m for before, after in pairwise(found)]
    assert max(gaps) <= interval_m + 0.051
    assert min(gaps) >= 0.05 - 1e-9
    for station in found:
        assert run.line.project(station.point) % run.line.length == pytest.approx(
            (station.station_m - start_m) % run.line.length, abs=1e-6
        )


def test_corners_without_a_curve_are_tangent_points() -> None:
    found = _of(PAIR, station_interval_m=1000.0)
    assert found == [(0.0, "start"), (10.0, "tangent"), (20.0, "end")]


def test_crossings_belong_to_their_run() -> None:
    loop = sites.loop_of(RUN, PAIR)
    found = stations(loop, (_crossing(PAIR, 4.0),), settings=Settings(station_interval_m=1000.0))
    assert [station.point for station in found if station.point_kind == "crossing"] == [Point(14, 10)]


def test_labels_follow_the_format() -> None:
    long_line = sites.lead_in((0, 0), (1100, 0))
    metric = stations(sites.loop_of(long_line), (), settings=Settings(station_interval_m=934.5))
    us = stations(sites.loop_of(long_line), (), settings=Settings(station_interval_m=934.5, station_format="us"))
    assert [station.label for station in metric] == ["0+000.0", "0+934.5", "1+100.0"]
    assert [station.label for station in us] == ["0+00.0", "30+65.9", "36+08.9"]


def test_a_straight_line_of_many_vertices_has_no_tangent_points() -> None:
    line = sites.lead_in(*LineString([(0, 0), (30, 10)]).segmentize(0.7).coords)
    assert [kind for _, kind in _of(line, station_interval_m=1000.0)] == ["start", "end"]
