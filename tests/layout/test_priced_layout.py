"""The cheapest outline on lots made by hand, measured piece by piece by code that shares nothing with it."""

from __future__ import annotations

import pytest
from shapely import LineString, Polygon

from parcelfence.layout.allowed import allowed_land
from parcelfence.layout.loop import Run
from parcelfence.layout.priced_layout import cheapest_outline
from parcelfence.settings import Settings
from tests.layout.measure import beside_m, off_square_deg
from tests.layout.sites import HOUSE, make_site, sharpest_radius_m
from tests.layout.test_utility_crossings import CASES

SETTINGS = Settings()


@pytest.mark.parametrize("name", CASES)
def test_lines_are_crossed_square_and_never_followed(name: str) -> None:
    site = make_site(utilities=CASES[name], buildings=[HOUSE])
    land = allowed_land(site, SETTINGS)
    area = cheapest_outline(land.region.geoms[0], site=site, settings=SETTINGS)
    assert isinstance(area, Polygon)
    run = Run(part="loop", loop_id="L1", line=LineString(area.exterior), current=1.0)
    assert max((angle for _, angle in off_square_deg([run], site.utilities)), default=0.0) <= 10.0
    assert not list(beside_m([run], site.utilities, separation_m=SETTINGS.utility_separation_m))
    assert sharpest_radius_m(run.line, step_m=0.5) > 0.95 * SETTINGS.bend_radius_m
    assert area.contains(HOUSE)
    assert area.area >= 0.94 * land.region.area
