"""Several datums in one site: NAD27, NAD83, NAD83(2011), WGS 84, RD New and Web Mercator.

Sources: PROJ's own database of operations and their stated accuracy (EPSG registry), through pyproj; the definition of
the coordinate systems in the EPSG registry.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Geod, Transformer
from shapely import Point

from parcelfence.errors import CrsError
from parcelfence.site.frame import WGS84, LocalFrame

VERMONT = (-72.61, 42.81)
LIMBURG = (5.87, 50.87)


def _frame(code: int, lon_lat: tuple[float, float] = VERMONT, **options: bool) -> LocalFrame:
    return LocalFrame.around(Point(lon_lat).buffer(1e-3), CRS.from_epsg(code), **options)


def test_on_one_datum_nothing_is_lost() -> None:
    """Vermont State Plane on NAD83, metres (32145) and US survey feet (5646): exact unit conversion, no datum shift."""
    frame = _frame(4269)
    for code in (32145, 5646):
        conversion = frame.conversion_from(CRS.from_epsg(code), where="parcels")
        assert conversion.operation.accuracy_m == 0.0
        assert not conversion.operation.ballpark


@pytest.mark.parametrize(
    ("foot_code", "metre_code", "foot_m", "lon_lat"),
    [
        pytest.param(2249, 26986, 1200 / 3937, (-71.5, 42.3), id="Massachusetts, US survey feet"),
        pytest.param(2913, 2838, 0.3048, (-122.7, 45.5), id="Oregon North, international feet"),
    ],
)
def test_state_plane_feet_round_trip(
    foot_code: int, metre_code: int, foot_m: float, lon_lat: tuple[float, float]
) -> None:
    in_feet, in_metres = CRS.from_epsg(foot_code), CRS.from_epsg(metre_code)
    frame = LocalFrame.around(Point(lon_lat).buffer(1e-3), in_feet.geodetic_crs)
    points = np.array([(9_900.0, 9_800.0), (10_200.0, 10_400.0)])
    feet = frame.conversion_to(in_feet).coordinates(points)
    metres = frame.conversion_to(in_metres).coordinates(points)
    assert np.abs(feet * foot_m - metres).max() < 2e-3  # the false easting in feet is rounded to some decimals
    back = frame.conversion_from(in_feet, where="parcels").coordinates(feet)
    assert np.abs(back - points).max() < 1e-6


@pytest.mark.parametrize("code", [4267, 4269, 4326, 6318, 3857])
def test_a_mixture_states_an_accuracy_for_each(code: int) -> None:
    """NAD27, NAD83, WGS 84, NAD83(2011) and Web Mercator into a frame on NAD83(2011): stated, or refused in words."""
    frame = _frame(6318)
    try:
        conversion = frame.conversion_from(CRS.from_epsg(code), where="marks.shp")
    except CrsError as error:
        assert "marks.shp" in str(error)  # noqa: PT017
        assert "`allow_ballpark`" in str(error)  # noqa: PT017
        return
    accuracy_m = conversion.operation.accuracy_m
    assert accuracy_m is not None
    assert 0.0 <= accuracy_m <= 30.0
    assert conversion.operation.name


def test_nad27_without_its_grids_is_refused_with_the_grid_by_name() -> None:
    """Without the NADCON grids PROJ knows no way to NAD83 of stated accuracy."""
    try:
        conversion = _frame(4269).conversion_from(CRS.from_epsg(4267), where="old.shp")
    except CrsError as error:
        assert "no operation of known accuracy" in str(error)  # noqa: PT017
        assert ".tif" in str(error)  # noqa: PT017
    else:  # the grids are installed: then it is good to a metre
        assert conversion.operation.accuracy_m is not None
        assert conversion.operation.accuracy_m <= 1.0


def test_nad27_to_wgs84_has_an_accuracy_that_is_a_conflict_of_its_own() -> None:
    """Three-parameter operations of 5 to 12 m exist; they shift by tens of metres, and are worse than any clearance."""
    frame = _frame(4326)
    conversion = frame.conversion_from(CRS.from_epsg(4267), where="old.shp")
    plain = frame.conversion_from(WGS84, where="new.shp").coordinates(np.array([VERMONT]))
    shift_m = np.hypot(*(conversion.coordinates(np.array([VERMONT])) - plain)[0])
    assert 10.0 < shift_m < 100.0
    assert conversion.operation.accuracy_m is not None
    assert conversion.operation.accuracy_m <= 12.0


def test_an_unknown_accuracy_is_accepted_only_on_demand_and_marked() -> None:
    conversion = _frame(4269, allow_ballpark=True).conversion_from(CRS.from_epsg(4267), where="old.shp")
    assert conversion.operation.ballpark == (conversion.operation.accuracy_m is None)


def test_rd_new_goes_to_wgs84_and_back() -> None:
    """A point in Limburg; the EPSG registry gives 1 m or better for RD New to WGS 84."""
    place = 190_000.0, 320_000.0
    frame = LocalFrame.around(Point(place).buffer(100), CRS.from_epsg(28992))
    assert frame.centre_lon_lat == pytest.approx(LIMBURG, abs=0.05)
    outward, inward = frame.to_wgs84(), frame.conversion_from(WGS84, where="locates")
    points = np.array([(9_950.0, 10_010.0), (10_300.0, 9_800.0)])
    assert np.abs(inward.coordinates(outward.coordinates(points)) - points).max() < 1e-3
    assert outward.operation.accuracy_m is not None
    assert outward.operation.accuracy_m <= 1.0
    direct = Transformer.from_crs(28992, 4326, always_xy=True).transform(*place)
    drawn = frame.conversion_from(CRS.from_epsg(28992), where="parcels").coordinates(np.array([place]))
    _, _, apart_m = Geod(ellps="WGS84").inv(*outward.coordinates(drawn)[0], *direct)
    assert apart_m < 1.0


def test_two_ways_to_one_place_agree_within_their_accuracies() -> None:
    """A point given on WGS 84 and in Web Mercator is the same point: both are one datum."""
    frame = _frame(6318)
    web = Transformer.from_crs(4326, 3857, always_xy=True).transform(*VERMONT)
    degrees = frame.conversion_from(WGS84, where="a").coordinates(np.array([VERMONT]))
    metres = frame.conversion_from(CRS.from_epsg(3857), where="b").coordinates(np.array([web]))
    assert np.hypot(*(degrees - metres)[0]) < 1e-3
