"""What was taped from a wire becomes points, and the reach of a lone wire becomes what is seen beside a loop."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, box

from parcelfence.errors import InputError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.setting import reach_for_wanted
from parcelfence.inputs.walk_file import WalkedStations
from parcelfence.inputs.walk_stations import Side, WalkedStation
from parcelfence.layout.laid import LaidLoop
from parcelfence.service.walk_test import points_beside, reach_seen_m

OUTER = LaidLoop(loop_id="L1", inner=False, line=LineString([(0, 0), (60, 0), (60, 40), (0, 40), (0, 0)]))
INNER = LaidLoop(loop_id="K1", inner=True, line=LineString([(20, 10), (20, 20), (30, 20), (30, 10), (20, 10)]))


def beside(station_m: float, side: Side = "", *, loop_id: str = "L1", laid: LaidLoop = OUTER) -> list[float]:
    station = WalkedStation(name="", line=2, station_m=station_m, distance_m=2.0, side=side, loop_id=loop_id)
    walk = WalkedStations(name="walk.csv", stations=(station,))
    found: list[float] = points_beside(walk, planned=(OUTER, INNER), laid=(laid, INNER))[0].tolist()
    return found


@pytest.mark.parametrize(
    ("station_m", "side", "loop_id", "point"),
    [
        (30.0, "inside", "L1", (30.0, 2.0)),
        (30.0, "outside", "L1", (30.0, -2.0)),
        (30.0, "", "L1", (30.0, 2.0)),
        (80.0, "inside", "l1", (58.0, 20.0)),
        (5.0, "inside", "K1", (22.0, 15.0)),
        (5.0, "outside", "K1", (18.0, 15.0)),
        (5.0, "", "K1", (18.0, 15.0)),
        (200.2, "outside", "L1", (0.0, -2.0)),
    ],
)
def test_a_distance_goes_square_to_the_wire(
    station_m: float, side: Side, loop_id: str, point: tuple[float, float]
) -> None:
    assert beside(station_m, side, loop_id=loop_id) == pytest.approx(point)


def test_a_station_of_the_plan_is_taped_from_the_wire_as_laid() -> None:
    laid = LaidLoop(loop_id="x", inner=False, line=LineString(box(0, 1, 60, 40).exterior.coords))
    assert beside(30.0, "inside", laid=laid) == pytest.approx((30.0, 3.0))


def test_every_station_that_is_on_no_loop_is_told() -> None:
    rows = tuple(
        WalkedStation(name="", line=line, station_m=station_m, distance_m=2.0, loop_id=loop_id)
        for line, station_m, loop_id in ((2, 5.0, ""), (3, 5.0, "M"), (4, 41.0, "K1"), (5, 5.0, "K1"))
    )
    with pytest.raises(InputError) as caught:
        points_beside(WalkedStations(name="walk.csv", stations=rows), planned=(OUTER, INNER), laid=(OUTER, INNER))
    assert [fault.feature for fault in caught.value.faults] == ["line 2", "line 3", "line 4"]


@pytest.mark.parametrize("seen_from", ["inside", "outside"])
@pytest.mark.parametrize("wanted_m", [1.0, 2.4, 3.6])
def test_the_reach_that_is_seen_is_the_one_that_was_wanted(seen_from: str, wanted_m: float) -> None:
    loops = [CurrentLoop.from_line(OUTER.line), CurrentLoop.from_line(INNER.line)]
    reach_m = reach_for_wanted(loops, wanted_m, seen_from=seen_from)
    found = reach_seen_m(loops, receiver=Receiver(reach_m, 0.3), seen_from=seen_from)
    assert found == pytest.approx(wanted_m, abs=1e-3)


def test_a_lone_straight_wire_needs_no_conversion() -> None:
    assert reach_seen_m([CurrentLoop.from_line(OUTER.line)], receiver=Receiver(2.0), seen_from="straight") == 2.0


def test_a_small_loop_may_fill_its_inside() -> None:
    ring = CurrentLoop(np.array([(0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (0.0, 6.0)]))
    found = reach_seen_m([ring], receiver=Receiver(5.0), seen_from="inside")
    assert found is None or found > 6.0
