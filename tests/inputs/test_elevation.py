"""Reading rasters of elevations: what is refused, in which words, and what is assumed and said."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
import rasterio
from pyproj import CRS
from shapely import box

from parcelfence.errors import CrsError, InputError, MissingExtraError, SettingsError
from parcelfence.inputs import elevation
from parcelfence.inputs.elevation import ElevationGrid, elevation_grid, elevation_raster
from parcelfence.inputs.elevation_unit import elevation_unit_m
from parcelfence.inputs.source import ElevationSource
from tests.rasters import FRAME, LOT, X, Y, plane, raster

if TYPE_CHECKING:
    from pathlib import Path

    from shapely import Polygon

FEET = CRS.from_epsg(6535)
"""NAD83(2011) / New York Central, US survey feet."""


def grid(path: Path, *, unit: str | None = None, ground: Polygon = LOT) -> ElevationGrid:
    return elevation_grid(
        elevation_raster(ElevationSource(path=path, unit=unit)), ground=ground, around=ground.buffer(5)
    )


def refused(path: Path, *, unit: str | None = None) -> str:
    with pytest.raises(InputError) as caught:
        grid(path, unit=unit)
    assert path.name in str(caught.value)
    return str(caught.value)


def test_without_rasterio_the_extra_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1))
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(MissingExtraError, match=r"pip install 'parcelfence\[dem\]'"):
        elevation_raster(ElevationSource(path=path))


def test_no_raster(tmp_path: Path) -> None:
    path = tmp_path / "dem.tif"
    path.write_text("x,y,z\n1,2,3\n")
    assert "named .tif, but what is in it is something else" in refused(path)


def test_no_file(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "dem.tif")


def test_a_raster_that_broke_off(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), tiled=True, blockxsize=16, blockysize=16)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 3])
    assert "cannot be read as a raster" in refused(path)


def test_no_crs(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1))
    with rasterio.open(path) as dataset:
        heights, transform = dataset.read(1), dataset.transform
    rows, columns = heights.shape
    bare = tmp_path / "bare.tif"
    with rasterio.open(
        bare, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float64", transform=transform
    ) as dataset:
        dataset.write(heights, 1)
    with pytest.raises(CrsError, match="does not say in which coordinate reference system"):
        elevation_raster(ElevationSource(path=bare))
    given = elevation_raster(ElevationSource(path=bare, crs_if_missing="EPSG:32618"))
    assert (given.crs, given.crs_origin) == (CRS.from_epsg(32618), "given")


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_no_place(tmp_path: Path) -> None:
    path = tmp_path / "dem.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=4, height=4, count=1, dtype="float32", crs="EPSG:32618"
    ) as dataset:
        dataset.write(np.ones((4, 4), dtype="float32"), 1)
    assert "where on the ground its cells lie" in refused(path)


@pytest.mark.parametrize(
    ("area", "words"),
    [
        (box(X - 10, Y - 10, X + 35, Y + 50), "covers 75 % of the property"),
        (box(X + 500, Y, X + 600, Y + 100), "covers 0 % of the property"),
        (box(X - 10, Y - 10, X + 50, Y + 49.6), None),
        (box(X - 10, Y - 9, X + 50, Y + 49.4), "covers 98.3 % of the property"),
        (box(X - 10, Y - 10, X + 49, Y + 50), "covers 98.3 % of the property"),
    ],
)
def test_how_much_of_the_property_is_covered(tmp_path: Path, area: Polygon, words: str | None) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), area=area)
    if words is None:  # the outer cells hold half a cell beyond the edge
        assert grid(path).heights_m.shape == (60, 60)
    else:
        assert words in refused(path)


def test_a_property_without_any_elevation(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), nodata=-1.0, change=lambda rows: np.full_like(rows, -1.0))
    assert "no elevation on the property" in refused(path)


def test_values_that_are_no_elevation_are_left_out_though_nothing_marks_them(tmp_path: Path) -> None:
    def spoil(rows: np.ndarray) -> np.ndarray:
        spoilt = rows.copy()
        spoilt[70, 70], spoilt[71, 71] = -9999.0, np.inf
        return spoilt

    own = grid(raster(tmp_path / "dem.tif", plane(0.1), change=spoil))
    assert np.isnan(own.heights_m).sum() == 2
    assert any("2 cells hold no elevation on earth" in remark for remark in own.remarks)
    assert any("no elevation on 0.1% of the property" in remark for remark in own.remarks)


def test_of_several_bands_the_first_is_taken(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.0), count=2)
    assert (grid(path).heights_m == 100).all()
    assert "2 bands: the first is taken" in " ".join(elevation_raster(ElevationSource(path=path)).remarks)


def test_a_picture(tmp_path: Path) -> None:
    path = raster(tmp_path / "air.tif", plane(0.0), count=3, dtype="uint8", photometric="RGB")
    assert "it is a picture" in refused(path)


def test_whole_numbers_with_a_scale_and_an_offset(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.0), unit_m=0.01, dtype="int16")
    with rasterio.open(path, "r+") as dataset:
        dataset.scales, dataset.offsets = (0.01,), (7.0,)
    assert grid(path).heights_m == pytest.approx(107.0)


def test_a_large_part_is_averaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(elevation, "_MOST_CELLS", 100)
    own = grid(raster(tmp_path / "dem.tif", plane(0.1)))
    assert own.heights_m.size <= 121
    assert any("averaged" in remark for remark in own.remarks)
    row, column = np.indices(own.heights_m.shape) + 0.5
    middles = own.affine @ [column.ravel(), row.ravel(), np.ones(row.size)]
    assert own.heights_m.ravel() == pytest.approx(plane(0.1)(*middles), abs=1e-6)


def test_the_vertical_part_of_the_crs_says_the_unit(tmp_path: Path) -> None:
    compound = CRS("EPSG:6535+6360")  # NAVD88 height in US survey feet
    path = raster(tmp_path / "dem.tif", plane(0.1), crs=FRAME.crs)
    with rasterio.open(path, "r+") as dataset:
        dataset.crs = compound.to_wkt()
    read = elevation_raster(ElevationSource(path=path))
    assert read.unit_m == pytest.approx(1200 / 3937, abs=1e-12)
    assert read.crs == FEET
    assert not read.remarks


def test_a_raster_in_feet_that_does_not_say_how_high_is_refused(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), cell=3)
    with rasterio.open(path, "r+") as dataset:
        dataset.crs = FEET.to_wkt()
    message = refused(path)
    assert "does not say the unit of its elevations" in message
    assert "`elevation_unit`" in message
    assert elevation_raster(ElevationSource(path=path, unit="m")).unit_m == 1.0


def test_a_unit_that_contradicts_the_crs_is_refused(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.1), unit="m")
    with rasterio.open(path, "r+") as dataset:
        dataset.crs = CRS("EPSG:6535+6360").to_wkt()
    assert "its CRS says otherwise" in refused(path)


def test_a_unit_that_is_not_known_is_refused_unless_the_person_says_it(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.0), unit="rods")
    assert "'rods'" in refused(path)
    assert grid(path, unit="ft").heights_m == pytest.approx(30.48)


@pytest.mark.parametrize(
    ("word", "unit_m"),
    [
        ("m", 1.0), ("Metre", 1.0), ("ft", 0.3048), ("feet", 0.3048), ("international foot", 0.3048),
        ("US survey foot", 1200 / 3937), ("us-ft", 1200 / 3937), ("ftUS", 1200 / 3937),
        ("Foot_US", 1200 / 3937), ("cm", 0.01),
    ],
)  # fmt: skip
def test_names_of_units(word: str, unit_m: float) -> None:
    assert elevation_unit_m(word) == unit_m


@pytest.mark.parametrize("word", ["fathoms", "3 m", "furlong"])
def test_names_of_no_units(word: str) -> None:
    with pytest.raises(SettingsError):
        elevation_unit_m(word)
