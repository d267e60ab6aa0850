"""A site from tables that are at hand: the same as from their files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import pandas as pd
import pytest
import shapely

import parcelfence
from tests.sample import SAMPLE

if TYPE_CHECKING:
    from collections.abc import Callable

    from geopandas import GeoDataFrame


@pytest.fixture
def lots() -> GeoDataFrame:
    return geopandas.read_file(SAMPLE / "parcels.geojson")


def test_a_table_gives_the_site_that_its_file_gives(lots: GeoDataFrame) -> None:
    buildings = SAMPLE / "buildings.geojson"
    marks = [SAMPLE / "marks_lines.geojson", SAMPLE / "marks_points.geojson"]
    by_file = parcelfence.read_site(
        parcels=SAMPLE / "parcels.geojson", select="parcel_no=31-07", buildings=buildings, marks=marks
    )
    by_table = parcelfence.read_site(
        parcels=lots,
        select={"parcel_no": "31-07"},
        buildings=geopandas.read_file(buildings),
        marks=[marks[0], geopandas.read_file(marks[1])],
    )
    assert by_table.parcel.equals_exact(by_file.parcel, 1e-9)
    assert [one.kind for one in by_table.utilities] == [one.kind for one in by_file.utilities]
    assert len(by_table.buildings) == len(by_file.buildings)


def test_labels_and_missing_values_of_a_table_do_not_matter(lots: GeoDataFrame) -> None:
    odd = lots.assign(owner=[pd.NA, None, float("nan"), "x", "", pd.NaT]).set_index(lots.parcel_no)
    before = odd.copy()
    site = parcelfence.read_site(parcels=odd, select={"parcel_no": ["31-05", "31-07"]})
    assert site.parcel_id == "31-05+31-07"
    assert len(site.provenance.inputs[0].sha256) == 64
    pd.testing.assert_frame_equal(odd, before)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda lots: parcelfence.read_site(parcels=lots, buidings=lots),
            "no role 'buidings'. Did you mean 'buildings'",
        ),
        (lambda lots: parcelfence.read_site(parcels=lots.set_crs(None, allow_override=True)), "has no CRS.*set_crs"),
        (lambda lots: parcelfence.read_site(parcels=pd.DataFrame(lots.drop(columns="geometry"))), "type DataFrame"),
        (lambda lots: parcelfence.read_site(parcels=lots, select={"parcel_no": "1", "acres": 2}), "several fields"),
        (
            lambda lots: parcelfence.read_site(parcels=lots.assign(geometry=None).set_crs(4326)),
            "none of its 6 features",
        ),
        (lambda _lots: parcelfence.Settings(reech_m=2), "no setting 'reech_m'. Did you mean 'reach_m'"),
        (lambda _lots: parcelfence.Settings(reach_m=-2, bend_radius_m="2 fot"), "2 faults"),
    ],
)
def test_what_is_meant_is_asked_for(call: Callable[[GeoDataFrame], Any], words: str, lots: GeoDataFrame) -> None:
    with pytest.raises(parcelfence.ParcelFenceError, match=words):
        call(lots)


def test_curves_heights_and_bow_ties_of_a_table_are_mended_as_in_a_file() -> None:
    bow_tie = shapely.Polygon([(0, 0, 5), (60, 60, 5), (60, 0, 5), (0, 60, 5)])
    lots = geopandas.GeoDataFrame({"no": [1]}, geometry=[bow_tie], crs="EPSG:32618").translate(500000, 4700000)
    site = parcelfence.read_site(parcels=geopandas.GeoDataFrame({"no": [1]}, geometry=lots))
    assert site.parcel.is_valid
    assert site.provenance.repairs
