from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from importlib.metadata import EntryPoint

import click
import pytest
from click.testing import CliRunner

from parcelfence import __version__
from parcelfence.cli import main as group
from parcelfence.cli.main import COMMANDS, UNUSABLE, parcelfence
from parcelfence.cli.run import in_options
from parcelfence.errors import ParcelFenceError
from parcelfence.site.reading import read_site
from tests.sample import SAMPLE

PACKAGE = SAMPLE.parent / "parcelfence"
LIBRARY = [
    path.read_text(encoding="utf-8")
    for stage in ("inputs", "site", "layout", "service", "outputs")
    for path in sorted((PACKAGE / stage).glob("*.py"))
]
HEAVY = ("geopandas", "shapely", "pyproj", "fiona", "folium", "numba", "scipy", "pydantic", "numpy")


def test_the_version_is_told_without_loading_anything_heavy() -> None:
    program = (
        "import sys; from parcelfence.cli.main import parcelfence\n"
        "try: parcelfence(['--version'])\n"
        "except SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == [f"parcelfence, version {__version__}", "[]"]


def test_every_command_is_listed_with_its_help() -> None:
    shown = CliRunner().invoke(parcelfence, ["--help"]).output
    for name, (_, text) in COMMANDS.items():
        assert name in shown
        assert text in shown
    assert "call the utility locating service" in shown


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name: str) -> None:
    done = CliRunner().invoke(parcelfence, [name, "--help"])
    assert done.exit_code == 0, done.output
    assert "Usage" in done.output


def test_a_mistyped_command_gets_a_hint() -> None:
    done = CliRunner().invoke(parcelfence, ["plam"])
    assert done.exit_code == UNUSABLE
    assert "did you mean 'plan'" in done.output


def test_messages_of_the_library_name_options_on_the_command_line() -> None:
    lots = SAMPLE / "parcels.geojson"
    words = [sys.executable, "-m", "parcelfence", "plan", "--parcels", lots, "--dry-run"]
    said = subprocess.run(words, capture_output=True, text=True, check=False).stderr
    assert "Choose with --select FIELD=VALUE" in said
    faults = json.loads(subprocess.run([*words, "--json"], capture_output=True, text=True, check=False).stdout)
    assert "--select" in faults["faults"][0]["remedy"]
    with pytest.raises(ParcelFenceError, match="Choose with `select` FIELD=VALUE") as caught:
        read_site(parcels=lots)
    assert "--" not in str(caught.value)


def docstrings(tree: ast.AST) -> set[str]:
    """Give every string that stands as a statement of its own."""
    found = (node.value for node in ast.walk(tree) if isinstance(node, ast.Expr))
    return {node.value for node in found if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def test_every_argument_that_a_message_names_is_an_option() -> None:
    named = set()
    for tree in map(ast.parse, LIBRARY):
        texts = {
            node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
        }
        named |= {name for text in texts - docstrings(tree) for name in re.findall(r"`([a-z_]+)`", text)}
    assert {"select", "crs", "overwrite"} <= named
    for name in named:
        assert in_options(f"`{name}`").startswith("--"), name


def test_an_error_of_input_is_one_message_and_status_2() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "parcelfence", "plan", "none.toml", "--out", "nowhere/out"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == UNUSABLE
    assert done.stderr.startswith("parcelfence: none.toml: it cannot be read")
    assert "Traceback" not in done.stderr


class _Entry(EntryPoint):
    def load(self) -> object:
        if self.value == "broken":
            raise RuntimeError("no such thing")
        return click.Command("hello", callback=lambda: click.echo("hello from a plug-in"))


@pytest.fixture
def plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = {name: _Entry(name, value, "parcelfence.commands") for name, value in
               {"hello": "fine", "plan": "fine", "sad": "broken"}.items()}  # fmt: skip
    monkeypatch.setattr(group, "_plugins", lambda: entries)


@pytest.mark.usefixtures("plugins")
def test_a_third_party_brings_a_command() -> None:
    assert CliRunner().invoke(parcelfence, ["hello"]).output == "hello from a plug-in\n"


@pytest.mark.usefixtures("plugins")
def test_a_built_in_command_is_never_replaced() -> None:
    assert "Design the boundary wire" in CliRunner().invoke(parcelfence, ["plan", "--help"]).output


@pytest.mark.usefixtures("plugins")
def test_a_broken_command_is_named_and_leaves_the_others_alone() -> None:
    done = CliRunner().invoke(parcelfence, ["sad"])
    assert done.exit_code == 1
    assert "'sad'" in done.output
    assert "no such thing" in done.output
    assert CliRunner().invoke(parcelfence, ["--help"]).exit_code == 0
