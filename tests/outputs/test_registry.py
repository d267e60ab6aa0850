"""The writers: the contract of the output folder, and plug-ins that are good, broken or greedy."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pytest

from parcelfence.errors import MissingExtraError, OutputError, PluginError
from parcelfence.layers import LAYERS
from parcelfence.outputs import registry
from parcelfence.outputs.writer import BUILT_IN, CONTRACT, Writer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

CONTRACT_FILES = {
    *(
        "plan.gpkg",
        "plan.qgs",
        "map.html",
        "worksheet.html",
        "owner.html",
        "training.html",
        "stakeout.csv",
        "stakeout.txt",
        "flags.gpx",
        "plan.dxf",
    ),
    "summary.json",
    *(f"geojson/{schema.name}.geojson" for schema in LAYERS),
}

_PLAIN = tuple(name for name, writer in BUILT_IN.items() if not writer.package)


def _files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_default_set_is_the_contract(plan: Plan, tmp_path: Path) -> None:
    folder = registry.write(plan, tmp_path / "out")
    assert set(_files(folder)) == CONTRACT_FILES


def test_two_runs_give_the_same_bytes(plan: Plan, written: Path, tmp_path: Path) -> None:
    formats = list(_PLAIN)
    again = _files(registry.write(plan, tmp_path / "another name", formats=formats))
    first = _files(written)
    assert [name for name in first if first[name] != again.get(name)] == []
    assert set(first) == set(again)


def test_another_process_gives_the_same_bytes(written: Path, tmp_path: Path) -> None:
    """Another process has another seed for the order of sets."""
    code = (
        f"import sys; sys.path.insert(0, {os.path.dirname(__file__)!r})\n"  # noqa: PTH120
        "from plan_fixture import hand_made_plan\n"
        "from parcelfence.outputs.registry import write\n"
        "write(hand_made_plan(), sys.argv[1], formats=sys.argv[2].split(','))\n"
    )
    formats = ",".join(_PLAIN)
    arguments = [sys.executable, "-c", code, str(tmp_path / "out"), formats]
    subprocess.run(arguments, check=True, env=os.environ | {"PYTHONHASHSEED": "77"})
    first, again = _files(written), _files(tmp_path / "out")
    assert [name for name in first if first[name] != again.get(name)] == []


def test_an_older_plan_is_replaced_by_fewer_files(plan: Plan, tmp_path: Path) -> None:
    registry.write(plan, tmp_path / "out", formats=["gpx", "stakeout"])
    registry.write(plan, tmp_path / "out", formats=["gpx"], overwrite=True)
    assert set(_files(tmp_path / "out")) == {"flags.gpx", "summary.json"}


def test_unknown_formats_are_refused_before_anything_is_written(plan: Plan, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"2 faults(.|\n)*Did you mean 'geojson'"):
        registry.write(plan, tmp_path / "out", formats=["geojsn", "shapefile", "gpx"])
    assert not list(tmp_path.iterdir())


def test_a_missing_package_names_its_extra(plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(MissingExtraError, match=r"pip install 'parcelfence\[pdf\]'"):
        registry.write(plan, tmp_path / "out", formats=["gpx", "pdf"])
    assert not list(tmp_path.iterdir())


def test_one_writer_imports_only_its_own_library() -> None:
    code = (
        "import sys, parcelfence.outputs.registry, parcelfence.outputs.writer\n"
        "heavy = {'geopandas', 'fiona', 'ezdxf', 'gpxpy', 'folium', 'weasyprint', 'pyarrow', 'shapely'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@dataclass
class _Distribution:
    name: str = "somebody-elses-package"


@dataclass
class _Entry:
    """What importlib.metadata gives for one line of a distribution's metadata."""

    name: str
    thing: Any
    dist: _Distribution | None = None

    def load(self) -> Any:
        if isinstance(self.thing, Exception):
            raise self.thing
        return self.thing


def _write_count(delivery: Delivery, folder: Path) -> None:
    (folder / "count.txt").write_text(str(len(delivery.layers["flags"])))


def _fail(delivery: Delivery, folder: Path) -> None:
    (folder / "half.txt").write_text("half")
    raise ZeroDivisionError(delivery.plan.site.name)


