"""Gaps: ends of open sides beside water and walls, and passages through the signal."""

from __future__ import annotations

import dataclasses

import pytest
from shapely import LineString, box

from parcelfence import Settings, plan
from tests.layout.sites import feature, make_site
from tests.rules import sites

LOT = box(0, 0, 40, 60)
HOUSE = box(12, 14, 28, 24)


def _band(top: float) -> sites.Loop:
    """Give two doubled legs that end at a height, west and east of a yard that is open to the north."""
    legs = [sites.rounded(box(x, 3, x + 3, top)) for x in (3, 54)]
    runs = [sites.loop_run(leg, f"R{n}", part="return_run") for n, leg in enumerate(legs, start=1)]
    return sites.loop_of(*runs, ground=box(3, 3, 57, 39.99))


@pytest.mark.parametrize(("top", "severity"), [(39.0, None), (38.7, "caution"), (36.0, "must_fix")])
def test_a_gap_to_the_water_is_measured_at_both_ends(top: float, severity: str | None) -> None:
    shore = sites.feature(LineString([(0, 40), (60, 40)]), id="shore")
    lake = sites.feature(box(-20, 40, 80, 60), id="lake")
    draft = sites.draft(sites.site(open_sides=(shore,), water=(lake,)), _band(top))
    found = sites.found("open-side-gap", draft)
    assert {one.severity for one in found} == ({severity} if severity else set())
    for conflict in found:
        assert conflict.measured == pytest.approx(draft.zones.signal.distance(lake.geometry), abs=0.02)
        assert conflict.limit == Settings().gap_width_m
        assert conflict.geometry.length == pytest.approx(conflict.measured)
        assert "to the water" in conflict.message
    assert len(found) == (2 if severity else 0)


def test_without_water_or_wall_the_side_itself_is_what_the_animal_does_not_pass() -> None:
    fence = sites.feature(LineString([(0, 39), (60, 39)]), id="old wall")
    found = sites.found("open-side-gap", sites.draft(sites.site(open_sides=(fence,)), _band(36.0)))
    assert len(found) == 2
    assert all("the side that is open" in conflict.message for conflict in found)


def test_a_closed_loop_has_no_ends() -> None:
    shore = sites.feature(LineString([(0, 40), (60, 40)]))
    assert not sites.found("open-side-gap", sites.draft(sites.site(open_sides=(shore,))))


def test_a_passage_is_measured_over_its_width() -> None:
    legs = [sites.rounded(box(20, 3, 23, 37)), sites.rounded(box(40, 3, 43, 37))]
    runs = [sites.loop_run(leg, f"R{n}", part="return_run") for n, leg in enumerate(legs, start=1)]
    loop = sites.loop_of(*runs, ground=box(3, 3, 57, 37))
    free = sites.feature(LineString([(31.5, -2), (31.5, 42)]), id="free")
    near = sites.feature(LineString([(24.5, -2), (24.5, 42)]), id="near")
    through = sites.feature(LineString([(0, 20), (60, 20)]), id="through")
    draft = sites.draft(sites.site(passages=(free, near, through)), loop)
    found = {conflict.feature: conflict for conflict in sites.found("passage-blocked", draft)}
    assert set(found) == {"near", "through"}
    assert found["near"].measured == pytest.approx(2 * draft.zones.signal.distance(near.geometry))
    assert "is crossed by the signal" in found["through"].message


def test_a_planned_passage_is_free_and_the_wire_turns_back_on_both_sides() -> None:
    way = LineString([(20, 45), (20, 70)])
    site = dataclasses.replace(make_site(LOT, buildings=[HOUSE]), passages=(feature(way, "to the field"),))
    done = plan(site, Settings(reach_m=1.5))
    (run,) = done.loop.signal_runs
    assert run.part == "return_run"
    free_m = 2 * done.zones.signal.distance(way)
    assert Settings().passage_width_m <= free_m <= 2.5 * Settings().passage_width_m
    assert not any(conflict.rule in {"passage-blocked", "open-side-gap"} for conflict in done.conflicts)
    assert done.layers()["passages"]["id"].tolist() == ["to the field"]
    assert set(done.layers()["wire"]["part"]) == {"return_run", "lead_in"}


def test_a_back_yard_of_a_wide_house_closes_its_gaps_and_keeps_the_house_silent() -> None:
    house = box(3, 14, 37, 24)
    site = make_site(LOT, buildings=[house], roads=[LineString([(-20, -4), (60, -4)])])
    done = plan(site, Settings(reach_m=1.5, layout="back-yard"))
    assert {run.part for run in done.loop.signal_runs} == {"return_run"}
    rules = {conflict.rule: conflict for conflict in done.conflicts if conflict.severity == "must_fix"}
    assert not rules
    assert not done.zones.signal.intersects(house)
    assert done.zones.signal.distance(house) <= Settings().gap_width_m
