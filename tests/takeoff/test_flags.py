"""Flags: on the edge where the signal begins, evenly, in the order of the wire."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, box

from parcelfence.field.current import Receiver
from parcelfence.field.zones import Zones
from parcelfence.settings import Settings
from parcelfence.takeoff.flags import REMOVAL_ROUNDS, flags, removal_round
from tests.rules import sites

SETTINGS = Settings()
RUN = sites.loop_run(sites.rounded(box(3, 3, 57, 37)))
INNER = sites.loop_run(sites.rounded(box(24, 14, 36, 26)).reverse(), "K1", part="inner_loop", current=-1.0)


def _zones(roam: MultiPolygon, outline: shapely.Polygon) -> Zones:
    """Signal everywhere in the outline but in the roam area."""
    signal = outline.buffer(3).difference(roam)
    return Zones(signal=MultiPolygon([signal]), core=MultiPolygon(), roam=roam, receiver=Receiver(2.0))


def test_flags_stand_where_the_field_is_at_the_threshold_and_the_animal_is_free() -> None:
    draft = sites.draft(loop=sites.loop_of(RUN, INNER))
    placed = flags(draft.zones, draft.loop, settings=SETTINGS)
    edge = draft.zones.signal.boundary
    assert all(edge.distance(flag.point) < 2e-3 for flag in placed)
    assert all(draft.zones.roam.distance(flag.point) < 2e-3 for flag in placed)
    assert {flag.loop_id for flag in placed} == {"L1", "K1"}


def test_a_third_of_an_acre_takes_49_flags() -> None:
    """The edge of a square of a third of an acre, 482 ft, takes 49 flags at 10 ft or less."""
    side_m = math.sqrt(43560 / 3) * 0.3048
    square = box(0, 0, side_m, side_m)
    loop = sites.loop_of(sites.loop_run(square))
    ten_feet = SETTINGS.replaced(flag_spacing_max_m="10 ft")
    placed = flags(_zones(MultiPolygon([square]), square), loop, settings=ten_feet)
    assert len(placed) == 49


@given(width=st.floats(8, 90), height=st.floats(8, 60))
def test_the_least_count_that_keeps_the_greatest_spacing(width: float, height: float) -> None:
    outline = box(0, 0, width, height)
    loop = sites.loop_of(sites.loop_run(outline))
    placed = flags(_zones(MultiPolygon([outline]), outline), loop, settings=SETTINGS)
    assert len(placed) == math.ceil(2 * (width + height) / SETTINGS.flag_spacing_max_m)
    along = sorted(outline.exterior.project(flag.point) for flag in placed)
    gaps = np.diff([*along, along[0] + outline.exterior.length])
    assert gaps.max() <= SETTINGS.flag_spacing_max_m + 1e-9
    assert gaps.max() == pytest.approx(gaps.min(), abs=1e-6)
    assert gaps.min() >= SETTINGS.flag_spacing_min_m


def test_flags_are_numbered_along_the_wire_from_its_start() -> None:
    draft = sites.draft(loop=sites.loop_of(RUN, INNER))
    placed = flags(draft.zones, draft.loop, settings=SETTINGS)
    assert [flag.flag for flag in placed] == list(range(1, len(placed) + 1))
    outer = [flag.station_m for flag in placed if flag.loop_id == "L1"]
    assert outer[0] < 6.0
    assert all(after > before for before, after in pairwise(outer))
    inner = [flag.station_m for flag in placed if flag.loop_id == "K1"]
    backward = sum(after < before for before, after in pairwise(inner))
    assert backward <= 1
    for flag in placed[::7]:
        run = RUN if flag.loop_id == "L1" else INNER
        assert run.line.interpolate(flag.station_m).distance(flag.point) == pytest.approx(run.line.distance(flag.point))


def test_every_other_flag_goes_in_each_round() -> None:
    rounds = [removal_round(position) for position in range(1, 17)]
    assert rounds == [1, 2, 1, 3, 1, 2, 1, 4, 1, 2, 1, 3, 1, 2, 1, 4]
    left = list(range(1, 161))
    for number in range(1, REMOVAL_ROUNDS):
        gone = [position for position in left if removal_round(position) == number]
        assert gone == left[::2]
        left = left[1::2]
    assert Counter(removal_round(position) for position in left) == {REMOVAL_ROUNDS: len(left)}


def test_pockets_too_small_to_turn_in_get_none() -> None:
    outline = box(0, 0, 40, 30)
    roam = MultiPolygon([box(3, 3, 20, 27), box(25, 10, 26, 20)])
    placed = flags(_zones(roam, outline), sites.loop_of(sites.loop_run(outline)), settings=SETTINGS)
    assert all(flag.point.x <= 20 for flag in placed)


def test_an_edge_that_is_a_wall_gets_none() -> None:
    """Free ground from x = 3 to 20, bounded on the east by a wall and not by a signal."""
    outline = box(0, 0, 40, 30)
    zones = _zones(MultiPolygon([box(3, 3, 37, 27)]), outline)
    walled = Zones(
        signal=zones.signal, core=zones.core, roam=MultiPolygon([box(3, 3, 20, 27)]), receiver=zones.receiver
    )
    placed = flags(walled, sites.loop_of(sites.loop_run(outline)), settings=SETTINGS)
    on_wall = [flag for flag in placed if flag.point.x > 19.99 and 3.01 < flag.point.y < 26.99]
    assert not on_wall
    assert len(placed) == math.ceil((17 + 24 + 17) / 3.048) + 1


def test_without_free_ground_or_wire_there_are_no_flags() -> None:
    draft = sites.draft(loop=sites.loop_of(sites.loop_run(box(10, 10, 16, 16))))
    assert not flags(draft.zones, draft.loop, settings=SETTINGS)
    assert not flags(draft.zones, sites.loop_of(), settings=SETTINGS)
