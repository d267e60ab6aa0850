"""Projections, feet, scales and geodesics as the project uses them.

Sources: IOGP / EPSG Guidance Note 7-2, methods 9807 and 9802, worked examples (parameters as printed there, not those
of the registry codes); Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55, table 3; US Federal Register 85
FR 62698 (survey foot); Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5 (elevation factor); a
surveyors' forum's worked combined factor (2011).  Point scales were computed with a 20 m geodesic.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod
from shapely import Point, Polygon

from parcelfence.site.frame import WGS84, LocalFrame
from parcelfence.site.scale import elevation_factor, grid_scale, scale_at
from parcelfence.site.whereabouts import geodesic_length_m
from parcelfence.units import ACRE_M2, FOOT_M, US_SURVEY_FOOT_M, parse_length_m

TRANSVERSE_MERCATOR = CRS(
    "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996013 +x_0=400000 +y_0=-100000 +a=6377563.396 +rf=299.32496"
)
LAMBERT = CRS(
    "+proj=lcc +lat_1=28.383333333333333 +lat_2=30.283333333333333 +lat_0=27.833333333333333 +lon_0=-99 "
    "+x_0=609601.2192024384 +y_0=0 +a=6378206.4 +rf=294.9787 +units=us-ft"
)
LOTS = {
    "prague": (
        [
            (14.4208, 50.088),
            (14.421230542, 50.088058879),
            (14.421358371, 50.087671949),
            (14.420859638, 50.087629703),
        ],
        (1438.0755021125078, 152.90892626161127, 3489.1970138153274),
    ),
    "austin": (
        [
            (-97.7431, 30.2672),
            (-97.742851091, 30.267158002),
            (-97.742972048, 30.266617853),
            (-97.743220956, 30.266659851),
        ],
        (1488.4018160030246, 170.80006146037672, 2001.9180370409226),
    ),
    "minnesota": (
        [(-93.26, 45.0), (-93.255966864, 44.999999929), (-93.255966864, 44.99713846), (-93.259999799, 44.997138389)],
        (101126.52665074191, 1272.0158910105447, 202245.3014809547),
    ),
    "equator": (
        [(11.9995, 0.0004), (12.000398315, 0.0004), (12.000398315, -0.000956554), (11.9995, -0.000956554)],
        (14999.992871889452, 499.99988905377285, 15101.085275723839),
    ),
}
"""Lots with their geodesic area and perimeter (GeographicLib) and their area in EPSG:3857."""


@pytest.mark.parametrize(
    ("crs", "lon_lat", "expected", "tolerance"),
    [
        pytest.param(TRANSVERSE_MERCATOR, (0.5, 50.5), (577274.99, 69740.50), 0.006, id="9807"),
        pytest.param(LAMBERT, (-96.0, 28.5), (2963503.91, 254759.80), 0.006, id="9802"),
    ],
)
def test_worked_examples(
    crs: CRS, lon_lat: tuple[float, float], expected: tuple[float, float], tolerance: float
) -> None:
    """Longitude and latitude to easting and northing, in metres and in US survey feet, by the frame's own way in."""
    frame = LocalFrame.around(Point(lon_lat).buffer(1e-4), crs.geodetic_crs)
    there = frame.conversion_from(crs.geodetic_crs, where="example").coordinates(np.array([lon_lat]))
    found = frame.conversion_to(crs).coordinates(there)
    assert found[0] == pytest.approx(expected, abs=tolerance)
    back = frame.conversion_from(crs, where="example").coordinates(np.array([expected]))
    assert np.hypot(*(back - there)[0]) < 2 * tolerance


def test_karney_short_line() -> None:
    """A line as short as those on a lot."""
    line = np.array([(0.0, -30.12345), (0.00005, -30.12344)])
    assert geodesic_length_m(line) == pytest.approx(4.944208, abs=1e-6)
    azimuth, back, _ = Geod(ellps="WGS84").inv(*line[0], *line[1])
    assert azimuth == pytest.approx(77.04353354237, abs=1e-8)
    assert (back + 180) % 360 == pytest.approx(77.04350844913, abs=1e-8)


def test_karney_short_line_in_the_working_frame() -> None:
    """Length and direction drawn in the local frame are the geodesic ones; the direction is grid north's."""
    line = np.array([(0.0, -30.12345), (0.00005, -30.12344)])
    frame = LocalFrame.around(Point(0.0, -30.123).buffer(1e-3), WGS84)
    (x0, y0), (x1, y1) = frame.conversion_from(WGS84, where="example").coordinates(line)
    assert np.hypot(x1 - x0, y1 - y0) == pytest.approx(4.944208, abs=1e-6)
    assert np.degrees(np.arctan2(x1 - x0, y1 - y0)) == pytest.approx(77.04353354237, abs=1e-4)


