"""The reach along the wire."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import Polygon

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.profile import reach_profiles
from parcelfence.field.zones import field_zones

RECEIVER = Receiver(2.0, 0.3)


def square(side_m: float, *, backwards: bool = False) -> CurrentLoop:
    vertices = [(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)]
    return CurrentLoop(np.array(vertices[::-1] if backwards else vertices))


@pytest.mark.parametrize("backwards", [False, True])
def test_field_is_at_the_threshold_where_the_reach_ends(backwards: bool) -> None:
    loop = square(40.0, backwards=backwards)
    profile = reach_profiles([loop], RECEIVER, interval_m=4.0)[0]
    for reach_m, sense in ((profile.reach_inside_m, 1.0), (profile.reach_outside_m, -1.0)):
        ends = profile.points + sense * reach_m[:, None] * profile.inward
        assert np.allclose(normalised_field(ends, [loop], receiver=RECEIVER), 1.0, atol=1e-6)
        assert shapely.contains_xy(Polygon(loop.coordinates), *ends.T).all() == (sense > 0)


def test_beside_a_corner_free_ground_is_found_aslant() -> None:
    """Two metres from the corner the way square to the wire runs along the signal of the other leg."""
    loop = square(40.0)
    (signal,) = field_zones([loop], RECEIVER, levels=[1.0])
    free = Polygon(loop.coordinates).difference(signal)
    profile = reach_profiles([loop], RECEIVER, interval_m=2.0)[0]
    assert normalised_field([[2.0, 20.0]], [loop], receiver=RECEIVER)[0] > 1.0
    assert np.isfinite(profile.reach_inside_m).all()
    nearest_m = shapely.distance(free, shapely.points(profile.points))
    assert (profile.reach_inside_m > nearest_m - 2e-3).all()
    assert (profile.reach_inside_m < 1.35 * nearest_m).all()


def test_stations_cover_the_wire_and_its_corners() -> None:
    profile = reach_profiles([square(40.0)], RECEIVER, interval_m=3.0)[0]
    assert {0.0, 40.0, 80.0, 120.0} <= set(profile.station_m)
    assert np.diff(np.append(profile.station_m, 160.0)).max() <= 3.75
    assert (np.diff(profile.station_m) > 0.7).all()
    assert np.allclose(np.hypot(*profile.inward.T), 1.0)
    corner = np.searchsorted(profile.station_m, 40.0)
    assert np.allclose(profile.inward[corner], [-math.sqrt(0.5), math.sqrt(0.5)])


def test_corners_reach_farther_inside_than_outside() -> None:
    profile = reach_profiles([square(40.0)], RECEIVER)[0]
    assert profile.greatest_m == pytest.approx(profile.reach_inside_m[0])
    assert profile.reach_inside_m[0] > 2.0 * RECEIVER.reach_m
    assert profile.least_m == pytest.approx(profile.reach_outside_m[0])
    assert profile.reach_outside_m[0] < 0.5 * RECEIVER.reach_m


def test_reach_agrees_with_the_zone() -> None:
    loop = square(40.0)
    (signal,) = field_zones([loop], RECEIVER, levels=[1.0])
    profile = reach_profiles([loop], RECEIVER, interval_m=5.0)[0]
    ends = profile.points + profile.reach_inside_m[:, None] * profile.inward
    assert shapely.distance(signal.boundary, shapely.points(ends)).max() < 2e-3


def test_all_ground_of_a_small_loop_reacts() -> None:
    profile = reach_profiles([square(6.0)], RECEIVER)[0]
    assert np.isinf(profile.reach_inside_m).all()
    assert np.isfinite(profile.reach_outside_m).all()
    assert profile.greatest_m == math.inf


def test_a_silent_wire_has_no_reach() -> None:
    there_and_back = CurrentLoop(np.array([(0.0, 0.0), (40.0, 0.0), (40.0, 0.01), (0.0, 0.01)]))
    profile = reach_profiles([there_and_back], RECEIVER, interval_m=10.0)[0]
    assert np.isnan(profile.reach_inside_m).all()
    assert math.isnan(profile.least_m)


def test_the_next_wire_of_another_loop_ends_the_walk() -> None:
    outer = square(60.0)
    inner = CurrentLoop(square(1.0).coordinates * [5.0, 40.0] + np.array([3.0, 10.0]), current=-1.0)
    profiles = reach_profiles([outer, inner], RECEIVER, interval_m=1.0)
    assert [profile.loop for profile in profiles] == [0, 1]
    beside = (profiles[0].points[:, 0] == 0.0) & (np.abs(profiles[0].points[:, 1] - 30.0) < 1.0)
    assert np.isinf(profiles[0].reach_inside_m[beside]).all()


def test_core_ends_nearer_than_signal() -> None:
    signal = reach_profiles([square(40.0)], RECEIVER)[0]
    core = reach_profiles([square(40.0)], RECEIVER, level=RECEIVER.core_level)[0]
    assert (core.reach_inside_m < signal.reach_inside_m).all()
    assert (core.reach_outside_m < signal.reach_outside_m).all()
