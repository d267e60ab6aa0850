"""What a finished outline costs: measured on outlines whose figures are known by plain geometry."""

from __future__ import annotations

import pytest
from shapely import LineString, Polygon, box

from parcelfence.layout.appraisal import Appraisal, appraise
from parcelfence.layout.buried import buried
from parcelfence.layout.prices import FORBIDDEN
from parcelfence.settings import Settings
from tests.layout.sites import feature, make_site

SETTINGS = Settings()
LOT = box(0, 0, 60, 60)
SQUARE = box(5, 5, 55, 55).buffer(-2).buffer(2, quad_segs=32)


def appraised(area: Polygon, **layers: object) -> Appraisal:
    site = make_site(LOT, **layers)
    lines = buried(site.utilities, near=LOT, settings=SETTINGS)
    return appraise(area, lines=lines, site=site, settings=SETTINGS, worth_per_m2=1.0)


def test_plain_ground_costs_its_wire_and_four_bends() -> None:
    found = appraised(SQUARE)
    assert found.sound
    assert found.cost == pytest.approx(SQUARE.length + 4 * (1.5 + 1.5), abs=0.05)
    assert found.worth == pytest.approx(46.0 * 46.0, rel=0.001)
    assert found.total == found.cost - found.worth


def test_a_square_crossing_is_sound_and_one_askew_is_not() -> None:
    square, askew = (appraised(SQUARE, utilities=[LineString([(30, -5), (30 + shift, 20)])]) for shift in (0.0, 12.0))
    assert square.sound
    assert square.off_square == 0
    assert askew.off_square == 1
    assert not askew.sound


def test_wire_beside_a_line_is_measured() -> None:
    found = appraised(SQUARE, utilities=[LineString([(20, 4.0), (40, 4.0)])])
    assert found.beside_m == pytest.approx(22.2, abs=0.5)
    assert not found.sound


def test_wire_in_ground_that_is_not_dug_is_forbidden() -> None:
    found = appraised(SQUARE, no_dig=(feature(box(20, 0, 30, 10)),))
    assert found.forbidden_m == pytest.approx(10.0, abs=0.01)
    assert found.cost - appraised(SQUARE).cost == pytest.approx(10.0 * FORBIDDEN, abs=1.0)


def test_bends_tighter_than_the_radius_are_measured() -> None:
    assert appraised(box(5, 5, 55, 55)).tight_m > 1.0
