"""Arcs touch both legs, keep their radius where there is room, and stay on the inner side."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import LineString, Polygon

from parcelfence.layout.arcs import with_arcs
from parcelfence.lines import circle_through

SQUARE = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]])


def _least_radius_m(ring: LineString) -> float:
    xy = np.asarray(ring.coords)[:-1]
    around = [np.array([xy[k - 1], xy[k], xy[(k + 1) % len(xy)]]) for k in range(len(xy))]
    return min(circle_through(three)[1] for three in around)


def test_a_square_loses_its_four_corners() -> None:
    ring = with_arcs(SQUARE, radius_m=2.0)
    radius_m = 2.04
    assert ring.is_closed
    assert Polygon(ring).exterior.is_ccw
    assert ring.length == pytest.approx(80 - 8 * radius_m + 2 * math.pi * radius_m, abs=0.01)
    assert Polygon(ring).area == pytest.approx(400 - (4 - math.pi) * radius_m**2, abs=0.05)
    assert Polygon(SQUARE).buffer(1e-9).covers(ring)
    assert _least_radius_m(ring) >= 2.0


def test_a_chamfer_too_short_for_two_arcs_is_taken_by_one() -> None:
    """The arc lies on the inner side of the leg that it replaces."""
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 19.7], [19.7, 20.0], [0.0, 20.0]])
    ring = with_arcs(corners, radius_m=1.0)
    assert _least_radius_m(ring) >= 1.0
    assert Polygon(corners).buffer(1e-9).covers(ring)


JOG = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [10.0, 20.0], [10.0, 19.0], [0.0, 19.0]])


def test_a_jog_too_short_for_two_arcs_is_led_aslant_on_its_inner_side() -> None:
    ring = with_arcs(JOG, radius_m=1.0)
    assert _least_radius_m(ring) >= 1.0
    assert Polygon(JOG).buffer(0.1).covers(ring)  # an arc at a right turn lies on the outer side of its corner


def test_or_it_gets_smaller_arcs() -> None:
    ring = with_arcs(JOG, radius_m=1.0, eased=False)
    assert ring.is_simple
    assert _least_radius_m(ring) == pytest.approx(0.5, abs=0.01)


def test_a_leg_that_is_long_enough_stays_beside_one_that_is_not() -> None:
    """Only the leg without room goes: the corner of its neighbours must not run far out."""
    corners = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 6.0], [29.0, 6.4], [24.0, 17.0], [0.0, 20.0]])
    ring = with_arcs(corners, radius_m=1.0)
    assert Polygon(corners).buffer(0.3).covers(ring)


def test_a_corner_that_hardly_turns_is_none() -> None:
    corners = np.array([[0.0, 0.0], [10.0, 0.002], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]])
    assert len(with_arcs(corners, radius_m=1.0).coords) == len(with_arcs(SQUARE, radius_m=1.0).coords)


@pytest.mark.parametrize("start", range(5))
def test_it_does_not_matter_where_the_ring_begins(start: int) -> None:
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [21.0, 19.0], [19.5, 20.0], [0.0, 21.0]])
    one = Polygon(with_arcs(corners, radius_m=1.0))
    other = Polygon(with_arcs(np.roll(corners, start, axis=0), radius_m=1.0))
    assert one.symmetric_difference(other).area < 1e-6
