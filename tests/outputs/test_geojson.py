"""GeoJSON by RFC 7946: its rules one by one, and by two outside validators."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from pyproj import Geod

from parcelfence.layers import LAYERS
from parcelfence.outputs.delivery import delivery

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan

NAMES = [schema.name for schema in LAYERS]


def _collection(folder: Path, name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "geojson" / f"{name}.geojson").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("name", NAMES)
def test_every_layer_keeps_the_rules_of_rfc_7946(written: Path, name: str) -> None:
    collection = _collection(written, name)
    assert collection["type"] == "FeatureCollection"
    assert "crs" not in collection  # section 4
    shapes = [shapely.geometry.shape(feature["geometry"]) for feature in collection["features"] if feature["geometry"]]
    for shape in shapes:
        assert shape.is_valid
        for part in shapely.get_parts(shape):
            if isinstance(part, shapely.Polygon):  # section 3.1.6, the right-hand rule
                assert part.exterior.is_ccw
                assert not any(hole.is_ccw for hole in part.interiors)
    if shapes:  # section 5
        corners = shapely.get_coordinates(shapes)
        assert collection["bbox"] == [*corners.min(axis=0), *corners.max(axis=0)]
        assert np.array_equal(np.round(corners, 8), corners)
        assert np.abs(corners[:, 0]).max() <= 180
    else:
        assert "bbox" not in collection
    columns = next(schema.column_names for schema in LAYERS if schema.name == name)
    assert all(tuple(feature["properties"]) == columns for feature in collection["features"])


@pytest.mark.parametrize("name", NAMES)
def test_an_outside_validator_finds_nothing(written: Path, name: str) -> None:
    """geojson-validator, a general library; it also minds many decimals and vertices, and holes."""
    validator = pytest.importorskip("geojson_validator")
    collection = _collection(written, name)
    if collection["features"]:
        assert not validator.validate_structure(collection)
        found = validator.validate_geometries(collection)
        assert not found["invalid"]
        assert not set(found["problematic"]) - {"excessive_coordinate_precision", "excessive_vertices", "holes"}


@pytest.mark.parametrize("name", NAMES)
def test_a_second_validator_finds_nothing(written: Path, name: str) -> None:
    """geojson-pydantic, a general library, which models RFC 7946 strictly."""
    models = pytest.importorskip("geojson_pydantic")
    collection = models.FeatureCollection.model_validate(_collection(written, name))
    assert len(collection.features) == len(_collection(written, name)["features"])


def test_geodesic_length_of_the_drawn_loop_is_that_of_the_plan(written: Path, plan: Plan) -> None:
    """The Geod of pyproj (Karney 2013) on WGS 84 against the length in the working CRS; 8 decimals are a millimetre."""
    features = _collection(written, "wire")["features"]
    loop = next(feature for feature in features if feature["properties"]["part"] == "loop")
    drawn = Geod(ellps="WGS84").geometry_length(shapely.geometry.shape(loop["geometry"]))
    assert drawn == pytest.approx(plan.loop.runs[0].line.length, rel=1e-5)
    exact = delivery(plan).wgs84["wire"].geometry.iloc[1]
    assert Geod(ellps="WGS84").geometry_length(exact) == pytest.approx(plan.loop.runs[0].line.length, rel=1e-6)


def test_texts_of_strangers_come_through_unchanged(nasty_written: Path, nasty_plan: Plan) -> None:
    utilities = _collection(nasty_written, "utilities")["features"]
    assert utilities[0]["properties"]["source_id"] == nasty_plan.site.utilities[0].source_id
    hardscape = _collection(nasty_written, "hardscape")["features"]
    assert hardscape[0]["properties"]["kind"] == "=1+1"


def test_one_feature_a_line(written: Path, plan: Plan) -> None:
    lines = (written / "geojson" / "flags.geojson").read_text(encoding="utf-8").splitlines()
    assert len(lines) == len(plan.take_off.flags) + 1
