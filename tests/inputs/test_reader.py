"""Every format gives the same tidy table, in the CRS that the file states or the person gave."""

from __future__ import annotations

import hashlib
import json
import zipfile
from typing import TYPE_CHECKING

import fiona
import numpy as np
import pytest
from pyproj import CRS, Transformer

from parcelfence.errors import CrsError, InputError
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from tests.inputs.layers import STATE_PLANE, feature, geojson, lot, shapefile, vector

if TYPE_CHECKING:
    from pathlib import Path

SQUARES = [
    f"POLYGON (({x} 988000, {x} 988300, {x + 300} 988300, {x + 300} 988000, {x} 988000))" for x in (919000, 919400)
]
ZIPPED = (".shp", ".shx", ".dbf", ".prj")


def parcels(path: Path, **more: str) -> Source:
    return Source(role="parcels", path=path, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "driver"),
    [("lots.shp", "ESRI Shapefile"), ("lots.gpkg", "GPKG"), ("lots.fgb", "FlatGeobuf"), ("lots.geojson", "GeoJSON")],
)
def test_every_format_gives_the_same_table(tmp_path: Path, name: str, driver: str) -> None:
    crs = "EPSG:4326" if driver == "GeoJSON" else STATE_PLANE
    shapes = SQUARES if driver != "GeoJSON" else ["POLYGON ((5 50, 5.1 50, 5.1 50.1, 5 50.1, 5 50))"] * 2
    table = read_table(parcels(vector(tmp_path / name, shapes, driver=driver, crs=crs)))
    assert sorted(record.attributes["number"] for record in table.records) == [1, 2]
    assert [record.position for record in table.records] == [0, 1]
    assert table.crs.equals(CRS(crs), ignore_axis_order=True)
    assert table.features == 2
    assert {record.geometry.geom_type for record in table.records} == {"Polygon"}
    assert not table.repairs


def test_a_zipped_shapefile_is_read_wherever_it_stands_in_the_archive(tmp_path: Path) -> None:
    path = shapefile(tmp_path, SQUARES)
    for folder in ("", "town/2020/"):
        archive = tmp_path / "lots.zip"
        with zipfile.ZipFile(archive, "w") as target:
            for suffix in ZIPPED:
                target.write(path.with_suffix(suffix), f"{folder}lots{suffix}")
        table = read_table(parcels(archive))
        assert len(table.records) == 2
        assert table.crs == CRS(STATE_PLANE)


def test_a_layer_is_found_by_its_name_or_by_its_role(tmp_path: Path) -> None:
    path = tmp_path / "town.gpkg"
    for layer, shapes in (("parcels", SQUARES), ("buildings", SQUARES[:1])):
        vector(path, shapes, driver="GPKG", layer=layer)
    assert len(read_table(parcels(path)).records) == 2
    assert len(read_table(parcels(path, layer="buildings")).records) == 1
    named = Source.named(f"{path}:buildings", role="parcels")
    assert (named.path, named.layer, named.name) == (path, "buildings", "town.gpkg:buildings")


def test_a_path_with_a_colon_is_a_path(tmp_path: Path) -> None:
    path = geojson(tmp_path / "lots:2020.geojson", [feature(lot())])
    assert Source.named(path, role="parcels").path == path


def test_other_json_formats_go_through_gdal(tmp_path: Path) -> None:
    ring = [[919000.0, 988000.0], [919000.0, 988300.0], [919300.0, 988300.0], [919000.0, 988000.0]]
    document = {
        "geometryType": "esriGeometryPolygon",
        "spatialReference": {"wkid": 6535},
        "fields": [{"name": "lot", "type": "esriFieldTypeString"}],
        "features": [{"attributes": {"lot": "31-07"}, "geometry": {"rings": [ring]}}],
    }
    path = tmp_path / "lots.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    table = read_table(parcels(path))
    assert [record.attributes["lot"] for record in table.records] == ["31-07"]
    assert table.crs.to_epsg() == 6535


@pytest.mark.parametrize("separator", ["\n", "\x1e"])
def test_geojson_sequences(tmp_path: Path, separator: str) -> None:
    path = tmp_path / "lots.geojsonl"
    path.write_text(
        separator + separator.join(json.dumps(feature(lot(-76 + n / 100))) for n in range(3)), encoding="utf-8"
    )
    assert len(read_table(parcels(path)).records) == 3


def test_a_column_of_mixed_types_and_missing_values(tmp_path: Path) -> None:
    values = ["12", 7, None, "  ", {"a": 1}, 2.5]
    table = read_table(parcels(geojson(tmp_path / "lots.geojson", [feature(lot(), size=value) for value in values])))
    assert [record.attributes["size"] for record in table.records] == ["12", 7, None, None, '{"a": 1}', 2.5]


def test_the_bulk_path_gives_what_the_record_path_gives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = vector(tmp_path / "lots.gpkg", SQUARES, driver="GPKG", layer="lots")
    slow = read_table(parcels(path))
    monkeypatch.setattr("parcelfence.inputs.vector_file._BULK_FROM", 1)
    assert read_table(parcels(path)) == slow


