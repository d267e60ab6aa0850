"""The cheapest outline on lots made by hand, measured piece by piece by code that shares nothing with it."""

from __future__ import annotations

import pytest
import shapely
from shapely import LineString, Polygon, box

from parcelfence.layout.allowed import allowed_land
from parcelfence.layout.loop import Run
from parcelfence.layout.priced_layout import cheapest_outline, question
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


def test_a_line_along_the_edge_of_an_easement_is_priced_alike_however_the_edge_is_written() -> None:
    """It lies beside the easement, not on its edge, where rounding would tell whether it is in it."""
    strip = Polygon([(0, 0), (10, 60), (14, 60), (4, 0)])
    prices = [
        question(box(3, 3, 57, 45), site=make_site(easements=[shape]), settings=SETTINGS).graph.price.sum()
        for shape in (strip, shapely.segmentize(strip, 0.75))
    ]
    assert prices[0] == pytest.approx(prices[1], abs=1e-6)
