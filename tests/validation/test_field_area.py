"""Free ground inside a square loop, and ground inside its outer contour.

Source: polar root-finding on four finite wires (Griffiths, Introduction to Electrodynamics, chapter 5) with adaptive
quadrature.  A second, independent way: counting random points.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.zones import field_zones, zones

FINE_M = 2e-6
"""A five-hundredth of the everyday tolerance, so that edges drawn with chords do not show in the sixth digit."""


def square(side_m: float) -> CurrentLoop:
    return CurrentLoop(np.array([(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)]))


@pytest.mark.parametrize(
    ("side_m", "w_m", "expected"),
    [
        pytest.param(36.72808381606642, 3.66, 667.6068477727497, id="A8-free-area-36p7281-w3p66"),
        pytest.param(36.72808381606642, 2.0, 1004.3754768103959, id="A8-free-area-36p7281-w2"),
        pytest.param(36.72808381606642, 1.0, 1186.8812081967935, id="A8-free-area-36p7281-w1"),
        pytest.param(36.72808381606642, 3.6576, 668.1215102593229, id="A8-free-area-36p7281-w3p6576"),
        pytest.param(20.0, 2.0, 197.14823979782574, id="A8-free-area-20-w2"),
        pytest.param(100.0, 3.66, 8347.317441349061, id="A8-free-area-100-w3p66"),
        pytest.param(29.412883816066422, 3.6576, 299.7205737196732, id="A8-free-area-29p4129-w3p6576"),
        pytest.param(10.0, 1.0, 49.287059949456435, id="A8-free-area-10-w1"),
    ],
)
def test_free_ground(side_m: float, w_m: float, expected: float) -> None:
    (signal,) = field_zones([square(side_m)], Receiver(w_m, 0.0), levels=[1.0], tolerance_m=FINE_M)
    free = Polygon(square(side_m).coordinates).difference(signal)
    assert free.area == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("side_m", "w_m", "expected"),
    [
        pytest.param(36.72808381606642, 3.66, 667.6068477727497, id="A8-free-area-36p7281-w3p66"),
        pytest.param(36.72808381606642, 2.0, 1004.3754768103959, id="A8-free-area-36p7281-w2"),
        pytest.param(36.72808381606642, 1.0, 1186.8812081967935, id="A8-free-area-36p7281-w1"),
        pytest.param(36.72808381606642, 3.6576, 668.1215102593229, id="A8-free-area-36p7281-w3p6576"),
        pytest.param(20.0, 2.0, 197.14823979782574, id="A8-free-area-20-w2"),
        pytest.param(100.0, 3.66, 8347.317441349061, id="A8-free-area-100-w3p66"),
        pytest.param(29.412883816066422, 3.6576, 299.7205737196732, id="A8-free-area-29p4129-w3p6576"),
        pytest.param(10.0, 1.0, 49.287059949456435, id="A8-free-area-10-w1"),
    ],
)
def test_free_ground_at_everyday_tolerance(side_m: float, w_m: float, expected: float) -> None:
    loop = square(side_m)
    found = zones([loop], Receiver(w_m, 0.0), inside=Polygon(loop.coordinates)).roam
    assert found.area == pytest.approx(expected, abs=1e-3 * found.length)


@pytest.mark.parametrize(
    ("side_m", "w_m", "expected"),
    [
        pytest.param(36.72808381606642, 3.66, 1766.5054921252856, id="A8-outer-area-36p7281-w3p66"),
        pytest.param(36.72808381606642, 2.0, 1597.046911364166, id="A8-outer-area-36p7281-w2"),
        pytest.param(36.72808381606642, 1.0, 1481.5306455574664, id="A8-outer-area-36p7281-w1"),
        pytest.param(36.72808381606642, 3.6576, 1766.2756064603846, id="A8-outer-area-36p7281-w3p6576"),
        pytest.param(20.0, 2.0, 524.1792245923341, id="A8-outer-area-20-w2"),
        pytest.param(100.0, 3.66, 11288.618283610243, id="A8-outer-area-100-w3p66"),
        pytest.param(29.412883816066422, 3.6576, 1187.032656935807, id="A8-outer-area-29p4129-w3p6576"),
        pytest.param(10.0, 1.0, 131.04480614808352, id="A8-outer-area-10-w1"),
    ],
)
def test_ground_inside_the_outer_contour(side_m: float, w_m: float, expected: float) -> None:
    (signal,) = field_zones([square(side_m)], Receiver(w_m, 0.0), levels=[1.0], tolerance_m=FINE_M)
    assert Polygon(signal.geoms[0].exterior).area == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_area_of_any_zone_by_counting_points(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, 9))
    loop = CurrentLoop(np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(8.0, 20.0, (9, 1)))
    receiver = Receiver(rng.uniform(1.0, 3.0), 0.3)
    signal, core = field_zones([loop], receiver, levels=[1.0, receiver.core_level])
    low, high = np.array(signal.bounds[:2]) - 1.0, np.array(signal.bounds[2:]) + 1.0
    points = rng.uniform(low, high, (200_000, 2))
    field = normalised_field(points, [loop], receiver=receiver)
    for zone, level in ((signal, 1.0), (core, receiver.core_level)):
        share = float((field >= level).mean())
        error = 4.0 * np.sqrt(share * (1.0 - share) / len(points))
        assert zone.area / np.prod(high - low) == pytest.approx(share, abs=error)
        shapely.prepare(zone)
        wrong = shapely.contains_xy(zone, *points.T) != (field >= level)
        assert shapely.distance(zone.boundary, shapely.points(points[wrong])).max(initial=0.0) < 1e-3