def test_the_hash_is_that_of_all_parts_of_a_shapefile(tmp_path: Path) -> None:
    path = shapefile(tmp_path)
    parts = [path.with_suffix(suffix) for suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg")]
    together = b"".join(part.read_bytes() for part in parts if part.exists())
    assert read_table(parcels(path)).sha256 == hashlib.sha256(together).hexdigest()


def test_a_crs_fills_a_gap_and_never_overrules_the_file(tmp_path: Path) -> None:
    path = shapefile(tmp_path)
    assert read_table(parcels(path, crs=STATE_PLANE)).crs_origin == "file"
    assert read_table(parcels(path, crs_if_missing="EPSG:2229")).crs == CRS(STATE_PLANE)
    with pytest.raises(CrsError, match="Only one of them can be true"):
        read_table(parcels(path, crs="EPSG:26918"))
    path.with_suffix(".prj").unlink()
    for given in ({"crs": STATE_PLANE}, {"crs_if_missing": "6535"}):
        table = read_table(parcels(path, **given))
        assert (table.crs, table.crs_origin) == (CRS(STATE_PLANE), "given")


def test_an_ordered_override_is_taken_and_told(tmp_path: Path) -> None:
    path = shapefile(tmp_path, crs="EPSG:2263")
    table = read_table(parcels(path, crs=f"override:{STATE_PLANE}"))
    assert table.crs == CRS(STATE_PLANE)
    assert "as ordered by override:" in str(table.repairs[0])


def test_geojson_in_metres_is_read_where_the_crs_is_given(tmp_path: Path) -> None:
    path = geojson(tmp_path / "lots.geojson", [feature(lot(492300.0, 34000.0, size=50.0))])
    for given in ({"crs": "EPSG:32145"}, {"crs_if_missing": "EPSG:32145"}):
        table = read_table(parcels(path, **given))
        assert table.crs.to_epsg() == 32145
        assert "no crs member" in str(table.repairs[0])


def test_geojson_in_degrees_stays_in_degrees_beside_files_without_a_crs(tmp_path: Path) -> None:
    path = geojson(tmp_path / "lots.geojson", [feature(lot())])
    assert read_table(parcels(path, crs_if_missing="EPSG:6535")).crs.to_epsg() == 4326


def test_a_compound_crs_is_cut_to_its_horizontal_part(tmp_path: Path) -> None:
    path = vector(tmp_path / "lots.gpkg", SQUARES, driver="GPKG", crs="EPSG:6535+6360", layer="lots")
    assert read_table(parcels(path)).crs == CRS(STATE_PLANE)


def test_swapped_axes_are_put_right(tmp_path: Path) -> None:
    right = read_table(parcels(geojson(tmp_path / "right.geojson", [feature(lot(-121.9, 37.33))])))
    ring = [[y, x] for x, y in lot(-121.9, 37.33)["coordinates"][0]]
    swapped = geojson(tmp_path / "swapped.geojson", [feature({"type": "Polygon", "coordinates": [ring]})])
    assert read_table(parcels(swapped)).records[0].geometry.equals(right.records[0].geometry)


def test_us_survey_feet_are_kept_as_they_are(tmp_path: Path) -> None:
    """The State Plane foot is 1200/3937 m (NIST SP 811): 300 ft are 91.44018 m on the grid."""
    table = read_table(parcels(shapefile(tmp_path)))
    to_metres = Transformer.from_crs(table.crs, "EPSG:6534", always_xy=True)
    west, south, east, north = table.records[0].geometry.bounds
    x, y = to_metres.transform([west, east], [south, north])
    assert np.allclose([x[1] - x[0], y[1] - y[0]], 300 * 1200 / 3937, atol=1e-6)


def test_a_record_that_fiona_cannot_read_is_named_and_the_rest_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = vector(tmp_path / "lots.gpkg", SQUARES, driver="GPKG", layer="lots")
    whole = fiona.Collection.__iter__

    def second_fails(self: fiona.Collection) -> object:
        class Records:
            def __init__(self, records: object) -> None:
                self.records, self.number = iter(records), 0  # type: ignore[call-overload]

            def __next__(self) -> object:
                self.number += 1
                record = next(self.records)
                if self.number == 2:
                    raise fiona.errors.FionaValueError("bad bytes")
                return record

            def __iter__(self) -> object:
                return self

        return Records(whole(self))

    monkeypatch.setattr(fiona.Collection, "__iter__", second_fails)
    table = read_table(parcels(path))
    assert [record.position for record in table.records] == [0]
    assert "feature 2: it cannot be read (bad bytes)" in str(table.repairs[0])


def test_all_faults_of_a_file_are_gathered(tmp_path: Path) -> None:
    point = {"type": "Point", "coordinates": [-76.2, 42.7]}
    path = geojson(tmp_path / "lots.geojson", [feature(None), feature(point), feature({"type": "Circle"})])
    with pytest.raises(InputError) as caught:
        read_table(parcels(path))
    assert len(caught.value.faults) == 4
