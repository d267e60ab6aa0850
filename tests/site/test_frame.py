from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod
from shapely import LineString, Point

from parcelfence.errors import CrsError
from parcelfence.site.frame import FALSE_ORIGIN_M, WGS84, LocalFrame, horizontal


def frame_at(longitude: float, latitude: float) -> LocalFrame:
    return LocalFrame.around(Point(longitude, latitude).buffer(0.003), WGS84)


@given(longitude=st.floats(-179, 179), latitude=st.floats(-75, 75))
def test_plan_lengths_are_geodesic_lengths(longitude: float, latitude: float) -> None:
    """Karney (2013) as implemented in GeographicLib through pyproj.Geod."""
    frame = frame_at(longitude, latitude)
    line = LineString([(9_700, 9_800), (10_350, 10_100), (10_100, 10_400)])
    lon_lat = shapely.get_coordinates(frame.to_wgs84().geometry(line))
    geodesic_m = Geod(ellps="WGS84").line_length(lon_lat[:, 0], lon_lat[:, 1])
    assert line.length == pytest.approx(geodesic_m, rel=1e-7)


def test_the_frame_is_centred_metric_and_reproducible() -> None:
    frame = frame_at(-72.61234, 42.81234)
    assert frame.centre_lon_lat == (-72.612, 42.812)
    assert frame.crs == frame_at(-72.61211, 42.81199).crs
    assert {axis.unit_name for axis in frame.crs.axis_info} == {"metre"}
    centre = frame.conversion_from(WGS84, where="test").geometry(Point(-72.612, 42.812))
    assert (centre.x, centre.y) == pytest.approx((FALSE_ORIGIN_M, FALSE_ORIGIN_M), abs=1e-6)


def test_an_elevation_gives_ground_lengths() -> None:
    high = LocalFrame.around(Point(-105, 40).buffer(0.002), WGS84, ground_elevation_m=2000.0)
    assert high.scale == pytest.approx(1 + 2000 / 6_370_000, rel=1e-5)


def test_the_datum_of_the_parcels_is_kept() -> None:
    """NAD83 to NAD83 is a projection alone; to WGS 84 PROJ rates the operation at 2 to 4 m."""
    state_plane = CRS.from_epsg(2229)
    frame = LocalFrame.around(Point(6_430_000, 1_840_000).buffer(300), state_plane)
    assert frame.conversion_from(state_plane, where="lots").operation.accuracy_m == 0.0
    assert frame.to_wgs84().operation.accuracy_m == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("code", "words"), [(3857, "stretches"), (4326, "degrees"), (2229, "foot")], ids=["web mercator", "degrees", "feet"]
)
def test_a_working_crs_that_is_no_measure_is_refused(code: int, words: str) -> None:
    with pytest.raises(CrsError, match=words):
        LocalFrame.on(CRS.from_epsg(code), Point(-118.5, 34.03), source_crs=WGS84)


def test_a_chosen_projected_crs_is_used() -> None:
    frame = LocalFrame.on(CRS.from_epsg(32618), Point(-72.6, 42.8), source_crs=WGS84)
    there = frame.conversion_from(WGS84, where="lots").geometry(Point(-72.6, 42.8))
    back = frame.to_wgs84().geometry(there)
    assert np.allclose([back.x, back.y], [-72.6, 42.8], atol=1e-9)


def test_coordinates_outside_the_projection_are_refused() -> None:
    with pytest.raises(CrsError, match="not defined"):
        LocalFrame.around(Point(9e9, 9e9).buffer(1), CRS.from_epsg(2229))


def test_a_compound_crs_is_reduced_to_its_horizontal_part() -> None:
    assert horizontal(CRS.from_user_input("EPSG:28992+5709")) == CRS.from_epsg(28992)


def test_a_ballpark_operation_is_refused_unless_allowed() -> None:
    """Compound ETRS89 heights aside, PROJ knows no rated operation between these two unrelated datums."""
    local = CRS.from_proj4("+proj=tmerc +lat_0=50 +lon_0=10 +ellps=bessel +units=m")
    frame = LocalFrame.around(Point(10, 50).buffer(0.01), WGS84)
    with pytest.raises(CrsError, match="`allow_ballpark`"):
        frame.conversion_from(local, where="marks.shp")
    allowed = LocalFrame.around(Point(10, 50).buffer(0.01), WGS84, allow_ballpark=True)
    assert allowed.conversion_from(local, where="marks.shp").operation.ballpark


@pytest.mark.parametrize("code", [6535, 2227, 26918, 4269])
def test_a_pure_conversion_is_exact_whatever_the_order_of_the_axes(code: int) -> None:
    """From PROJ 9.8 on, a conversion in the order of longitude before latitude states no accuracy of its own."""
    source = CRS.from_epsg(code)
    place = shapely.Point(-72.60, 42.80) if code == 4269 else shapely.Point(2_000_000.0, 500_000.0)
    frame = LocalFrame.around(place.buffer(0.0001), source)
    for way in (frame.conversion_from(source, where="lots"), frame.conversion_to(source)):
        assert (way.operation.accuracy_m, way.operation.ballpark) == (0.0, False)
