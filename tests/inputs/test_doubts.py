"""What can be used, but was spoilt before it came: garbled text, rounded coordinates, heights, holes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely import Point, wkt
from shapely.geometry import mapping

from parcelfence.inputs.doubts import coordinate_step_m
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from tests.inputs.layers import STATE_PLANE, feature, geojson, lot, polygon, vector

if TYPE_CHECKING:
    from pathlib import Path

UTM = CRS.from_epsg(32618)
DEGREES = CRS.from_epsg(4326)


def told(path: Path, role: str = "parcels") -> str:
    return "\n".join(map(str, read_table(Source(role=role, path=path)).repairs))


@pytest.mark.parametrize("meant", ["Café", "Müller", "Rue de l\u2019Église", "Łódź ul. Żwirki", "10° Süd"])
def test_text_that_went_through_the_wrong_encoding_is_named(tmp_path: Path, meant: str) -> None:
    garbled = meant.encode().decode("cp1252", "replace")
    says = told(geojson(tmp_path / "parcels.geojson", [feature(lot(), owner=garbled)]))
    assert "the text of owner is garbled" in says
    if "\ufffd" not in garbled:
        assert f"for '{meant}'" in says


@pytest.mark.parametrize(
    "usual",
    [
        "ÚŽICE",
        "Straße „Am Fluß“",
        "LÍŠEŇ",
        "Ærøskøbing",
        "SÃO PAULO",
        "Þórshöfn",
        "Ñuñoa",
        "Île d'Oléron",
        "Ça va…",
        "5½ °",
    ],
)
def test_usual_text_is_not_called_garbled(tmp_path: Path, usual: str) -> None:
    assert "garbled" not in told(geojson(tmp_path / "parcels.geojson", [feature(lot(), street=usual)]))


def points(xy: np.ndarray) -> np.ndarray:
    return np.array(shapely.points(xy), dtype=object)


@pytest.mark.parametrize(
    ("crs", "decimals", "step_m"),
    [
        (UTM, 0, 1.0),
        (UTM, -1, 1.0),
        (UTM, 1, 0.0),
        (UTM, 3, 0.0),
        (CRS.from_user_input(STATE_PLANE), 0, 0.3048006),
        (DEGREES, 5, 1.1132),
        (DEGREES, 4, 11.132),
        (DEGREES, 7, 0.0),
    ],
)
def test_the_step_of_rounded_coordinates_is_found(crs: CRS, decimals: int, step_m: float) -> None:
    generator = np.random.default_rng(5)
    span = (-76.2, 0.01) if crs.is_geographic else (480_000.0, 300.0)
    xy = span[0] + span[1] * generator.random((60, 2))
    assert coordinate_step_m(points(np.round(xy, decimals)), crs) == pytest.approx(step_m, rel=1e-6)
    assert coordinate_step_m(points(xy), crs) == 0.0


def test_a_few_round_vertices_tell_nothing() -> None:
    assert coordinate_step_m(np.array([shapely.box(0, 0, 60, 40)], dtype=object), UTM) == 0.0


def test_rounding_is_told_and_enters_the_uncertainty(tmp_path: Path) -> None:
    generator = np.random.default_rng(7)
    corners = 480_000 + np.round(300 * generator.random((8, 2)))
    shapes = [Point(x, y + 4_260_000).buffer(20, quad_segs=2) for x, y in corners]
    rounded = [shapely.transform(shape, np.round).wkt for shape in shapes]
    path = vector(tmp_path / "lots.gpkg", rounded, driver="GPKG", crs="EPSG:32618")
    table = read_table(Source(role="parcels", path=path))
    assert table.rounded_to_m == 1.0
    assert "its coordinates are all rounded to 1 m: each may lie 0.71 m off" in "\n".join(map(str, table.repairs))


def test_a_vertical_system_that_is_left_aside_is_named(tmp_path: Path) -> None:
    square = "POLYGON Z ((480000 4740000 9, 480060 4740000 9, 480060 4740040 9, 480000 4740000 9))"
    path = tmp_path / "lots.gpkg"
    import fiona

    schema = {"geometry": "3D Polygon", "properties": {}}
    with fiona.open(path, "w", driver="GPKG", schema=schema, crs_wkt=CRS("EPSG:26918+5703").to_wkt()) as target:
        target.write({"type": "Feature", "geometry": mapping(wkt.loads(square)), "properties": {}})
    says = told(path)
    assert "its heights are in NAVD88 height; the heights and their system are left aside" in says
    assert "heights (Z) dropped" in says


def test_parts_that_are_written_as_holes_are_named_as_such(tmp_path: Path) -> None:
    ring = [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]
    beside = [[2, 0], [3, 0], [3, 1], [2, 1], [2, 0]]
    path = geojson(tmp_path / "parcels.geojson", [feature(polygon(ring, beside))])
    (record,) = read_table(Source(role="parcels", path=path)).records
    assert shapely.get_num_geometries(record.geometry) == 2
    assert "1 ring that was written as a hole lies outside the outline: taken as a part of the ground" in told(path)
    assert "changed by" not in told(path)
