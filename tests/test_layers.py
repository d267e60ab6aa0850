from __future__ import annotations

from parcelfence.layers import LAYERS, layer_schema


def test_names_are_unique_and_every_column_has_a_meaning() -> None:
    assert len({schema.name for schema in LAYERS}) == len(LAYERS)
    for schema in LAYERS:
        assert len(set(schema.column_names)) == len(schema.columns)
        assert all(column.meaning for column in schema.columns)


def test_lengths_and_areas_carry_their_unit_in_name_and_column() -> None:
    for schema in LAYERS:
        for column in schema.columns:
            if column.name.endswith("_m"):
                assert column.unit == "m", column
            if column.name.endswith("_m2"):
                assert column.unit == "m2", column


def test_a_layer_is_found_by_name() -> None:
    assert layer_schema("wire").geometry == "LineString"