def test_feet_and_acres() -> None:
    assert pytest.approx(0.3048006096012192, rel=1e-15) == US_SURVEY_FOOT_M
    assert pytest.approx(2.000004e-6, rel=1e-9) == US_SURVEY_FOOT_M / FOOT_M - 1
    assert pytest.approx(1.219202438, abs=1e-9) == 2_000_000 * (US_SURVEY_FOOT_M - FOOT_M)
    assert pytest.approx(3.280833333333, abs=1e-12) == 1 / US_SURVEY_FOOT_M
    assert pytest.approx(4046.8564224, rel=1e-15) == ACRE_M2
    assert pytest.approx(4046.872609874, rel=1e-12) == 43560 * US_SURVEY_FOOT_M**2
    assert parse_length_m("1 usft") == US_SURVEY_FOOT_M


@pytest.mark.parametrize(
    ("code", "lon_lat", "scale", "over_500_m"),
    [
        (32633, (15.0, 50.0), 0.9996, -0.2),
        (32633, (14.42, 50.0), 0.9996212201, -0.18939),
        (32633, (12.0, 0.0), 1.000981062, 0.490531),
        (32614, (-97.74, 30.27), 0.9997812185, -0.109391),
        (32615, (-93.0, 45.0), 0.9996, -0.2),
    ],
)
def test_point_scales(code: int, lon_lat: tuple[float, float], scale: float, over_500_m: float) -> None:
    found = grid_scale(CRS.from_epsg(code), lon_lat=lon_lat)
    assert found == pytest.approx(scale, abs=1e-9)
    assert (found - 1) * 500 == pytest.approx(over_500_m, abs=1e-5)


def test_elevation_and_combined_factors() -> None:
    assert elevation_factor(300.0) == pytest.approx(0.9999529212372299, rel=1e-12)
    assert elevation_factor(1600.0) == pytest.approx(0.9997489644784737, rel=1e-12)
    combined = 0.999981 * elevation_factor(500.0, radius_m=20_906_000.0)  # all in feet
    assert combined == pytest.approx(0.999957, abs=5e-7)
    scale = scale_at(CRS.from_epsg(32615), lon_lat=(-93.0, 45.0), height_m=300.0)
    assert scale.combined == pytest.approx(0.9996 * 0.9999529212372299, rel=1e-9)


def test_the_frame_raised_to_the_ground_undoes_the_elevation_factor() -> None:
    """At an elevation the frame draws ground lengths: ellipsoid lengths over R / (R + h)."""
    centre = Point(-105.0, 40.0).buffer(1e-3)
    low, high = (LocalFrame.around(centre, WGS84, ground_elevation_m=height) for height in (0.0, 1600.0))
    assert low.scale / high.scale == pytest.approx(elevation_factor(1600.0), abs=1e-6)


@pytest.mark.parametrize("name", LOTS)
def test_lots_keep_their_geodesic_area_and_perimeter(name: str) -> None:
    lon_lat, (area_m2, perimeter_m, web_m2) = LOTS[name]
    lot = Polygon(lon_lat)
    frame = LocalFrame.around(lot, WGS84)
    drawn = frame.conversion_from(WGS84, where=name).geometry(lot)
    assert drawn.area == pytest.approx(area_m2, rel=1e-6)
    assert drawn.length == pytest.approx(perimeter_m, rel=1e-6)
    web = frame.conversion_to(CRS.from_epsg(3857)).geometry(drawn)
    assert web.area == pytest.approx(web_m2, rel=1e-6)


@pytest.mark.parametrize(("latitude", "true"), [(30.0, 1.33783009), (50.0, 2.41748178), (60.0, 3.98662252)])
def test_web_mercator_is_undone_by_its_true_factor(latitude: float, true: float) -> None:
    """Not by 1 / cos^2 (that is for a sphere), nor by PROJ's spherical factors: h = a/(M cos), k = a/(N cos)."""
    frame = LocalFrame.around(Point(10.0, latitude).buffer(1e-4), WGS84)
    square = shapely.box(9_950, 9_950, 10_050, 10_050)
    web = frame.conversion_to(CRS.from_epsg(3857)).geometry(square)
    assert web.area / square.area == pytest.approx(true, rel=3e-6)
    assert web.area / square.area != pytest.approx(1 / np.cos(np.radians(latitude)) ** 2, rel=1e-3)
    back = frame.conversion_from(CRS.from_epsg(3857), where="prague").geometry(web)
    assert back.area == pytest.approx(square.area, rel=1e-9)
