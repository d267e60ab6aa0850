"""The setting for a wanted reach."""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.errors import SettingsError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.profile import reach_profiles
from parcelfence.field.setting import longest_straight_middle, reach_for_return_run, reach_for_wanted

LSHAPE = CurrentLoop(np.array([(0.0, 0.0), (40.0, 0.0), (40.0, 25.0), (18.0, 25.0), (18.0, 46.0), (0.0, 46.0)]))


@pytest.mark.parametrize("seen_from", ["inside", "outside"])
@pytest.mark.parametrize("wanted_m", [1.0, 2.5])
def test_the_setting_gives_the_wanted_reach(seen_from: str, wanted_m: float) -> None:
    found_m = reach_for_wanted(LSHAPE, wanted_m, seen_from=seen_from, height_m=0.3)
    assert (found_m < wanted_m) == (seen_from == "inside")
    profile = reach_profiles([LSHAPE], Receiver(found_m, 0.3), interval_m=23.0)[0]
    place = np.flatnonzero((profile.points == [0.0, 23.0]).all(axis=1))
    seen = profile.reach_inside_m if seen_from == "inside" else profile.reach_outside_m
    assert seen[place] == pytest.approx(wanted_m, abs=1e-5)


def test_straight_is_the_setting_itself() -> None:
    assert reach_for_wanted([LSHAPE], 2.0) == 2.0


def test_longest_straight_run() -> None:
    place, inward = longest_straight_middle(LSHAPE)
    assert place.tolist() == [0.0, 23.0]
    assert inward.tolist() == [1.0, 0.0]


def test_vertices_without_a_bend_do_not_part_a_run() -> None:
    dense = CurrentLoop.from_line(LSHAPE.ring.segmentize(1.7))
    rolled = CurrentLoop(np.roll(dense.coordinates, 5, axis=0)[::-1])
    place, inward = longest_straight_middle(rolled)
    assert place == pytest.approx([0.0, 23.0])
    assert inward == pytest.approx([1.0, 0.0])


def test_a_place_may_be_given() -> None:
    place, inward = longest_straight_middle(LSHAPE, at=(41.0, 7.0))
    assert place.tolist() == [40.0, 7.0]
    assert inward.tolist() == [-1.0, 0.0]
    somewhere = reach_for_wanted(LSHAPE, 2.0, seen_from="inside", at=(41.0, 7.0), height_m=0.0)
    assert normalised_field([[38.0, 7.0]], [LSHAPE], receiver=Receiver(somewhere, 0.0))[0] == pytest.approx(1.0)


def test_what_cannot_be_set_is_said() -> None:
    with pytest.raises(SettingsError, match="cannot be set"):
        reach_for_wanted([LSHAPE, CurrentLoop(LSHAPE.coordinates, -1.0)], 2.0, seen_from="inside")


@pytest.mark.parametrize("spacing_m", [0.5, 3.0, 1000.0])
def test_return_run_in_closed_form(spacing_m: float) -> None:
    assert reach_for_return_run(2.0, spacing_m=spacing_m) == pytest.approx(2.0 * (2.0 + spacing_m) / spacing_m)
    assert reach_for_return_run(2.0, spacing_m=spacing_m, height_m=0.5) > reach_for_return_run(2.0, spacing_m=spacing_m)


def test_return_run_in_a_real_loop() -> None:
    """The closed form holds to a few per cent in the middle of a long doubled-back side."""
    wire = CurrentLoop(np.array([(0, 0), (90, 0), (90, 50), (87, 50), (87, 3), (3, 3), (3, 50), (0, 50)], dtype=float))
    exact = reach_for_wanted(wire, 1.5, seen_from="outside", at=(45.0, 0.0), height_m=0.0)
    assert exact == pytest.approx(reach_for_return_run(1.5, spacing_m=3.0), rel=0.03)
    assert math.isfinite(exact)
