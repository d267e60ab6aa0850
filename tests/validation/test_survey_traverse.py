"""Closure and area of traverses.

Sources: J. Mahun, Open Access Surveying Library, Traverse Computations, chapters F and G (open textbook); an open
text's five-sided traverse (cross products rounded to 1 square foot there); Encyclopaedia Britannica, 'metes and
bounds', a triangular tract; Hicks, Handbook of Civil Engineering Calculations, a balanced traverse (its printed answer
was not seen: the area is computed from the printed latitudes and departures).  All lengths in feet.
"""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon

from parcelfence.takeoff.courses import bearing_label, traverse_closure
from tests.traverse import azimuth_of, run_traverse

MAHUN = [(2000.0, 500.0), (1561.426, 323.614), (1488.321, 526.996), (1686.956, 719.336)]
MAHUN_LEGS = [("S 68-05-27 W", 472.72), ("N 19-46-15 W", 216.12), ("N 45-55-21 E", 276.50), ("S 54-58-58 E", 382.24)]
BRITANNICA_LEGS = [("S 00-00-00 E", 600.0), ("N 45-00-00 W", 700.0)]
HICKS = np.array([(-135.6, -132.3), (-77.5, 9.6), (-198.5, 97.9), (143.6, 161.9), (246.7, -35.3), (21.3, -101.8)])


def test_mahun_area_by_coordinates() -> None:
    """Half the difference of the printed cross-product sums 3384174.1 and 3590045.6."""
    assert traverse_closure([*MAHUN, MAHUN[0]]).area == pytest.approx(102935.75, abs=0.2)


def test_mahun_courses_by_inverse() -> None:
    corners = np.array([*MAHUN, MAHUN[0]])
    for (bearing, distance), step in zip(MAHUN_LEGS, np.diff(corners, axis=0), strict=True):
        azimuth = np.degrees(np.arctan2(*step))
        printed, found = azimuth_of(bearing), azimuth_of(bearing_label(azimuth))
        assert found == pytest.approx(printed, abs=1.01 / 3600)
        assert np.hypot(*step) == pytest.approx(distance, abs=0.006)


def test_mahun_misclosure_and_unadjusted_area() -> None:
    closure = traverse_closure(run_traverse((2000.0, 500.0), MAHUN_LEGS))
    assert closure.perimeter == pytest.approx(1347.58, abs=1e-6)
    assert closure.misclosure == pytest.approx(0.004774402514549515, abs=1e-6)
    assert closure.area == pytest.approx(102936.35303886459, abs=0.01)
    assert closure.precision == pytest.approx(1347.58 / 0.0047744, rel=1e-4)


def test_five_sided_traverse() -> None:
    """From the printed sums 2190612 and 1909624 square feet."""
    corners = [(1259.97, 406.31), (1489.47, 235.12), (1126.40, 65.81), (942.04, 317.89), (1282.54, 675.32)]
    assert traverse_closure([*corners, corners[0]]).area == pytest.approx((2190612 - 1909624) / 2, abs=3.0)


def test_britannica_tract() -> None:
    corners = run_traverse((0.0, 0.0), BRITANNICA_LEGS)
    closing = corners[0] - corners[-1]
    assert np.hypot(*closing) == pytest.approx(505.994371315828, rel=1e-9)
    assert bearing_label(np.degrees(np.arctan2(*closing))) == "N 78-01-14 E"
    closure = traverse_closure([*corners, corners[0]])
    assert closure.misclosure == 0.0
    assert closure.area == pytest.approx(148492.42404917497, rel=1e-9)


def test_hicks_balanced_traverse() -> None:
    corners = np.vstack([(0.0, 0.0), np.cumsum(HICKS, axis=0)])
    closure = traverse_closure(corners)
    assert closure.misclosure == pytest.approx(0.0, abs=1e-9)
    assert closure.area == pytest.approx(72106.19, abs=0.5)


def test_areas_do_not_suffer_from_large_coordinates() -> None:
    """Raw coordinates of a grid lose about 3e-7 of a small lot's area in double precision; a local origin does not."""
    lot = np.array([(0.0, 0.0), (36.0, 0.5), (35.5, 40.0), (-0.5, 39.0)])
    moved = lot + np.array([500_000.0, 4_500_000.0])
    far = traverse_closure([*moved, moved[0]])
    assert far.area == pytest.approx(Polygon(lot).area, rel=1e-11)
