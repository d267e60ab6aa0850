"""Alternatives: every combination planned once, what is beaten, and remedies that were tried."""

from __future__ import annotations

import itertools

import pytest
from shapely import LineString, box

import parcelfence
from parcelfence import Settings, compare
from parcelfence.alternatives import Alternative
from parcelfence.errors import SettingsError
from tests.layout.sites import make_site

LOT = box(0, 0, 40, 60)
HOUSE = box(12, 14, 28, 24)
ROAD = LineString([(-20, -4), (60, -4)])
SITE = make_site(LOT, buildings=[HOUSE], roads=[ROAD])


def test_every_combination_is_planned_once_the_largest_reach_first() -> None:
    found = compare(SITE, Settings(), reaches=("3 ft", 1.5, "1.5 m"), layouts=("back-yard", "whole-lot"))
    made = [(one.settings.layout, round(one.settings.reach_m, 3)) for one in found.alternatives]
    assert made == list(itertools.product(("whole-lot", "back-yard"), (1.5, 0.914)))
    assert [one.number for one in found.alternatives] == [1, 2, 3, 4]
    for one in found.alternatives:
        alone = parcelfence.plan(SITE, one.settings)
        assert one.plan is not None
        assert one.plan.loop.enclosed.equals(alone.loop.enclosed)
        assert one.free_m2 == pytest.approx(alone.zones.roam.difference(HOUSE).area)
        assert one.wire_m == alone.take_off.sequence.conductor_length_m
        assert one.settings.lot_line_setback_m == pytest.approx(one.settings.reach_m + 0.3)


def test_plans_share_what_was_read() -> None:
    found = compare(SITE, reaches=(1, 1.5), layouts=("whole-lot", "front-excluded"))
    assert all(one.site.parcel is SITE.parcel and one.site.buildings is SITE.buildings for one in found.plans)


def test_what_cannot_be_planned_has_its_reason_beside_the_others() -> None:
    found = compare(make_site(LOT, buildings=[HOUSE]), reaches=(1.5, 25), layouts=("whole-lot", "open-side"))
    without = [one for one in found.alternatives if one.plan is None]
    assert [(one.settings.layout, one.settings.reach_m) for one in without] == [
        ("whole-lot", 25),
        ("open-side", 25),
        ("open-side", 1.5),
    ]
    assert "no open side is given" in without[1].reason.casefold()
    assert len(found.plans) == 1


def test_cost_is_there_where_prices_are_given() -> None:
    (priced,) = compare(SITE, prices={"single_wire_per_m": 1.0, "twisted_pair_per_m": 2.0}).alternatives
    assert priced.plan is not None
    assert priced.cost == priced.plan.take_off.cost
    assert priced.cost > 0


@pytest.mark.parametrize("wrong", [{"layouts": ["backyard"]}, {"reaches": ["wide"]}, {"reaches": [-1]}])
def test_a_layout_or_reach_that_is_none_is_refused(wrong: dict[str, list[object]]) -> None:
    with pytest.raises(SettingsError):
        compare(SITE, **wrong)


def test_the_beaten_are_those_that_another_one_outdoes() -> None:
    plan = parcelfence.plan(SITE, Settings())

    def one(**figures: float) -> Alternative:
        return Alternative(number=1, settings=Settings(), plan=plan, **{"free_m2": 100, "wire_m": 50, **figures})

    assert one(free_m2=120).beats(one())
    assert not one().beats(one(free_m2=120))
    assert not one().beats(one())
    assert not one(free_m2=120, wire_m=60).beats(one())
    assert one(crossings=1).beats(one(crossings=2))
    assert not one(must_fix=1, free_m2=500).beats(one())
    assert not one(cost=5.0, wire_m=10).beats(one(cost=4.0))
    assert one().beats(Alternative(number=2, settings=Settings(), reason="no room"))
