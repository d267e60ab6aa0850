"""The material list, and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from shapely import LineString, Point

from parcelfence.layout.crossing import Crossing
from parcelfence.settings import Settings
from parcelfence.takeoff.leg import Leg, Sequence, Splice
from parcelfence.takeoff.materials import materials, spool_remark
from parcelfence.takeoff.pricing import priced
from parcelfence.takeoff.sequence import conductor_per_metre
from parcelfence.takeoff.take_off import TakeOff

if TYPE_CHECKING:
    from parcelfence.takeoff.materials import Material


def leg(number: int, length_m: float, *, twisted: bool, before_m: float, settings: Settings, spool: int = 1) -> Leg:
    conductor_m = length_m * conductor_per_metre(settings, twisted=twisted)
    return Leg(
        leg=number,
        part="lead_in" if twisted else "loop",
        loop_id="T1" if twisted else "L1",
        start="",
        end="",
        line=LineString([(0, 0), (length_m, 0)]),
        start_station_m=0.0,
        ground_length_m=length_m,
        conductor_length_m=conductor_m,
        running_total_m=before_m + conductor_m,
        twisted=twisted,
        spool=spool,
    )


def wired(*, loop_m: float, lead_in_m: float, settings: Settings, spools: int = 1) -> Sequence:
    """Lead-in and loop, with their splice."""
    first = leg(1, lead_in_m, twisted=True, before_m=0.0, settings=settings)
    second = leg(2, loop_m, twisted=False, before_m=first.running_total_m, settings=settings, spool=spools)
    splice = Splice(id="S1", point=Point(0, 0), loop_id="L1", station_m=0.0, note="", joints=2)
    return Sequence(legs=(first, second), splices=(splice,))


def drive(length_m: float) -> Crossing:
    return Crossing(
        crosses="d", layer="hardscape", kind="drive", point=Point(0, 0), angle_deg=float("nan"), station_m=0.0,
        loop_id="L1", twisted=False, length_m=length_m,
    )  # fmt: skip


def counted(
    settings: Settings | None = None, *, prices: dict[str, float] | None = None, **changes: Any
) -> dict[str, Material]:
    settings = settings or Settings()
    given: dict[str, Any] = {"crossings": (drive(3.0), drive(4.0)), "flags": 41} | changes
    sequence = wired(loop_m=100.0, lead_in_m=10.0, settings=settings)
    crossings, flags = given["crossings"], given["flags"]
    rows = materials(sequence, settings=settings, crossings=crossings, flags=flags)
    bare = TakeOff(sequence=sequence, flags=(), stations=(), materials=rows, trench_m_by_surface=())
    rows = priced(bare, crossings=crossings, prices=prices).materials
    return {row.item: row for row in rows}


def test_wire_by_kind_adds_up_to_the_sequence() -> None:
    settings = Settings(slack_percent=3)
    rows = counted(settings)
    single, pair = rows["single wire, 18 AWG"], rows["twisted pair, 2 x 18 AWG"]
    assert single.quantity == pytest.approx(103)
    assert pair.quantity == pytest.approx(10.3)
    per_pair = conductor_per_metre(settings, twisted=True) / 1.03
    total_m = wired(loop_m=100.0, lead_in_m=10.0, settings=settings).conductor_length_m
    assert single.quantity + per_pair * pair.quantity == pytest.approx(total_m)


def test_pieces_and_spare() -> None:
    rows = counted(Settings(spare_percent=10))
    assert (rows["joints of two wire ends"].quantity, rows["waterproof caps"].quantity) == (2, 2)
    assert (rows["waterproof caps"].with_spare, rows["flags"].with_spare) == (3, 46)
    assert rows["single wire, 18 AWG"].with_spare == pytest.approx(102 * 1.1)


def test_conduit_stands_out_of_the_surface_and_the_cut_does_not() -> None:
    rows = counted(Settings(spare_percent=0))
    assert rows["conduit"].quantity == pytest.approx(3 + 4 + 4 * 0.3)
    assert rows["saw cut"].quantity == pytest.approx(7)
    assert not {"conduit", "saw cut"} & counted(crossings=()).keys()


def test_the_spare_may_need_another_spool() -> None:
    rows = counted(Settings(spool_length_m=125, spare_percent=0))
    assert (rows["spools of 125 m"].quantity, rows["spools of 125 m"].with_spare) == (1, 1)
    rows = counted(Settings(spool_length_m=125, spare_percent=10))
    assert (rows["spools of 125 m"].quantity, rows["spools of 125 m"].with_spare) == (1, 2)


def test_prices_make_costs_of_what_is_bought() -> None:
    rows = counted(Settings(spare_percent=10), prices={"spool": 40, "flag": 0.5, "conduit_per_ft": 1.0})
    assert rows["spools of 152 m"].cost == 40
    assert rows["flags"].cost == 23
    assert rows["conduit"].cost == pytest.approx(8.2 * 1.1 / 0.3048)
    assert rows["waterproof caps"].cost is None
    assert all(row.cost is None for row in counted().values())


def test_the_remark_tells_whether_the_spools_suffice() -> None:
    settings = Settings(spool_length_m=100, slack_percent=0)
    enough = spool_remark(wired(loop_m=90.0, lead_in_m=4.0, settings=settings), settings)
    assert enough.startswith("One spool of 100 m leaves 10.0 m beyond the loops for lead-in and slack: under 4.8 m of")
    assert enough.endswith("It is enough: this plan takes 8.3 m for them.")
    short = spool_remark(wired(loop_m=190.0, lead_in_m=10.0, settings=settings, spools=3), settings)
    assert short.startswith("Two spools of 100 m leave 10.0 m")
    assert short.endswith("It is not enough: this plan takes 20.9 m for them, so that three spools are opened.")


def test_without_a_loop_nothing_is_remarked() -> None:
    assert not spool_remark(Sequence(legs=(), splices=()), Settings())
