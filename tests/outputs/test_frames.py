"""GeoDataFrame in, GeoDataFrame out: index, CRS and inputs stay as they were."""

from __future__ import annotations

import geopandas
import pytest
import shapely
from pyproj import CRS

from parcelfence.errors import CrsError, InputError
from parcelfence.outputs.frames import flags, loops, zones
from parcelfence.settings import Settings

SETTINGS = Settings(reach_m=2.0)


@pytest.fixture
def parcels() -> geopandas.GeoDataFrame:
    """Give three lots in EPSG:26915 (NAD83 / UTM 15N): a large one, one without room, one whose ring crosses itself."""
    shapes = [
        shapely.box(500_000, 4_980_000, 500_050, 4_980_040),
        shapely.box(500_060, 4_980_000, 500_064, 4_980_004),
        shapely.Polygon([(500_100, 4_980_000), (500_160, 4_980_040), (500_160, 4_980_000), (500_100, 4_980_040)]),
    ]
    return geopandas.GeoDataFrame(
        {"lot": ["a", "b", "c"]}, geometry=shapes, crs=CRS.from_epsg(26915), index=["x", "y", "z"]
    )


def test_every_parcel_has_its_row_index_and_crs(parcels: geopandas.GeoDataFrame) -> None:
    before = parcels.copy(deep=True)
    made = loops(parcels, SETTINGS)
    assert made.index.equals(parcels.index)
    assert made.crs == parcels.crs
    assert made["status"].tolist() == ["planned", "no_loop", "planned"]
    assert made.geometry.isna().tolist() == [False, True, False]
    assert made["remark"].iloc[1]
    assert before.equals(parcels)
    assert parcels.geometry.iloc[0].contains(made.geometry.iloc[0])


def test_lengths_are_ground_lengths(parcels: geopandas.GeoDataFrame) -> None:
    """UTM is 0.9996 at its central meridian, where these lots lie; the ground is longer by that factor."""
    made = loops(parcels, SETTINGS)
    assert made["loop_m"].iloc[0] == pytest.approx(made.geometry.iloc[0].length / 0.9996, rel=1e-5)


def test_zones_and_flags_share_the_index_of_their_parcel(parcels: geopandas.GeoDataFrame) -> None:
    found = zones(parcels, SETTINGS)
    assert set(found.index) == {"x", "z"}
    assert found.loc["x", "kind"].tolist() == ["roam", "signal", "core"]
    placed = flags(parcels.iloc[:1], SETTINGS)
    assert set(placed.index) == {"x"}
    assert placed["flag"].tolist() == list(range(1, len(placed) + 1))
    assert parcels.geometry.iloc[0].contains(placed.geometry.union_all())


def test_other_layers_may_be_in_another_crs(parcels: geopandas.GeoDataFrame) -> None:
    house = geopandas.GeoDataFrame(
        geometry=[shapely.box(500_020, 4_980_015, 500_030, 4_980_025)], crs=parcels.crs
    ).to_crs(4269)
    with_house = loops(parcels.iloc[:1], SETTINGS, buildings=house, marks=None)
    assert with_house["status"].tolist() == ["planned"]


def test_no_rows_in_no_rows_out(parcels: geopandas.GeoDataFrame) -> None:
    made = loops(parcels.iloc[:0], SETTINGS)
    assert made.empty
    assert made.crs == parcels.crs
    assert "loop_m" in made.columns


def test_a_table_without_crs_is_refused(parcels: geopandas.GeoDataFrame) -> None:
    with pytest.raises(CrsError, match="has no CRS"):
        loops(parcels.set_crs(None, allow_override=True), SETTINGS)


def test_an_unknown_role_is_refused(parcels: geopandas.GeoDataFrame) -> None:
    with pytest.raises(InputError, match="Did you mean 'buildings'"):
        loops(parcels, SETTINGS, building=parcels)
