"""The take-off: trench, hours and cost of a small wire."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, box

from parcelfence.errors import SettingsError
from parcelfence.inputs.source import ElevationSource
from parcelfence.layout.crossing import crossings
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.reading import on_terrain
from parcelfence.site.site import Site
from parcelfence.takeoff.flags import Flag
from parcelfence.takeoff.pricing import priced
from parcelfence.takeoff.sequence import sequence
from parcelfence.takeoff.take_off import TakeOff, take_off
from parcelfence.takeoff.trench import trenches
from tests.rasters import plane, raster

if TYPE_CHECKING:
    from pathlib import Path

HOUSE = Point(20, 20)
OUTER = Run(
    part="loop",
    loop_id="L1",
    line=LineString([(40, 20), (40, 40), (0, 40), (0, 0), (40, 0), (40, 20)]),
    current=1.0,
)
FEED = Run(part="lead_in", loop_id="T1", line=LineString([(20, 20), (40, 20)]), current=0.0)


def surface(kind: str, x: float, width_m: float) -> Feature:
    return Feature(id=kind, kind=kind, source_id="h", geometry=box(x, -5, x + width_m, 5))


def site(*hardscape: Feature, utilities: tuple[Utility, ...] = ()) -> Site:
    return Site(
        name="test",
        parcel_id="1",
        parcel=box(-10, -10, 50, 50),
        frame=LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326)),
        provenance=Provenance(inputs=()),
        hardscape=hardscape,
        utilities=utilities,
    )


def loop(*runs: Run) -> Loop:
    return Loop(runs=runs, transmitter=Transmitter(point=HOUSE, given=True, note=""), allowed=MultiPolygon())


GAS = Utility(
    id="g",
    kind="gas",
    source_id="m",
    geometry=LineString([(-5, 30), (5, 30)]),
    apwa_color="yellow",
    tolerance_m=0.5,
)


def counted(place: Site | None = None, **given: Any) -> TakeOff:
    place, layout, settings = place or site(), loop(OUTER, FEED), Settings(slack_percent=0)
    flags = tuple(
        Flag(flag=number, point=HOUSE, loop_id="L1", station_m=0.0, removal_round=1) for number in range(1, 51)
    )
    crossed = crossings(layout, place, settings=settings)
    found = take_off(
        layout,
        place,
        settings=settings,
        sequence=sequence(layout, place, settings=settings, crossings=crossed),
        crossings=crossed,
        flags=flags,
        stations=(),
    )
    return priced(found, crossings=crossed, **given)


def test_trench_by_surface() -> None:
    place = site(surface("patio", 10, 4), surface("drive", 20, 3), utilities=(GAS,))
    found = trenches(loop(OUTER, FEED), place, settings=Settings())
    assert [name for name, _ in found] == ["soil", "soil, by hand in tolerance zones", "drive", "patio"]
    assert dict(found)["drive"] == pytest.approx(3)
    assert dict(found)["patio"] == pytest.approx(4)
    assert dict(found)["soil, by hand in tolerance zones"] == pytest.approx(1.0)
    assert sum(length_m for _, length_m in found) == pytest.approx(160 + 20)


def test_overlapping_surfaces_count_once() -> None:
    found = dict(trenches(loop(OUTER), site(surface("a", 10, 4), surface("b", 12, 4)), settings=Settings()))
    assert (found["a"], found["b"]) == (pytest.approx(4), pytest.approx(2))
    assert sum(found.values()) == pytest.approx(160)


def test_a_shared_trench_is_dug_once() -> None:
    other = Run(part="lead_in", loop_id="T2", line=LineString([(20, 20), (30, 20), (30, 26)]), current=0.0)
    assert dict(trenches(loop(OUTER, FEED, other), site(), settings=Settings())) == {
        "soil": pytest.approx(160 + 20 + 6)
    }


def test_without_prices_and_rates_nothing_is_made_up() -> None:
    found = counted()
    assert (found.hours, found.cost) == (None, None)
    assert len(found.remarks) == 1


def test_hours_by_the_given_rates() -> None:
    crew = {"trench_m_per_hour": 50.0, "flags_per_hour": 100.0, "setup_hours": 2.0, "crossing_hours": 0.25}
    found = counted(site(surface("drive", 20, 3), utilities=(GAS,)), crew=crew)
    assert found.hours == pytest.approx((160 + 20 - 3) / 50 + 0.5 + 2 + 0.25)
    assert found.cost is None
    assert found.remarks[1] == (
        "Hours cover only what a crew rate was given for: trench in soil, setting flags, crossings of utilities, "
        "coming, setting up, testing."
    )


def test_digging_by_hand_has_its_own_rate() -> None:
    quick = counted(site(utilities=(GAS,)), crew={"trench_m_per_hour": 50.0})
    careful = counted(site(utilities=(GAS,)), crew={"trench_m_per_hour": 50.0, "hand_dig_m_per_hour": 2.0})
    assert quick.hours == pytest.approx(180 / 50)
    assert careful.hours == pytest.approx(179 / 50 + 1 / 2)


def test_the_cost_is_that_of_items_and_hours() -> None:
    found = counted(prices={"flag": 0.5, "cap": 1.0}, crew={"flags_per_hour": 25.0, "hourly_rate": 60.0})
    caps = next(item for item in found.materials if item.item == "waterproof caps")
    assert caps.quantity == found.sequence.joints
    assert found.cost == pytest.approx(55 * 0.5 + caps.with_spare + 2 * 60)
    assert found.remarks[-1] == "The cost covers only: waterproof caps, flags, labour."


def test_an_hourly_rate_alone_costs_nothing() -> None:
    assert counted(crew={"hourly_rate": 60.0}).cost is None


def test_unknown_names_are_refused() -> None:
    with pytest.raises(SettingsError, match="there is no entry 'gold'"):
        counted(prices={"gold": 1.0})


def test_on_a_slope_trench_and_wire_are_as_long_as_the_ground(tmp_path: Path) -> None:
    path = raster(tmp_path / "dem.tif", plane(0.75, at=(0, 0)), area=box(-60, -60, 100, 100))
    place = site(surface("drive", 20, 3), utilities=(GAS,))
    found = counted(on_terrain(place, ElevationSource(path=path)))
    trench_m = dict(found.trench_m_by_surface)
    assert trench_m["drive"] == pytest.approx(3 * 1.25)
    assert trench_m["soil, by hand in tolerance zones"] == pytest.approx(
        1.0
    )  # level: the gas main is crossed northwards
    assert sum(trench_m.values()) == pytest.approx((80 + 20) * 1.25 + 80)
    assert sum(leg.ground_length_m for leg in found.sequence.legs) == pytest.approx((80 + 20) * 1.25 + 80)
    assert found.remarks[0] == (
        "Lengths of wire and trench are along the ground by the elevations of dem.tif, the wire 25.0 m (13.9%) longer "
        "than on the plan. Stations are those of the plan."
    )


def test_wire_where_no_elevation_is_known_is_said(tmp_path: Path) -> None:
    path = raster(
        tmp_path / "dem.tif",
        lambda x, _: np.where(x > 25, -9999.0, 100.0),
        area=box(-60, -60, 100, 100),
        nodata=-9999.0,
    )
    found = counted(on_terrain(site(), ElevationSource(path=path)))
    words = re.search(r"([\d.]+) m of wire lie where no elevation is known, and are taken as flat", found.remarks[0])
    assert words
    assert float(words[1]) == pytest.approx(40 + 3 * 15, abs=3)  # a side, and the ends of two others and of the lead-in
