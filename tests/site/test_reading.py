"""Whether the parcels lie where their CRS is made for, also over the antimeridian."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from pyproj import CRS
from shapely import Point, box
from shapely.geometry import mapping

from parcelfence.site.frame import WGS84, LocalFrame
from parcelfence.site.reading import read_site

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("code", "lon_lat", "told"),
    [(2193, (174.8, -41.3), False), (32618, (-75.0, 43.0), False), (32618, (-79.0, 43.0), True)],
)
def test_parcels_outside_the_area_of_their_crs_are_told(
    code: int, lon_lat: tuple[float, float], told: bool, tmp_path: Path
) -> None:
    """New Zealand's grid (EPSG:2193) is made for an area that runs over the antimeridian."""
    frame = LocalFrame.around(Point(lon_lat).buffer(0.001), WGS84)

    grid = frame.conversion_to(CRS.from_epsg(code)).geometry(
        frame.conversion_from(WGS84, where="test").geometry(Point(lon_lat))
    )
    lot = box(grid.x, grid.y, grid.x + 60, grid.y + 60)
    collection = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}"}},
        "features": [{"type": "Feature", "properties": {}, "geometry": mapping(lot)}],
    }
    path = tmp_path / "lots.geojson"
    path.write_text(json.dumps(collection))
    remarks = read_site(parcels=path).provenance.remarks
    assert any("is the CRS right?" in remark for remark in remarks) == told
