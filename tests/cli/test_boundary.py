"""The boundary of the command line: inputs are never written over, and no file gives orders to a terminal."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.cli import boundary
from parcelfence.cli.boundary import InputPath, OutputPath, refuse_over_inputs
from parcelfence.cli.main import COMMANDS, parcelfence
from parcelfence.errors import Fault, OutputError
from tests.sample import SAMPLE

if TYPE_CHECKING:
    from pathlib import Path

PROGRAM = [sys.executable, "-m", "parcelfence"]


def _run(*words: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, **environment}
    return subprocess.run([*PROGRAM, *words], cwd=folder, capture_output=True, check=False, env=environment)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_path_of_a_command_says_whether_it_is_read_or_written(name: str) -> None:
    command = parcelfence.get_command(click.Context(parcelfence), name)
    assert command is not None
    paths = [parameter for parameter in command.params if isinstance(parameter.type, click.Path | click.File)]
    assert all(isinstance(parameter.type, InputPath | OutputPath) for parameter in paths)
    if any(isinstance(parameter.type, OutputPath) for parameter in paths):
        assert isinstance(command, boundary.Command)


@pytest.fixture
def files(tmp_path: Path) -> Path:
    (tmp_path / "data").mkdir()
    for name in ("lots.geojson", "lots.shp", "lots.dbf", "lots.gpkg"):
        (tmp_path / "data" / name).write_text(name, encoding="utf-8")
    (tmp_path / "SITE.toml").write_text('[layers]\nparcels = "data/lots.geojson"\n', encoding="utf-8")
    (tmp_path / "linked").symlink_to(tmp_path / "data")
    (tmp_path / "again.geojson").symlink_to(tmp_path / "data" / "lots.geojson")
    (tmp_path / "hard.geojson").hardlink_to(tmp_path / "data" / "lots.geojson")
    return tmp_path


@pytest.mark.parametrize(
    ("read", "written"),
    [
        ("data/lots.geojson", "data/lots.geojson"),
        ("data/lots.geojson", "data/../data/lots.geojson"),
        ("data/lots.geojson", "linked/lots.geojson"),
        ("linked/lots.geojson", "data/lots.geojson"),
        ("data/lots.geojson", "again.geojson"),
        ("again.geojson", "data/lots.geojson"),
        ("data/lots.geojson", "hard.geojson"),
        ("data/lots.geojson", "data"),
        ("data/lots.geojson", "."),
        ("data", "data/new.csv"),
        ("data/lots.shp", "data/lots.dbf"),
        ("data/lots.gpkg:lots", "data/lots.gpkg"),
    ],
)
def test_what_is_read_is_never_written_over(read: str, written: str, files: Path) -> None:
    with pytest.raises(OutputError, match="written over an input"):
        refuse_over_inputs({"--out": files / written}, [files / read])


@pytest.mark.parametrize("written", ["out", "data/lots2.geojson", "data2/lots.geojson", "lots.geojson"])
def test_other_places_are_free(written: str, files: Path) -> None:
    refuse_over_inputs({"--out": files / written}, [files / "data" / "lots.geojson", files / "SITE.toml"])


@pytest.mark.parametrize(
    "words",
    [
        "screen data/lots.geojson --out data/lots.geojson --overwrite",
        "screen x.gpkg --buildings data/lots.geojson --out linked/lots.geojson --overwrite",
        "plan SITE.toml --out data --overwrite",
        "plan SITE.toml --out SITE.toml --overwrite",
        "check wire.geojson --site SITE.toml --plan data --differences SITE.toml --overwrite",
        "check data/lots.gpkg --site SITE.toml --plan x --differences data/lots.gpkg --overwrite",
        "check wire.geojson --site SITE.toml --plan data --out data --overwrite",
    ],
)
def test_commands_refuse_to_write_over_what_they_read(words: str, files: Path) -> None:
    before = {path: path.read_bytes() for path in files.rglob("*") if path.is_file()}
    done = _run(*words.split(), folder=files)
    assert done.returncode == 2
    assert b"written over an input" in done.stderr
    assert {path: path.read_bytes() for path in files.rglob("*") if path.is_file()} == before


HOSTILE = "\x1b]0;title\x07\x1b[2J\x9b31m\u202egnp.\r\x08\x7f"


@given(st.text(alphabet=st.characters(exclude_categories=())))
def test_a_clean_stream_lets_no_order_through(text: str) -> None:
    target = io.BytesIO()
    stream = boundary._CleanStream(target, encoding="utf-8", errors="replace")  # noqa: SLF001
    stream.write(text + HOSTILE + click.style("bold", bold=True) + "\n")
    stream.flush()
    shown = target.getvalue().decode()
    assert "\x1b[1mbold\x1b[0m\n" in shown
    plain = boundary._OUR_COLOURS.sub("", shown)  # noqa: SLF001
    assert not {letter for letter in plain if ord(letter) < 32 or 127 <= ord(letter) < 160} - {"\n", "\t"}
    assert not set(plain) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def test_hostile_names_reach_no_terminal(tmp_path: Path) -> None:
    name = f"lots{HOSTILE.replace('/', '')}.geojson"
    text = '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"id": "\\u001b[2J\\u0007"},'
    (tmp_path / name).write_text(text + '"geometry": null}]}', encoding="utf-8")
    site = tmp_path / "SITE.toml"
    site.write_text('[site]\nname = "\\u001b[2J\\u202e"\n[layers]\n"\\u001b]0;\\u0007" = "no"\n', encoding="utf-8")
    runs = [
        _run("inspect", name, folder=tmp_path),
        _run("plan", "--parcels", name, "--out", "a", folder=tmp_path),
        _run("plan", "SITE.toml", "--out", "\x1b[2J", folder=tmp_path),
        _run("plan", "SITE.toml", "--out", os.fsdecode(b"a\xff"), folder=tmp_path, PYTHONIOENCODING="ascii"),
        _run("\x1b[2J", folder=tmp_path),
    ]
    for done in runs:
        assert done.returncode == 2
        assert not set(done.stdout + done.stderr) & {*range(9), *range(11, 32), 127}
        assert b"Traceback" not in done.stderr


def test_messages_have_a_length() -> None:
    fault = Fault(where="w" * 10_000, feature="f" * 10_000, found="x" * 100_000, must="m" * 10_000, remedy="r" * 10_000)
    assert len(str(fault)) < 2_500
    assert "left out" in str(fault)
    assert len(str(OutputError([fault] * 30))) <= 4_100


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_stopped_run_says_so_on_one_line_and_leaves_nothing(number: signal.Signals, tmp_path: Path) -> None:
    code = "from parcelfence.cli.main import main; print('ready', flush=True); main()"
    words = [sys.executable, "-c", code, "plan", str(SAMPLE / "SITE.toml"), "--out", "plan"]
    running = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert running.stdout is not None
    assert running.stdout.readline() == b"ready\n"
    time.sleep(0.5)
    running.send_signal(number)
    _, error = running.communicate(timeout=60)
    assert running.returncode == 128 + number
    assert error.decode().count("\n") == 1
    assert number.name in error.decode()
    assert not list(tmp_path.iterdir())
