"""Findings that once were false or missing, each on a small invented site from the command line."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import pytest
from shapely import LineString, box

from tests.small_sites import GAS, conflicts_of, read_layer, run, write_site

if TYPE_CHECKING:
    from pathlib import Path

SQUARE = LineString([*box(4, 4, 56, 36).exterior.coords])
SETTINGS = {"reach": 1.5}


def _checked(folder: Path, site: Path, wire: LineString = SQUARE) -> list[dict[str, Any]]:
    """Check a drawn wire on a site and give its conflicts."""
    from tests.small_sites import write_layer

    drawn = write_layer(folder / "wire.geojson", (wire, {}))
    result = run("check", drawn, "--site", site, "--out", folder / "checked")
    assert result.exit_code in {0, 3}, result.output
    return conflicts_of(folder / "checked")


def _said(rows: list[dict[str, Any]], rule: str) -> list[str]:
    return [f"{row['message']} {row['remedy']}" for row in rows if row["rule"] == rule]


def test_a_main_stored_in_segments_is_crossed_square_near_its_joints(tmp_path: Path) -> None:
    """Once must_fix: the wire was said to run beside the segment that it does not cross."""
    joints = [-10, 3.2, 20, 36.9, 50]
    main = [
        (LineString([(30, low), (30, high)]), {"utility": "water", "quality_level": "B"})
        for low, high in itertools.pairwise(joints)
    ]
    rows = _checked(tmp_path, write_site(tmp_path, SETTINGS, marks=main))
    assert not _said(rows, "utility-parallel")
    assert len(_said(rows, "utility-tolerance")) == 2
    assert len(read_layer(tmp_path / "checked", "crossings")) == 2


@pytest.mark.parametrize("words", [{"utility": "overhead electric"}, {"type": "OH ELEC"}, {"kind": "aerial telecom"}])
def test_lines_in_the_air_are_not_dug_for(tmp_path: Path, words: dict[str, str]) -> None:
    rows = _checked(tmp_path, write_site(tmp_path, SETTINGS, marks=[(GAS, words)]))
    assert not any("expose" in text.lower() for row in rows for text in (row["message"], row["remedy"]))
    assert not _said(rows, "utility-tolerance")
    (told,) = _said(rows, "overhead-line")
    assert "hangs in the air" in told


@pytest.mark.parametrize(
    "words",
    [
        {"utility": "electric", "city": "Columbus OH"},
        {"utility": "gas", "description": "shot near overhead line"},
        {"utility": "electric", "desc": "OH riser, underground from pole"},
        {"utility": "telecom", "description": "aerial photo"},
    ],
)
def test_lines_in_the_ground_stay_buried_whatever_else_is_said(tmp_path: Path, words: dict[str, str]) -> None:
    rows = _checked(tmp_path, write_site(tmp_path, SETTINGS, marks=[(GAS, words)]))
    assert len(_said(rows, "utility-tolerance")) == 2
    assert not _said(rows, "overhead-line")


def test_a_sub_level_of_pas_128_has_its_own_accuracy_at_its_depth(tmp_path: Path) -> None:
    """Once 0.30 m for every B; at 2 m of depth B2 means 0.80 m."""
    beside = LineString([(10, 2.0), (50, 2.0)])
    mark = {"utility": "telecom", "quality_level": "QL-B2", "depth": "2 m"}
    site = write_site(tmp_path, SETTINGS | {"utility_separation": 1.5}, marks=[(beside, mark)])
    said = [text for text in _said(_checked(tmp_path, site), "coordinate-accuracy") if "separation" in text]
    assert "mark telecom-1 0.80 m" in said[0]
