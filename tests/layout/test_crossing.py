from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from parcelfence.layout.crossing import crossings
from parcelfence.layout.loop import Loop, Part, Run
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SQUARE = LineString([(0, 0), (40, 0), (40, 40), (0, 40), (0, 0)])


def site(*, utilities: tuple[Utility, ...] = (), hardscape: tuple[Feature, ...] = ()) -> Site:
    return Site(
        name="test",
        parcel_id="1",
        parcel=box(-10, -10, 50, 50),
        frame=LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326)),
        provenance=Provenance(inputs=()),
        utilities=utilities,
        hardscape=hardscape,
    )


def loop(line: LineString = SQUARE, part: Part = "loop") -> Loop:
    run = Run(part=part, loop_id="L1", line=line, current=0.0 if part == "lead_in" else 1.0)
    return Loop(runs=(run,), transmitter=None, allowed=MultiPolygon())


def utility(geometry: BaseGeometry, tolerance_m: float = 0.5) -> Utility:
    return Utility(
        id="gas-1", kind="gas", source_id="marks#1", geometry=geometry, apwa_color="yellow", tolerance_m=tolerance_m
    )


def test_a_square_crossing_is_measured() -> None:
    (found,) = crossings(loop(), site(utilities=(utility(LineString([(10, -5), (10, 5)])),)), settings=Settings())
    assert (found.crosses, found.kind, found.layer) == ("gas-1", "gas", "utilities")
    assert found.angle_deg == pytest.approx(90)
    assert found.station_m == pytest.approx(10)
    assert found.length_m == pytest.approx(1.0)
    assert found.point.equals(Point(10, 0))


@given(angle=st.floats(5, 90))
def test_any_angle_is_measured(angle: float) -> None:
    line = affinity.rotate(LineString([(15, 0), (25, 0)]), angle, origin=(20, 0))
    (found,) = crossings(loop(), site(utilities=(utility(line, 0.1),)), settings=Settings())
    assert found.angle_deg == pytest.approx(angle, abs=1e-6)
    assert found.length_m == pytest.approx(0.2 / math.sin(math.radians(angle)), rel=1e-2)


def test_a_line_through_the_yard_is_crossed_twice_in_order_of_station() -> None:
    found = crossings(loop(), site(utilities=(utility(LineString([(10, -5), (10, 45)])),)), settings=Settings())
    assert [crossing.station_m for crossing in found] == pytest.approx([10, 110])


def test_a_crossing_at_a_vertex_of_the_utility_counts_once_with_its_worse_angle() -> None:
    bent = LineString([(10, -5), (10, 0), (15, 5)])
    (found,) = crossings(loop(), site(utilities=(utility(bent),)), settings=Settings())
    assert 45 <= found.angle_deg <= 90


def test_a_service_that_ends_inside_is_crossed_once() -> None:
    service = utility(LineString([(10, -5), (10, 20)]))
    assert len(crossings(loop(), site(utilities=(service,)), settings=Settings())) == 1


def test_a_line_that_lies_under_the_wire_is_one_crossing_at_no_angle() -> None:
    (found,) = crossings(loop(), site(utilities=(utility(LineString([(10, 0), (30, 0)])),)), settings=Settings())
    assert found.angle_deg == pytest.approx(0)
    assert found.station_m == pytest.approx(20)


def test_a_tolerance_area_and_a_drive_are_crossed_over_their_width() -> None:
    drive = Feature(id="drive", kind="gravel", source_id="h#1", geometry=box(18, -5, 22, 5))
    area = utility(Polygon([(5, -1), (8, -1), (8, 1), (5, 1)]))
    found = crossings(loop(), site(utilities=(area,), hardscape=(drive,)), settings=Settings())
    assert [(one.layer, one.length_m, one.station_m) for one in found] == [
        ("utilities", pytest.approx(3), pytest.approx(6.5)),
        ("hardscape", pytest.approx(4), pytest.approx(20)),
    ]
    assert all(math.isnan(one.angle_deg) for one in found)


def test_a_drive_over_the_start_of_the_loop_is_one_crossing() -> None:
    drive = Feature(id="drive", kind="gravel", source_id="h#1", geometry=box(-2, -2, 2, 2))
    (found,) = crossings(loop(), site(hardscape=(drive,)), settings=Settings())
    assert found.length_m == pytest.approx(4)


def test_a_lead_in_says_that_it_is_twisted() -> None:
    line = LineString([(0, 0), (20, 0)])
    (found,) = crossings(
        loop(line, part="lead_in"), site(utilities=(utility(LineString([(10, -5), (10, 5)])),)), settings=Settings()
    )
    assert found.twisted
