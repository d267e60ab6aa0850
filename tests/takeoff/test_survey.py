"""The survey sheet: courses with bearing, distance and offset, and the parcel's closure and area."""

from __future__ import annotations

import math

import pytest
from shapely import MultiPolygon, box

from parcelfence.settings import Settings
from parcelfence.takeoff.survey import survey
from tests.rules import sites

OUTLINE = sites.rounded(box(3, 3, 57, 37), 2.0)
RUN = sites.loop_run(OUTLINE, line=sites.ring(OUTLINE, start=(30, 3)), start_station_m=100.0)


def test_the_courses_of_a_rounded_rectangle() -> None:
    sheet = survey(sites.loop_of(RUN), sites.site(), settings=Settings())
    rows = [(row.bearing, round(row.course.length_m, 3), row.course.is_curve) for row in sheet.wire]
    curve_m = round(math.pi, 3)
    assert rows == [
        ("N 90-00-00 E", 25.0, False),
        ("N 45-00-00 E", curve_m, True),
        ("N 00-00-00 E", 30.0, False),
        ("N 45-00-00 W", curve_m, True),
        ("N 90-00-00 W", 50.0, False),
        ("S 45-00-00 W", curve_m, True),
        ("S 00-00-00 E", 30.0, False),
        ("S 45-00-00 E", curve_m, True),
        ("N 90-00-00 E", 25.0, False),
    ]
    assert [row.offset_m for row in sheet.wire] == pytest.approx([3.0] * 9, abs=1e-6)
    assert (sheet.wire[0].start, sheet.wire[0].end, sheet.wire[1].start) == ("0+100.0", "0+125.0", "0+125.0")
    assert {row.loop_id for row in sheet.wire} == {"L1"}


def test_the_parcel_is_closed_by_its_coordinates() -> None:
    sheet = survey(sites.loop_of(RUN), sites.site(), settings=Settings())
    (closure,) = sheet.closures
    assert (closure.perimeter, closure.misclosure, closure.area) == (200.0, 0.0, 2400.0)
    assert sorted(row.course.length_m for row in sheet.parcel) == [40.0, 40.0, 60.0, 60.0]


def test_every_part_of_a_parcel_has_its_closure() -> None:
    parts = MultiPolygon([box(0, 0, 60, 40), box(70, 0, 80, 10)])
    sheet = survey(sites.loop_of(RUN), sites.site(parcel=parts), settings=Settings())
    assert [closure.area for closure in sheet.closures] == [2400.0, 100.0]
    assert {row.loop_id for row in sheet.parcel} == {"lot line 1", "lot line 2"}
