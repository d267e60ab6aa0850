"""The command that lists layers and outputs."""

from __future__ import annotations

import json

from click.testing import CliRunner

from parcelfence.cli.layers import layers
from parcelfence.layers import LAYERS
from parcelfence.outputs.writer import BUILT_IN


def test_every_column_is_listed() -> None:
    result = CliRunner().invoke(layers)
    assert result.exit_code == 0
    for schema in LAYERS:
        assert schema.name in result.output
        for column in schema.columns:
            assert column.meaning in result.output


def test_json_is_complete() -> None:
    rows = json.loads(CliRunner().invoke(layers, ["--format", "json"]).output)
    assert [(row["layer"], row["column"]) for row in rows] == [
        (schema.name, column.name) for schema in LAYERS for column in schema.columns
    ]


def test_markdown_rows_are_whole() -> None:
    lines = CliRunner().invoke(layers, ["--format", "markdown", "zones"]).output.splitlines()
    assert lines[0] == "| layer | geometry | column | type | unit | meaning |"
    assert len(lines) == 4
    assert len({line.count("|") for line in lines}) == 1


def test_an_unknown_layer_is_refused_with_near_matches() -> None:
    result = CliRunner().invoke(layers, ["wires"])
    assert result.exit_code == 2
    assert "did you mean 'wire'" in result.output


def test_outputs_are_listed() -> None:
    rows = json.loads(CliRunner().invoke(layers, ["--formats", "--format", "json"]).stdout)
    assert [row["format"] for row in rows][: len(BUILT_IN)] == list(BUILT_IN)
