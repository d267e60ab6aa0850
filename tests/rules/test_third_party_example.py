"""The worked example of DEVELOPERS.md: installed as a package of its own, it finds what it says."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from shapely import Point, box

from parcelfence.rules.registry import ENTRY_POINT_GROUP, find_conflicts, third_party_rules
from tests.rules import sites

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
HEADING = "## A rule of your own"


def _blocks() -> tuple[str, str]:
    """Code and entry point of the example, as they stand on the page."""
    text = PAGE.read_text(encoding="utf-8")
    if HEADING not in text:
        pytest.fail(f"{PAGE.name} has no section {HEADING!r}: its example belongs there")
    section = text.split(HEADING, 1)[1].split("\n## ", 1)[0]
    return _indented(section)


def _indented(section: str) -> tuple[str, str]:
    lines, blocks, block = section.splitlines(), [], []
    for line in [*lines, "end"]:
        if line.startswith("    ") or (not line.strip() and block):
            block.append(line)
        elif block:
            blocks.append(textwrap.dedent("\n".join(block)).strip() + "\n")
            block = []
    code, point = blocks
    return code, point


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Lay the example out as pip does, in a folder on the path."""
    code, point = _blocks()
    (tmp_path / "well_rules.py").write_text(code, encoding="utf-8")
    info = tmp_path / "well_rules-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: well-rules\nVersion: 1.0\n", encoding="utf-8")
    entry = point.splitlines()[1].replace('"', "")
    (info / "entry_points.txt").write_text(f"[{ENTRY_POINT_GROUP}]\n{entry}\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    third_party_rules.cache_clear()
    yield
    third_party_rules.cache_clear()


@pytest.mark.usefixtures("installed")
def test_the_example_finds_a_near_well_and_leaves_a_far_one() -> None:
    near = sites.feature(Point(30, 6.0).buffer(0.5, quad_segs=64), id="old well", kind="well")
    far = sites.feature(Point(30, 20).buffer(0.5), id="new well", kind="well")
    garden = sites.feature(box(10, 5, 12, 7), id="garden", kind="garden")
    loop = sites.loop_of(sites.loop_run(box(3, 3, 57, 37)))
    rows = find_conflicts(sites.draft(sites.site(keep_outs=(near, far, garden)), loop))
    (row,) = [row for row in rows if row.rule == "well-wire"]
    assert row.feature == "old well"
    assert row.measured == pytest.approx(loop.runs[0].line.distance(near.geometry))
    assert (row.severity, row.limit, row.basis) == ("caution", 3.0, "county well ordinance")
    assert "2.50 m of well old well between stations" in row.message
    assert not [row for row in rows if row.rule == "third-party-rule"]
