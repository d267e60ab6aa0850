"""The transmitter: metal, dry place, lead-ins that reach every loop."""

from __future__ import annotations

import pytest
from shapely import Point, box

from parcelfence.settings import Settings
from tests.rules import sites

RUN = sites.loop_run(sites.rounded(box(3, 3, 57, 37)))
HOUSE = sites.feature(box(25, 15, 35, 25), id="house")
AT_WALL = Point(25, 20)
PAIR = sites.lead_in((25, 20), (3, 20))


def _found(rule: str, *runs: sites.Run, at: Point | None = AT_WALL, **changes: object) -> tuple[sites.Conflict, ...]:
    place = sites.site(**({"buildings": (HOUSE,)} | changes))
    loop = sites.loop_of(*(runs or (RUN, PAIR)), transmitter=at)
    return sites.found(rule, sites.draft(place, loop, settings=Settings(transmitter_metal_clearance_m=0.9)))


@pytest.mark.parametrize(("gap_m", "count"), [(0.9, 0), (0.85, 1)])
def test_metal_at_the_clearance_holds(gap_m: float, count: int) -> None:
    tank = sites.feature(Point(25 - gap_m - 1, 20).buffer(1, quad_segs=64), id="tank", kind="tank")
    found = _found("transmitter-metal", metal=(tank,))
    assert len(found) == count
    for conflict in found:
        assert conflict.measured == pytest.approx(AT_WALL.distance(tank.geometry))
        assert conflict.limit == 0.9


def test_a_transmitter_at_a_wall_holds() -> None:
    assert not _found("transmitter-place")


def test_an_unknown_place_is_noted() -> None:
    (conflict,) = _found("transmitter-place", at=None)
    assert conflict.severity == "note"


@pytest.mark.parametrize(("gap_m", "count"), [(0.5, 0), (0.6, 1)])
def test_half_a_metre_from_the_wall_is_at_the_building(gap_m: float, count: int) -> None:
    found = _found("transmitter-place", at=Point(25 - gap_m, 20))
    assert [conflict.measured for conflict in found] == pytest.approx([gap_m] * count)


def test_outside_the_property_must_be_fixed() -> None:
    found = _found("transmitter-place", at=Point(-4, 20))
    assert [conflict.severity for conflict in found] == ["must_fix", "caution"]
    assert found[0].measured == pytest.approx(4.0)
