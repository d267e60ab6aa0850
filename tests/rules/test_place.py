"""Places along the wire, and how they are written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point, box

from parcelfence.rules.nearness import near_stretches
from parcelfence.rules.place import nearest_place
from parcelfence.rules.wire import Wire
from parcelfence.settings import Settings
from parcelfence.units import station_label
from parcelfence.wording import Wording
from tests.rules import sites

OUTER = sites.loop_run(box(0, 0, 50, 30), line=sites.ring(box(0, 0, 50, 30), start=(0, 0)))


def test_a_place_is_on_the_nearest_run_with_its_chainage() -> None:
    pair = sites.Run(
        part="lead_in", loop_id="T1", line=LineString([(20, 15), (0, 15)]), current=0.0, start_station_m=5.0
    )
    loop = sites.loop_of(OUTER, pair)
    at_wire = nearest_place(loop, Point(40, 2))
    assert (at_wire.run, at_wire.station_m, at_wire.distance_m) == (OUTER, pytest.approx(40), pytest.approx(2))
    at_pair = nearest_place(loop, Point(12, 16))
    assert (at_pair.run, at_pair.station_m) == (pair, pytest.approx(13))
    assert nearest_place(loop, Point(12, 16), twisted=False).run is OUTER


def test_nothing_is_near_no_wire() -> None:
    assert nearest_place(sites.loop_of(), Point(0, 0)) is None
    assert nearest_place(sites.loop_of(OUTER), Point()) is None


@given(west=st.floats(1, 45), width=st.floats(0.6, 10), gap_m=st.floats(0.0, 1.0), shift=st.integers(0, 7))
def test_stretches_cover_exactly_what_is_near(west: float, width: float, gap_m: float, shift: int) -> None:
    """Against a buffer of the obstacle: all wire within it is in the stretch, and half a metre beyond at most."""
    outline = box(0, 0, 60, 30)
    start = [(0, 0), (60, 0), (60, 30), (0, 30)][shift % 4]
    run = sites.loop_run(outline, line=sites.ring(outline, start=start))
    obstacle = box(west, -5, west + width, -gap_m)
    (stretches,) = near_stretches(Wire.of(sites.loop_of(run)), [obstacle], within_m=1.5)
    (stretch,) = stretches
    truth = run.line.intersection(obstacle.buffer(1.5, quad_segs=64))
    assert stretch.line.buffer(0.01).covers(truth)
    assert stretch.length_m <= truth.length + 1.02
    assert stretch.measured == pytest.approx(gap_m, abs=1e-9)


@pytest.mark.parametrize(
    ("station_m", "metric", "us"),
    [
        (0.0, "0+000.0", "0+00.0"),
        (123.4, "0+123.4", "4+04.9"),
        (999.96, "1+000.0", "32+80.7"),
        (1234.56, "1+234.6", "40+50.4"),
        (30.479, "0+030.5", "1+00.0"),
    ],
)
def test_chainage_is_written_as_on_a_stake(station_m: float, metric: str, us: str) -> None:
    assert station_label(station_m, style="metric") == metric
    assert station_label(station_m, style="us") == us


def test_areas_and_speeds_are_in_the_units_of_the_person() -> None:
    metric, us = Wording(Settings()), Wording(Settings(units="us"))
    assert (metric.area(25.0), us.area(25.0)) == ("25.0 sq m", "269.1 sq ft")
    assert (metric.area(25_000.0), us.area(25_000.0)) == ("2.50 ha", "6.18 acres")
    assert (metric.speed(4.0), us.speed(4.0)) == ("4.0 m/s", "13.1 ft/s")
