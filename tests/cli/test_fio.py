"""The sub-commands of fio, fed with features as ``fio cat`` writes them."""

from __future__ import annotations

import json
import tomllib
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from parcelfence.cli.fio import boundary_flags, boundary_loop, boundary_zones

LOT = {
    "type": "Feature",
    "id": "14-07",
    "properties": {"lot": "<b>&\u05d0</b>"},
    "geometry": {
        "type": "Polygon",
        "coordinates": [
            [[-76.2506, 42.9998], [-76.25, 42.9998], [-76.25, 43.0002], [-76.2506, 43.0002], [-76.2506, 42.9998]]
        ],
    },
}
NOTHING = {"type": "Feature", "id": "14-08", "properties": {}, "geometry": None}


def _piped(command: click.Command, *arguments: str) -> list[dict]:
    lines = "\n".join(json.dumps(feature) for feature in (LOT, NOTHING))
    result = CliRunner().invoke(command, arguments, input=lines)
    assert result.exit_code == 0, result.output
    return [json.loads(line.lstrip("\x1e")) for line in result.stdout.split("\n") if line]


def test_one_loop_for_every_parcel_that_comes_in() -> None:
    planned, refused = _piped(boundary_loop, "--reach", "8 ft")
    assert planned["id"] == "14-07"
    assert planned["properties"]["lot"] == "<b>&\u05d0</b>"
    assert planned["properties"]["status"] == "planned"
    assert planned["geometry"]["type"] == "MultiLineString"
    assert refused["id"] == "14-08"
    assert refused["geometry"] is None
    assert refused["properties"]["remark"]


def test_zones_and_flags_of_it() -> None:
    assert [feature["properties"]["kind"] for feature in _piped(boundary_zones)] == ["roam", "signal", "core"]
    flags = _piped(boundary_flags, "--rs")
    assert [feature["properties"]["flag"] for feature in flags] == list(range(1, len(flags) + 1))


def test_a_wrong_setting_is_one_message() -> None:
    result = CliRunner().invoke(boundary_loop, ["--reach", "eight"], input=json.dumps(LOT))
    assert result.exit_code == 1
    assert "Error:" in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("piped", "status"), [("", 0), ('{"type":"FeatureCollection","features":[]}', 0), ("nonsense", 1)]
)
def test_a_stream_without_features_gives_none(piped: str, status: int) -> None:
    result = CliRunner().invoke(boundary_loop, [], input=piped)
    assert result.exit_code == status, result.output
    assert not result.stdout
    assert result.exception is None or isinstance(result.exception, SystemExit)


@pytest.mark.parametrize("name", ["boundary-loop", "boundary-zones", "boundary-flags"])
def test_fio_finds_them(name: str) -> None:
    declared = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    module, _, attribute = declared["project"]["entry-points"]["fiona.fio_plugins"][name].partition(":")
    command = getattr(import_module(module), attribute)
    assert isinstance(command, click.Command)
    assert command.name == name
