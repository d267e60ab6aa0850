"""Levels: the same zones as a receiver that is really set so, from one sampled field."""

from __future__ import annotations

from itertools import pairwise

import pytest
import shapely

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.levels import LEVEL_TOLERANCE_M, levels
from parcelfence.field.zones import zones

YARD = shapely.box(0, 0, 40, 30).buffer(-2).buffer(2)
REACHES_M = (0.61, 1.2, 1.83, 2.44, 3.66)


def test_every_level_is_what_a_receiver_set_to_it_hears() -> None:
    loop = CurrentLoop.from_line(shapely.LineString(YARD.exterior))
    found = levels([loop], REACHES_M, height_m=0.3, inside=YARD)
    assert [level.reach_m for level in found] == list(REACHES_M)
    for level in found:
        exact = zones([loop], Receiver(level.reach_m, 0.3), inside=YARD)
        edge_m = exact.signal.length
        assert level.signal.symmetric_difference(exact.signal).area < LEVEL_TOLERANCE_M * edge_m
        assert level.signal.hausdorff_distance(exact.signal) <= 2 * LEVEL_TOLERANCE_M
        assert level.roam.area == pytest.approx(exact.roam.area, rel=2e-3)
        assert level.roam.intersection(level.signal).area == pytest.approx(0.0, abs=1e-6)


def test_a_higher_level_reacts_on_more_ground() -> None:
    loop = CurrentLoop.from_line(shapely.LineString(YARD.exterior))
    found = levels([loop], REACHES_M[::-1], height_m=0.3, inside=YARD)
    for more, less in pairwise(found):
        assert more.reach_m > less.reach_m
        assert shapely.covers(more.signal.buffer(2 * LEVEL_TOLERANCE_M), less.signal)
        assert more.roam.area < less.roam.area
