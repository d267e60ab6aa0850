from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.field.retreat import retreat

RECEIVER = Receiver(reach_m=2.0)
SETBACK_M = 2.3


def test_a_long_straight_side_needs_no_retreat() -> None:
    lot = Polygon([(0, 0), (200, 0), (200, 200), (0, 200)])
    wire = CurrentLoop.from_line(lot.buffer(-SETBACK_M).exterior)
    assert retreat(lot.boundary, [wire], receiver=RECEIVER) is None


def test_a_wire_round_a_neighbours_corner_gives_up_ground_there_alone() -> None:
    """At a reflex corner the field is that of cot(a/4) w from the vertex, more than the setback allows for."""
    lot = Polygon([(0, 0), (60, 0), (60, 60), (30, 60), (30, 30), (0, 30)])
    corner = shapely.Point(30, 30)
    wire = CurrentLoop.from_line(lot.buffer(-SETBACK_M, join_style="mitre").exterior)
    given_up = retreat(lot.boundary, [wire], receiver=RECEIVER)
    assert given_up is not None
    assert given_up.distance(corner) == pytest.approx(0)
    assert given_up.bounds[0] > 20
    assert given_up.bounds[1] > 20


def test_giving_up_the_ground_brings_the_signal_back() -> None:
    lot = Polygon([(0, 0), (60, 0), (60, 60), (30, 60), (30, 30), (0, 30)])
    region, withheld = lot.buffer(-SETBACK_M), shapely.Polygon()
    for _ in range(6):
        wire = CurrentLoop.from_line(region.difference(withheld).buffer(-1).buffer(1).exterior)
        given_up = retreat(lot.boundary, [wire], receiver=RECEIVER)
        if given_up is None:
            break
        withheld = withheld.union(given_up)
    points = shapely.get_coordinates(shapely.segmentize(LineString(lot.exterior.coords), 0.1))
    assert float(np.max(normalised_field(points, [wire], receiver=RECEIVER))) < 1.02
