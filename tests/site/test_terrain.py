"""Lengths along the ground: closed forms on planes and cones, and hills against scipy's quadrature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from scipy.integrate import quad
from shapely import LineString, MultiLineString, Point, box
from shapely.affinity import rotate

from parcelfence.errors import CrsError
from parcelfence.inputs.files import file_hash
from parcelfence.inputs.source import ElevationSource
from parcelfence.site.reading import on_terrain
from parcelfence.site.terrain import Terrain, ground_length_m, ground_profile
from tests.rasters import FRAME, LOT, X, Y, lot_site, plane, raster

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.site.site import Site
    from tests.rasters import Surface

STATE_PLANE = CRS.from_epsg(2261)
"""NAD83 / New York Central, US survey feet."""
LINE = LineString([(X - 5, Y + 20), (X + 35, Y + 20)])


def terrain(path: Path, surface: Surface, **how: object) -> Terrain:
    site = on_terrain(lot_site(), ElevationSource(path=raster(path / "dem.tif", surface, **how)))  # type: ignore[arg-type]
    assert site.terrain is not None
    return site.terrain


@pytest.fixture(scope="module")
def slope(tmp_path_factory: pytest.TempPathFactory) -> Terrain:
    return terrain(tmp_path_factory.mktemp("plane"), plane(0.3, towards_deg=20))


@given(azimuth_deg=st.floats(0, 360))
def test_on_a_plane_a_line_is_longer_by_its_slope_in_its_own_direction(slope: Terrain, azimuth_deg: float) -> None:
    line = rotate(LINE, azimuth_deg, origin=(X + 15, Y + 20))
    expected = 40 * np.sqrt(1 + (0.3 * np.cos(np.radians(azimuth_deg - 20))) ** 2)
    assert ground_length_m(line, slope) == pytest.approx(expected, rel=1e-9)


def test_heights_of_a_plane_are_exact_between_the_cells(slope: Terrain) -> None:
    xy = np.random.default_rng(1).uniform([X, Y], [X + 40, Y + 40], (500, 2))
    assert slope.heights(xy) == pytest.approx(plane(0.3, towards_deg=20)(*xy.T), abs=1e-9)


def test_bilinear_between_four_cells(tmp_path: Path) -> None:
    own = terrain(tmp_path, lambda x, y: (x - X) * (y - Y) / 50, cell=5)
    xy = np.random.default_rng(2).uniform([X, Y], [X + 40, Y + 40], (200, 2))
    assert own.heights(xy) == pytest.approx((xy[:, 0] - X) * (xy[:, 1] - Y) / 50, abs=1e-9)


@pytest.mark.parametrize(
    ("crs", "cell", "rotation_deg", "closeness"),
    [
        (FRAME.crs, 1.0, 30.0, 1e-9),
        (CRS.from_epsg(4326), 1e-5, 0.0, 1e-7),
        (CRS.from_epsg(4326), 1e-5, -17.0, 1e-7),
        (STATE_PLANE, 3.0, 0.0, 1e-5),
        (STATE_PLANE, 3.0, 45.0, 1e-5),
    ],
    ids=["turned", "degrees", "degrees turned", "feet", "feet turned"],
)
def test_a_raster_in_another_crs_or_turned_gives_the_same(
    tmp_path: Path, crs: CRS, cell: float, rotation_deg: float, closeness: float
) -> None:
    if crs == STATE_PLANE:
        ballpark_free = FRAME.conversion_to(crs).operation.accuracy_m
        assert ballpark_free is not None
    own = terrain(tmp_path, plane(0.3), crs=crs, cell=cell, rotation_deg=rotation_deg, unit="m")
    assert ground_length_m(LINE, own) == pytest.approx(40 * np.sqrt(1.09), rel=closeness)


@pytest.mark.parametrize(("unit", "unit_m"), [("ft", 0.3048), ("US survey foot", 1200 / 3937), ("metre", 1.0)])
def test_heights_in_feet(tmp_path: Path, unit: str, unit_m: float) -> None:
    own = terrain(tmp_path, plane(0.5), unit=unit, unit_m=unit_m)
    assert ground_length_m(LINE, own) == pytest.approx(40 * np.sqrt(1.25), rel=1e-9)


def test_a_sine_hill_against_quadrature(tmp_path: Path) -> None:
    height, wave = 2.0, 2 * np.pi / 40
    own = terrain(tmp_path, lambda x, _: 100 + height * np.sin(wave * (x - X)), cell=0.25)
    expected, _ = quad(lambda x: np.sqrt(1 + (height * wave * np.cos(wave * x)) ** 2), -5, 35)
    assert expected > 40.9
    assert ground_length_m(LINE, own) == pytest.approx(expected, rel=1e-4)


def test_a_cone_against_quadrature_and_its_level_lines(tmp_path: Path) -> None:
    own = terrain(tmp_path, lambda x, y: 120 - 0.4 * np.hypot(x - X - 20, y - Y - 20), cell=0.25)
    side = LineString([(X, Y + 12), (X + 40, Y + 12)])
    expected, _ = quad(lambda t: np.sqrt(1 + (0.4 * t / np.hypot(t, 8)) ** 2), -20, 20)
    assert ground_length_m(side, own) == pytest.approx(expected, rel=1e-4)
    level = Point(X + 20, Y + 20).buffer(15, quad_segs=64).exterior
    assert ground_length_m(level, own) == pytest.approx(level.length, rel=1e-4)
    down = LineString([(X + 21, Y + 20), (X + 38, Y + 20)])
    assert ground_length_m(down, own) == pytest.approx(17 * np.sqrt(1.16), rel=1e-4)


def test_flat_ground_changes_nothing(tmp_path: Path) -> None:
    own = terrain(tmp_path, plane(0.0))
    wiggly = Point(X + 20, Y + 20).buffer(18).exterior
    assert ground_length_m(wiggly, own) == pytest.approx(wiggly.length, abs=1e-9)
    assert ground_length_m(wiggly, None) == wiggly.length


def test_plan_and_ground_chainage_lead_into_each_other(slope: Terrain) -> None:
    profile = ground_profile(LINE, slope)
    assert profile.on_plan(profile.along_ground(17.3)) == pytest.approx(17.3)
    assert profile.along_ground(20.0) == pytest.approx(profile.length_m / 2)


def test_several_lines_and_points_among_them(slope: Terrain) -> None:
    halves = MultiLineString([[(X, Y), (X + 10, Y)], [(X + 10, Y), (X + 30, Y)]])
    whole = LineString([(X, Y), (X + 30, Y)])
    assert ground_length_m(halves, slope) == pytest.approx(ground_length_m(whole, slope))
    assert ground_length_m(halves.union(Point(X, Y + 5)), slope) == pytest.approx(ground_length_m(whole, slope))
    assert ground_length_m(LineString(), slope) == 0.0


def test_ground_without_elevation_is_flat_and_said_to_be(tmp_path: Path) -> None:
    def hole(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(x > X + 20, np.nan, plane(0.75)(x, y))

    path = raster(tmp_path / "dem.tif", hole, nodata=-9999.0, change=lambda rows: np.nan_to_num(rows, nan=-9999.0))
    site = on_terrain(lot_site(), ElevationSource(path=path))
    profile = ground_profile(LINE, site.terrain)
    assert profile.unknown_m == pytest.approx(15, abs=1.0)
    assert profile.length_m == pytest.approx((40 - profile.unknown_m) * 1.25 + profile.unknown_m, rel=1e-9)
    assert any("no elevation on 50.0% of the property" in remark for remark in site.provenance.remarks)


def test_a_cell_without_elevation_leaves_the_middles_of_its_neighbours_known(tmp_path: Path) -> None:
    def hole(rows: np.ndarray) -> np.ndarray:
        holed = rows.copy()
        holed[60, 60] = np.nan
        return holed

    own = terrain(tmp_path, plane(0.0), change=hole)
    row, column = (int(place[0]) for place in np.nonzero(np.isnan(own.heights_m)))
    around = np.array([
        [column - 0.5, column + 1.5, column + 0.5, column + 0.4],
        [row + 0.5, row + 0.5, row - 0.5, row],
    ])
    assert np.isnan(own.heights((own.affine @ [*around, np.ones(4)]).T)).tolist() == [False, False, False, True]


def test_off_the_grid_nothing_is_known(slope: Terrain) -> None:
    assert np.isnan(slope.heights(np.array([[X + 1000.0, Y], [X, Y - 400.0]]))).all()


def test_up_to_the_edge_of_the_raster_heights_are_known(tmp_path: Path) -> None:
    own = terrain(tmp_path, plane(0.3), area=LOT)
    corners = np.array(LOT.exterior.coords)
    assert own.heights(corners) == pytest.approx(plane(0.3)(*corners.T), abs=0.3)


def test_only_the_part_around_the_property_is_held(tmp_path: Path) -> None:
    own = terrain(tmp_path, plane(0.1), area=box(X - 900, Y - 900, X + 900, Y + 900), cell=2)
    assert own.heights_m.size < (140 / 2 + 4) ** 2
    assert ground_length_m(LINE, own) == pytest.approx(40 * np.sqrt(1.01), rel=1e-9)


def test_the_raster_stands_in_the_provenance(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), crs=CRS.from_epsg(4326), cell=1e-5)
    site: Site = on_terrain(lot_site(), ElevationSource(path=path))
    (record,) = site.provenance.inputs
    assert (record.role, record.name, record.sha256) == ("elevation", "dem.tif", file_hash(path))
    assert (record.crs, record.crs_origin) == ("EPSG:4326", "file")
    assert record.operation.target == FRAME.crs.name
    assert 0 < record.used <= record.features
    remarks = " ".join(site.provenance.remarks)
    assert "along the ground by dem.tif" in remarks
    assert "taken as metres" in remarks


def test_a_crs_in_which_the_property_has_no_place_is_refused(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), crs=FRAME.crs)
    import rasterio

    with rasterio.open(path, "r+") as dataset:
        dataset.crs = "+proj=ortho +lat_0=-42 +lon_0=104 +datum=WGS84 +units=m"
    with pytest.raises(CrsError):
        on_terrain(lot_site(), ElevationSource(path=path))
