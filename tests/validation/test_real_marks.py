"""Marks of four real places: every raw value against the kind that is read from it; nothing is left unspoken.

Sources of the data: a Dutch locate response (Cadastre, IMKL 2.0 example delivery); the inventory of sewer, storm and
water lines of the Vermont Agency of Natural Resources; sanitary and storm sewers of the City of San José.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from parcelfence.inputs.kinds import recognise
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from parcelfence.settings import Settings
from parcelfence.site.marks import MarkRecord, Marks, utilities
from tests.realdata import real_data

if TYPE_CHECKING:
    from parcelfence.inputs.table import Table

pytestmark = pytest.mark.real

EXPECTED: dict[str, dict[tuple[str, ...], tuple[str, int]]] = {
    # the columns beside the kind that is read from them, and how often
    "nl_limburg_village/utility_locates.geojson": {
        ("kind", "Elektriciteitskabel"): ("electric", 224),
        ("theme", "laagspanning"): ("electric", 139),
        ("theme", "middenspanning"): ("electric", 21),
        ("kind", "OlieGasChemicalienPijpleiding"): ("gas", 289),
        ("theme", "gasLageDruk"): ("gas", 3),
        ("kind", "Rioolleiding"): ("sewer", 303),
        ("kind", "Waterleiding"): ("water", 204),
        ("theme", "water"): ("water", 3),
    },
    "vt_guilford/utility_lines.geojson": {
        ("system", "Stormwater"): ("storm", 211),
        ("system", "Wastewater"): ("sewer", 105),
        ("system", "Water"): ("water", 177),
    },
    "vt_guilford/utility_points.geojson": {("system", "Wastewater"): ("sewer", 158)},
    "vt_rutland_town/utility_lines.geojson": {
        ("system", "Stormwater"): ("storm", 445),
        ("system", "Wastewater"): ("sewer", 26),
        ("system", "Water"): ("water", 48),
    },
    "vt_rutland_town/utility_points.geojson": {("system", "Wastewater"): ("sewer", 22)},
    "ca_san_jose/sanitary_main.shp": {("file name", "sanitary_main.shp"): ("sewer", 453)},
    "ca_san_jose/storm_main.shp": {("file name", "storm_main.shp"): ("storm", 403)},
    "ca_san_jose/storm_lateral.shp": {("file name", "storm_lateral.shp"): ("storm", 579)},
}
WORKING_CRS = {"nl": "EPSG:28992", "vt": "EPSG:32145", "ca": "EPSG:26910"}


def table(name: str) -> Table:
    return read_table(Source(role="marks", path=real_data(name)))


def marks_of(*names: str) -> Marks:
    records = []
    for name in names:
        read = table(name)
        way = Transformer.from_crs(read.crs, WORKING_CRS[name[:2]], always_xy=True)
        shapes = shapely.transform(
            np.array([record.geometry for record in read.records], dtype=object),
            lambda xy, way=way: np.column_stack(way.transform(xy[:, 0], xy[:, 1])),
        )
        records += [
            MarkRecord(geometry=shape, attributes=record.attributes, source=read.source, position=record.position)
            for record, shape in zip(read.records, shapes, strict=True)
        ]
    return utilities(records, settings=Settings())


@pytest.mark.parametrize("name", EXPECTED)
def test_every_raw_value_is_read_as_the_kind_that_it_is(name: str) -> None:
    read = table(name)
    kinds = [recognise(record.attributes, file_name=read.source.path.name) for record in read.records]
    found = Counter(((kind.basis.removeprefix("column "), kind.raw), kind.name) for kind in kinds)
    assert {raw: (kind, count) for (raw, kind), count in found.items()} == EXPECTED[name]


def test_the_type_codes_of_vermont_agree_with_the_words() -> None:
    for name in ("vt_guilford/utility_lines.geojson", "vt_rutland_town/utility_lines.geojson"):
        for record in table(name).records:
            by_word = recognise(record.attributes).name
            assert recognise({**record.attributes, "system": None}).name == by_word


def test_the_dutch_response_has_its_duplicates_dropped_and_its_disused_lines_kept() -> None:
    marks = marks_of("nl_limburg_village/utility_locates.geojson")
    assert "marks: 68 duplicates of another mark dropped" in marks.remarks
    assert any(remark.startswith("marks: 73 said to be disused") for remark in marks.remarks)
    assert len(marks.utilities) == 1186 - 68


def test_half_of_the_manholes_stand_twice() -> None:
    marks = marks_of("vt_guilford/utility_points.geojson")
    assert len(marks.utilities) == 80
    assert {utility.geometry.geom_type for utility in marks.utilities} == {"Polygon"}


def test_sewers_of_san_jose_by_file_name_material_and_diameter() -> None:
    marks = marks_of(*(f"ca_san_jose/{name}.shp" for name in ("sanitary_main", "storm_main", "storm_lateral")))
    assert Counter(utility.kind for utility in marks.utilities) == {"sewer": 453, "storm": 403 - 8 + 579}
    assert any("name of the file only" in remark for remark in marks.remarks)
    clay = [utility for utility in marks.utilities if not utility.metallic]
    assert len(clay) > 400
    assert max(utility.tolerance_m for utility in marks.utilities) > Settings().tolerance_zone_m + 0.6
