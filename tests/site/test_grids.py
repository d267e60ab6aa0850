"""Grids to install: those for the place, by the EPSG registry as it comes with PROJ."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from pyproj import CRS
from pyproj.aoi import AreaOfUse
from shapely import Point

from parcelfence.errors import CrsError
from parcelfence.site.frame import LocalFrame
from parcelfence.site.grids import box_holds, missing_grids

VERMONT = (-72.6, 42.8)
_CONUS = {"us_noaa_nadcon5_nad27_nad83_1986_conus.tif", "us_noaa_conus.tif"}
"""NAD27 to NAD83 (7) and (1), both stated at 0.15 m; the Canadian ones, whose box holds Vermont, at 1.5 m and worse."""


def _frame(code: int, lon_lat: tuple[float, float] = VERMONT, **options: bool) -> LocalFrame:
    return LocalFrame.around(Point(lon_lat).buffer(0.002), CRS.from_epsg(code), **options)


def test_nad27_in_vermont_needs_no_canadian_grid() -> None:
    operation = _frame(4269, allow_ballpark=True).conversion_from(CRS.from_epsg(4267), where="marks.shp").operation
    assert operation.ballpark
    assert set(operation.missing_grids) <= _CONUS
    assert len(operation.missing_grids) == 1


def test_the_refusal_names_every_grid_of_the_best_operation() -> None:
    """NAD27 to NAD83(2011) by NADCON5 goes in five steps, each with its grid."""
    with pytest.raises(CrsError, match="Install us_noaa_nadcon5") as refusal:
        _frame(6318).conversion_from(CRS.from_epsg(4267), where="marks.shp")
    assert str(refusal.value).count(".tif") == 5
    assert "ca_nrc" not in str(refusal.value)


def test_no_grid_is_named_where_the_operation_needs_none() -> None:
    """RD New to WGS 84: 1 m without any grid, and none better that lacks one."""
    operation = _frame(4326, (5.87, 50.87)).conversion_from(CRS.from_epsg(28992), where="marks.shp").operation
    assert operation.accuracy_m == 1.0
    assert not operation.missing_grids


def _group(*operations: tuple[float, AreaOfUse | None, str]) -> Any:
    unavailable = [
        SimpleNamespace(
            accuracy=accuracy_m,
            area_of_use=area,
            name=grid,
            grids=[SimpleNamespace(short_name=grid, available=False), SimpleNamespace(short_name="x", available=True)],
        )
        for accuracy_m, area, grid in operations
    ]
    return SimpleNamespace(unavailable_operations=unavailable)


def _box(west: float, east: float) -> AreaOfUse:
    return AreaOfUse(west=west, south=40.0, east=east, north=50.0, name="")


def test_the_best_then_the_nearest_area_decides() -> None:
    wide, near, elsewhere = _box(-120, -60), _box(-74, -70), _box(0, 10)
    globe = _box(-180, 180)
    group = _group(
        (2.0, near, "coarse"), (0.1, elsewhere, "away"), (1.0, globe, "globe"), (1.0, wide, "wide"), (1.0, near, "near")
    )
    assert missing_grids(group, lon_lat=VERMONT) == ("near",)
    assert missing_grids(group, lon_lat=VERMONT, better_than_m=1.0) == ()
    assert missing_grids(_group((-1.0, near, "unknown"), (1.0, None, "nowhere")), lon_lat=VERMONT) == ()


def test_boxes_hold_a_place_also_over_the_antimeridian() -> None:
    fiji = (176.8, -20.8, -178.1, -12.4)
    held = [box_holds(fiji, (longitude, -17.0)) for longitude in (177.5, -179.0, 170.0, -170.0)]
    assert held == [True, True, False, False]
    assert not box_holds(fiji, (177.5, -30.0))
    assert box_holds((-180.0, -90.0, 180.0, 90.0), VERMONT)