def _writer(name: str, **changes: Any) -> Writer:
    given = {"files": "count.txt", "meaning": "number of flags", "write": _write_count} | changes
    return Writer(name=name, **given)


@pytest.fixture
def plugged(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    entries = [
        _Entry("count", _writer("count")),
        _Entry("count", _writer("count"), _Distribution("another")),
        _Entry("gpx", _writer("gpx"), _Distribution()),
        _Entry("broken", ImportError("no module named nothing"), _Distribution()),
        _Entry("function", _write_count, _Distribution()),
        _Entry("early", _writer("early", contract=CONTRACT + 1), _Distribution()),
        _Entry("failing", _writer("failing", write=_fail), _Distribution()),
    ]
    monkeypatch.setattr(registry.metadata, "entry_points", lambda group: entries if group == registry.GROUP else [])
    registry.plugins.cache_clear()
    yield
    registry.plugins.cache_clear()


@pytest.mark.usefixtures("plugged")
def test_a_plugin_writes_and_is_listed(plan: Plan, tmp_path: Path) -> None:
    folder = registry.write(plan, tmp_path / "out", formats=["count"])
    assert (folder / "count.txt").read_text() == str(len(plan.take_off.flags))
    files = json.loads((folder / "summary.json").read_text())["files"]
    assert files["count.txt"] == {"writer": "count"}


@pytest.mark.usefixtures("plugged")
def test_a_builtin_is_not_replaced_and_the_clash_is_reported(plan: Plan, tmp_path: Path) -> None:
    assert "gpx" not in registry.plugins().writers
    assert "built-in one stays" in str(registry.plugins().faults["gpx"])
    registry.write(plan, tmp_path / "out", formats=["gpx", "count"])
    assert (tmp_path / "out" / "flags.gpx").exists()


@pytest.mark.usefixtures("plugged")
def test_of_two_plugins_with_one_name_the_first_stays() -> None:
    assert "another plug-in has the same name" in str(registry.plugins().faults["count"])
    assert "count" in registry.plugins().writers


@pytest.mark.usefixtures("plugged")
@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("broken", "writer broken of somebody-elses-package: it cannot be loaded: ImportError"),
        ("function", "it is a function"),
        ("early", "it was made for contract 2"),
        ("failing", "it failed: ZeroDivisionError"),
    ],
)
def test_an_unusable_plugin_is_named_and_leaves_nothing(plan: Plan, tmp_path: Path, name: str, reason: str) -> None:
    with pytest.raises(PluginError, match=reason):
        registry.write(plan, tmp_path / "out", formats=["gpx", name])
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("plugged")
def test_broken_plugins_do_not_touch_others(plan: Plan, tmp_path: Path) -> None:
    registry.write(plan, tmp_path / "out", formats=["count", "stakeout"])
    assert set(_files(tmp_path / "out")) == {"count.txt", "stakeout.csv", "stakeout.txt", "summary.json"}


def test_a_bare_plan_is_written_too(plan: Plan, tmp_path: Path) -> None:
    """A wire that somebody drew may have no transmitter, flags, crossings, marks or conflicts."""
    site = replace(
        plan.site, **dict.fromkeys(("utilities", "buildings", "doors", "metal", "hardscape", "keep_outs"), ())
    )
    take_off = replace(plan.take_off, flags=(), stations=(), sequence=replace(plan.take_off.sequence, splices=()))
    loop = replace(plan.loop, runs=plan.loop.runs[:1], transmitter=None)
    bare = replace(
        plan, site=replace(site, transmitter=None, name=""), loop=loop, take_off=take_off, crossings=(), conflicts=()
    )
    folder = registry.write(replace(bare, profiles=plan.profiles[:1]), tmp_path / "out", formats=list(_PLAIN))
    assert not (folder / "stakeout.csv").read_text()
    assert "No locate marks were given" in (folder / "worksheet.html").read_text(encoding="utf-8")


def test_chosen_layers_reach_every_file_with_layers(plan: Plan, tmp_path: Path) -> None:
    folder = registry.write(plan, tmp_path / "out", layers=["wire", "flags"], formats=list(_PLAIN))
    assert {path.name for path in (folder / "geojson").iterdir()} == {"wire.geojson", "flags.geojson"}
    assert json.loads((folder / "summary.json").read_text())["layers"] == {"wire": 3, "flags": len(plan.take_off.flags)}
