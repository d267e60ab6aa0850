"""Advice: tried before it is given, with free ground as the test; and what is in the way by its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from shapely import LineString, box

import parcelfence
from parcelfence import Settings, what_would_do
from parcelfence.advice import explained
from parcelfence.errors import NoLoopError
from tests.layout.sites import make_site

if TYPE_CHECKING:
    from parcelfence.site.site import Site

ROAD = LineString([(-20, -4), (60, -4)])
STRIP = box(0, 0, 16, 60)
ALONG = LineString([(7.9, -10), (8.1, 70)])


def refused(site: Site, settings: Settings) -> str:
    with pytest.raises(NoLoopError) as caught:
        parcelfence.plan(site, settings)
    return str(explained(caught.value, site=site, settings=settings))


def test_where_the_wanted_reach_leaves_nothing_what_would_do_was_tried() -> None:
    small = make_site(box(0, 0, 12, 26), buildings=[box(1.5, 6, 10.5, 14)], roads=[ROAD])
    wanted = Settings(reach_m=3.0)
    with pytest.raises(NoLoopError):
        parcelfence.plan(small, wanted)
    remedies = what_would_do(small, wanted)
    assert remedies
    for remedy in remedies:
        again = parcelfence.plan(small, remedy.settings)
        assert remedy.free_m2 == pytest.approx(again.zones.roam.difference(small.buildings[0].geometry).area)
        assert remedy.free_m2 >= 4
        assert (remedy.settings.reach_m == wanted.reach_m) == (remedy.words == "the back yard only")
        assert remedy.words == "the back yard only" or f"{remedy.settings.reach_m:.2f} m" in remedy.words


def test_where_nothing_would_do_nothing_is_advised() -> None:
    assert not what_would_do(make_site(box(0, 0, 2, 3)), Settings(reach_m=2.0))


@pytest.mark.parametrize(
    ("layers", "reach_m", "named"),
    [
        ({"easements": [box(6, -5, 10, 70)]}, 2.0, "in the way are the easements (easements-1)"),
        ({"keep_outs": [box(3, 3, 13, 57)]}, 2.5, "in the way are the keep-outs (keep_outs-1)"),
        ({"roads": [box(6, -5, 10, 70)]}, 2.0, "in the way are the roads (roads-1)"),
    ],
    ids=["easement", "keep-out", "road"],
)
def test_what_is_in_the_way_is_named(layers: dict[str, Any], reach_m: float, named: str) -> None:
    settings = Settings(reach_m=reach_m)
    said = refused(make_site(STRIP, **layers), settings)
    assert f"{named}: without them there would be room" in said
    parcelfence.plan(make_site(STRIP), settings)


def test_a_reach_that_is_too_large_has_no_other_cause() -> None:
    site = make_site(box(0, 0, 16, 24), buildings=[box(5, 8, 11, 15)])
    said = refused(site, Settings(reach_m=3.5))
    assert "in the way" not in said
    assert "what was tried and works: a reach of 1." in said.replace("What", "what")


@pytest.mark.parametrize("utilities", [[], [ALONG]], ids=["alone", "with a gas line"])
def test_the_reach_that_is_named_keeps_free_ground_with_everything_on_the_property(utilities: list[LineString]) -> None:
    site = make_site(box(0, 0, 13, 60), utilities=utilities)
    wanted = Settings(reach_m=3.0)
    (remedy,) = what_would_do(site, wanted)[:1]
    again = parcelfence.plan(site, remedy.settings)
    assert again.zones.free_ground.area == pytest.approx(remedy.free_m2)
    assert not [conflict for conflict in again.conflicts if conflict.severity == "must_fix"]
    with pytest.raises(NoLoopError):
        parcelfence.plan(site, wanted)


def test_where_nothing_was_tried_nothing_is_advised() -> None:
    with pytest.raises(NoLoopError) as caught:
        parcelfence.plan(make_site(box(0, 0, 9, 9)), Settings(reach_m=3.0))
    assert "leaves room" not in str(caught.value)
    assert "tries what would do" in str(caught.value)
