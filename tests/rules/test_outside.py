"""Ground that stays outside the loop: how much, and what truly parts it from the rest."""

from __future__ import annotations

from typing import Any

import pytest
import shapely
from shapely import LineString, box

from parcelfence import Settings
from parcelfence.planning import measure
from parcelfence.rules.registry import find_conflicts
from tests.layout.sites import make_site

LOT = box(0, 0, 60, 40)
HOUSE = box(5, 16, 15, 25)
NECK = shapely.union_all([box(0, 0, 40, 40), box(40, 17, 60, 22), box(60, 0, 100, 40)])


def outside(parcel: Any = LOT, **layers: Any) -> list[Any]:
    site = make_site(parcel, buildings=[HOUSE], **layers)
    conflicts = find_conflicts(measure(site, Settings()).draft)
    assert not [one for one in conflicts if one.rule == "narrow-passage" and one.layer == "parcel"]
    return [conflict for conflict in conflicts if conflict.rule == "ground-outside"]


@pytest.mark.parametrize(
    ("layers", "words"),
    [
        ({"easements": [box(28, -5, 33, 45)]}, "easements-1 lies between"),
        ({"easements": [box(33, -5, 65, 45)]}, "it is taken up by thing easements-1"),
        ({"easements": [box(28, -5, 30, 45), box(30, -5, 33, 45)]}, "thing easements-1, thing easements-2 lie between"),
        ({"easements": [box(20, -5, 24, 19), box(20, 26, 24, 45)]}, None),
    ],
    ids=["between", "covered", "two", "a gap is left"],
)
def test_the_easement_is_named_that_takes_ground_away(layers: dict[str, Any], words: str | None) -> None:
    found = outside(**layers)
    if words is not None:
        (conflict,) = found
        assert words in conflict.message
        assert "two bends" not in conflict.message


def test_a_neck_of_the_property_is_measured() -> None:
    (conflict,) = outside(NECK)
    assert "the property is only 5.0" in conflict.message
    assert "6.60 m" in conflict.message
    assert conflict.measured == pytest.approx(35.4**2, rel=0.01)


def test_the_whole_lot_leaves_nothing_out() -> None:
    assert outside() == []


def test_ground_beyond_a_road_is_spoken_of_once() -> None:
    site = make_site(box(0, 0, 110, 40), buildings=[HOUSE], roads=[box(60, -5, 70, 45)])
    rules = [conflict.rule for conflict in find_conflicts(measure(site, Settings()).draft)]
    assert rules.count("lot-parts") == 1
    assert "ground-outside" not in rules


def test_a_line_that_cannot_be_crossed_is_named() -> None:
    lines = [LineString([(30 + 0.9 * n, -5), (30 + 0.9 * n, 45)]) for n in range(3)]
    for conflict in outside(utilities=lines):
        assert "U" in conflict.message
        assert "property is only" not in conflict.message
