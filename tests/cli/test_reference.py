"""The commands that list layers, outputs and the keys of a project file."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from parcelfence.cli.reference import formats, keys, layers
from parcelfence.errors import SettingsError
from parcelfence.inputs.project_file import read_project
from parcelfence.layers import INPUT_ROLES, LAYERS, SCREENING
from parcelfence.outputs.writer import BUILT_IN
from parcelfence.setting_info import describe_settings
from parcelfence.takeoff.pricing import CREW, PRICES

if TYPE_CHECKING:
    from pathlib import Path


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
        (schema.name, column.name) for schema in (*LAYERS, SCREENING) for column in schema.columns
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
    rows = json.loads(CliRunner().invoke(formats, ["--format", "json"]).stdout)
    assert [row["format"] for row in rows][: len(BUILT_IN)] == list(BUILT_IN)


def test_every_key_of_the_list_is_understood_and_every_other_is_refused(tmp_path: Path) -> None:
    rows = json.loads(CliRunner().invoke(keys, ["--format", "json"]).stdout)
    assert all(row["meaning"] for row in rows)
    lots = tmp_path / "lots.geojson"
    lots.write_text("{}", encoding="utf-8")
    names: dict[str, list[str]] = {}
    for row in rows:
        names.setdefault(row["table"].partition(",")[0], []).append(row["key"])
    assert names["settings"] == [info.short for info in describe_settings()]
    assert set(names["layers"]) == set(INPUT_ROLES)
    assert {*names["prices"], *names["crew"]} == {*PRICES, *CREW}
    texts = {"path": '"lots.geojson"', "accuracy_m": "0.1", "unit": '"m"', "select": '["a=1"]'}
    values = {name: ", ".join(f"{key} = {texts.get(key, chr(34) * 2)}" for key in names[name]) for name in
              ("site.elevation", "layers.ROLE")}  # fmt: skip
    site = "\n".join(f"{key} = {texts.get(key, chr(34) * 2)}" for key in names["site"] if key != "elevation")
    project = tmp_path / "SITE.toml"
    project.write_text(
        f"[site]\n{site}\nelevation = {{{values['site.elevation']}}}\n"
        f"[layers]\nparcels = {{{values['layers.ROLE']}}}\n"
         "[prices]\n" + "".join(f"{key} = 1\n" for key in names["prices"])
        + "[crew]\n" + "".join(f"{key} = 1\n" for key in names["crew"]),
        encoding="utf-8",
    )  # fmt: skip
    assert read_project(project).sources[0].accuracy_m == pytest.approx(0.1)
    for table in ("site", "prices", "crew"):
        wrong = project.read_text(encoding="utf-8").replace(f"[{table}]\n", f"[{table}]\nnonsense = 'x'\n")
        project.with_name("WRONG.toml").write_text(wrong, encoding="utf-8")
        with pytest.raises(SettingsError, match="nonsense"):
            read_project(project.with_name("WRONG.toml"))
