"""The levels on the map: their words, and the polygons that the page draws."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from plan_fixture import hand_made_plan

from parcelfence.outputs.map_levels import UNITS_PER_DEGREE, level_control, level_data, plan_levels

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

ORIGIN = (-76.25, 43.0)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_there_are_eight_to_ten_levels_and_the_plan_s_own_is_one(units: str) -> None:
    plan = hand_made_plan(units=units)
    found = plan_levels(plan)
    reaches_m = [level.reach_m for level in found]
    assert 8 <= len(found) <= 10
    assert reaches_m == sorted(reaches_m)
    assert plan.zones.receiver.reach_m in reaches_m
    assert found[reaches_m.index(plan.zones.receiver.reach_m)].signal is plan.zones.signal
    assert min(reaches_m) == pytest.approx(0.61, abs=0.02)
    assert max(reaches_m) == pytest.approx(3.66, abs=0.07)


def test_where_the_signal_goes_is_said_for_each_level(plan: Plan) -> None:
    found = plan_levels(plan)
    for level, entry in zip(found, level_data(plan, found, origin=ORIGIN), strict=True):
        outside = level.signal.difference(plan.site.parcel).area
        inside = max(level.signal.intersection(building.geometry).area for building in plan.site.buildings)
        assert (entry["lot"] == "nowhere") == (outside < 1.0), level.reach_m
        assert (entry["house"] == "nowhere") == (inside < 0.5), level.reach_m
        assert entry["freeM2"] == pytest.approx(level.roam.difference(plan.zones.roofs).area, abs=0.1)


def test_polygons_come_back_from_their_steps(plan: Plan) -> None:
    found = plan_levels(plan)
    for level, entry in zip(found, level_data(plan, found, origin=ORIGIN), strict=True):
        if entry["own"]:
            assert "signal" not in entry
            continue
        for kind in ("signal", "roam"):
            parts = [
                shapely.Polygon(*[_places(rings[0])], [_places(ring) for ring in rings[1:]]) for rings in entry[kind]
            ]
            back = shapely.MultiPolygon(parts)
            meant = plan.site.frame.to_wgs84().geometry(getattr(level, kind))
            assert back.hausdorff_distance(meant) < 2 / UNITS_PER_DEGREE


def _places(steps: list[int]) -> list[list[float]]:
    return (np.cumsum(np.array(steps).reshape(-1, 2), axis=0) / UNITS_PER_DEGREE + ORIGIN).tolist()


def test_words_from_files_are_escaped_and_the_slider_is_labelled(nasty_plan: Plan) -> None:
    found = plan_levels(nasty_plan)
    assert "<script" not in "".join(
        entry["house"] + entry["lot"] for entry in level_data(nasty_plan, found, origin=ORIGIN)
    )
    control = level_control(nasty_plan, found)
    assert 'type="range"' in control
    assert '<label for="level">' in control
