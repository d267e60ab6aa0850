from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from parcelfence.layout.design import design
from parcelfence.layout.narrow import largest_uniform_reach_m
from parcelfence.settings import Settings
from tests.layout.sites import make_site

LOT = box(0, 0, 60, 40)


def narrow_site(gap_m: float):  # noqa: ANN201
    return make_site(LOT, buildings=[box(20, gap_m, 32, gap_m + 9)])


@given(gap=st.floats(2.5, 4.5))
def test_the_largest_reach_is_half_the_gap_less_what_goes_beyond_it(gap: float) -> None:
    loop = design(narrow_site(gap), Settings())
    told = [remark for remark in loop.remarks if remark.rule == "narrow-place"]
    here, everywhere = told[0], told[-1]
    assert here.measured == pytest.approx((gap - 0.6) / 2, abs=0.02)
    assert everywhere.measured == pytest.approx((gap - 0.6) / 2, abs=0.02)
    assert here.feature == "buildings-1"


@given(gap=st.floats(2.5, 4.5))
def test_with_the_largest_reach_nothing_is_narrow_any_more(gap: float) -> None:
    site = narrow_site(gap)
    reach = largest_uniform_reach_m(site, Settings(), buildings=site.buildings)
    assert reach is not None
    settings = Settings().replaced(reach_m=reach)
    loop = design(site, settings)
    assert not [remark for remark in loop.remarks if remark.rule == "narrow-place"]
    assert loop.runs[0].line.distance(site.buildings[0].geometry) >= settings.building_clearance_m - 0.05
    wider = design(site, Settings().replaced(reach_m=reach + 0.1))
    assert [remark for remark in wider.remarks if remark.rule == "narrow-place"]


def test_the_stations_are_those_beside_the_wall() -> None:
    loop = design(narrow_site(4.0), Settings())
    (here, _) = [remark for remark in loop.remarks if remark.rule == "narrow-place"]
    west, _, east, north = here.geometry.bounds
    assert 17 < west < 21
    assert 31 < east < 35
    assert north < 2.5
    assert "Between stations" in here.message


def test_room_enough_is_not_worth_a_word() -> None:
    assert not design(narrow_site(4.7), Settings()).remarks


def test_the_largest_reach_falls_as_the_gap_closes() -> None:
    reaches = [
        largest_uniform_reach_m(site, Settings(), buildings=site.buildings) or 0.0
        for site in map(narrow_site, (4.4, 3.6, 2.8, 2.0, 1.4))
    ]
    assert reaches == sorted(reaches, reverse=True)


def test_at_the_lot_line_no_reach_is_worth_its_name() -> None:
    site = narrow_site(0.5)
    assert largest_uniform_reach_m(site, Settings(), buildings=site.buildings) is None
