"""Lot lines: a smallest site that breaks each rule and one that just holds, measured from first principles."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon, box

from parcelfence.settings import Settings
from tests.rules import sites

SETTINGS = Settings(reach_m=2.0, lot_line_setback_m=2.3)


def _loop_at(distance_m: float) -> sites.Loop:
    """Straight loop at one distance from all four lot lines, its corners rounded."""
    return sites.loop_of(sites.loop_run(sites.rounded(box(distance_m, distance_m, 60 - distance_m, 40 - distance_m))))


def test_wire_at_the_setback_holds() -> None:
    loop = _loop_at(2.3)
    assert loop.runs[0].line.distance(sites.PARCEL.exterior) == pytest.approx(2.3)
    assert not sites.found("lot-line-wire", sites.draft(loop=loop, settings=SETTINGS))


def test_wire_nearer_than_the_setback_is_told_with_its_distance() -> None:
    loop = _loop_at(2.2)
    (conflict,) = sites.found("lot-line-wire", sites.draft(loop=loop, settings=SETTINGS))
    assert conflict.severity == "must_fix"
    assert conflict.measured == pytest.approx(loop.runs[0].line.distance(sites.PARCEL.exterior), abs=1e-9)
    assert conflict.limit == 2.3
    assert "2.20 m" in conflict.message
    assert "2.30 m" in conflict.message


def test_a_bulge_is_one_stretch_between_its_stations() -> None:
    """From x = 30 to 40 the wire is 1 m too near; stations are counted from (10, 2.3) to the east."""
    outline = Polygon([(10, 2.3), (30, 2.3), (30, 1.3), (40, 1.3), (40, 2.3), (50, 2.3), (50, 30), (10, 30)])
    (conflict,) = sites.found(
        "lot-line-wire", sites.draft(loop=sites.loop_of(sites.loop_run(outline)), settings=SETTINGS)
    )
    assert conflict.measured == pytest.approx(1.3)
    west, _, east, _ = conflict.geometry.bounds
    assert (west, east) == pytest.approx((30.0, 40.0), abs=0.5)
    assert 20.0 <= conflict.station_m <= 32.0


def test_a_stretch_over_the_start_of_the_run_is_one() -> None:
    outline = Polygon([(30, 1.3), (40, 1.3), (40, 2.3), (50, 2.3), (50, 30), (10, 30), (10, 2.3), (20, 2.3), (20, 1.3)])
    run = sites.loop_run(outline, line=sites.ring(outline, start=(30, 1.3)))
    (conflict,) = sites.found("lot-line-wire", sites.draft(loop=sites.loop_of(run), settings=SETTINGS))
    west, _, east, _ = conflict.geometry.bounds
    assert (west, east) == pytest.approx((20.0, 40.0), abs=0.5)


def test_wire_outside_the_property_has_a_negative_distance() -> None:
    outline = Polygon([(10, 5), (50, 5), (50, 30), (65, 30), (65, 35), (10, 35)])
    conflicts = sites.found(
        "lot-line-wire", sites.draft(loop=sites.loop_of(sites.loop_run(outline)), settings=SETTINGS)
    )
    assert min(conflict.measured for conflict in conflicts) == pytest.approx(-5.0)
    assert any("outside the property" in conflict.message for conflict in conflicts)


def test_the_lead_in_needs_no_setback_but_must_stay_on_the_property() -> None:
    loop = _loop_at(2.3).runs
    along = sites.lead_in((10, 0.5), (20, 0.5), (20, 2.3))
    assert not sites.found("lot-line-wire", sites.draft(loop=sites.loop_of(*loop, along), settings=SETTINGS))
    outside = sites.lead_in((10, -1.5), (20, 2.3))
    (conflict,) = sites.found("lot-line-wire", sites.draft(loop=sites.loop_of(*loop, outside), settings=SETTINGS))
    assert conflict.measured == pytest.approx(-1.5, abs=1e-6)


def test_signal_within_the_property_holds() -> None:
    draft = sites.draft(loop=_loop_at(2.3), settings=SETTINGS)
    assert sites.PARCEL.covers(draft.zones.signal)
    assert not sites.found("lot-line-signal", draft)


def test_signal_over_the_lot_line_is_told_with_its_depth() -> None:
    """One long side 0.5 m from the lot line: the depth follows from the field of four straight wires."""
    loop = sites.loop_of(sites.loop_run(box(5, 0.5, 55, 35)))
    draft = sites.draft(loop=loop, settings=SETTINGS)
    (conflict,) = sites.found("lot-line-signal", draft)
    furthest = max(_reach_south(loop, x=x) for x in np.linspace(20.0, 40.0, 21))
    assert conflict.measured == pytest.approx(furthest - 0.5, abs=2e-3)
    assert conflict.measured == pytest.approx(-shapely.get_coordinates(draft.zones.signal)[:, 1].min(), abs=1e-9)
    assert conflict.severity == "must_fix"


def _reach_south(loop: sites.Loop, *, x: float) -> float:
    """Where the field of the rectangle's sides falls to the threshold, south of its south side (Biot and Savart)."""
    ends = np.array(loop.runs[0].line.coords)
    height, slant = 0.3, np.hypot(2.0, 0.3)

    def field(y: float) -> float:
        total = np.zeros(3)
        point = np.array([x, y, height])
        for a, b in pairwise(ends):
            ra, rb = point - [*a, 0.0], point - [*b, 0.0]
            la, lb = np.linalg.norm(ra), np.linalg.norm(rb)
            total += (la + lb) / (la * lb * (la * lb + ra @ rb)) * np.cross(ra, rb)
        return float(np.linalg.norm(total) / 2 * slant)

    low, high = -6.0, 0.4
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if field(middle) > 1 else (middle, high)
    return 0.5 - low


def test_the_neighbour_who_gets_the_signal_is_named() -> None:
    place = sites.site(neighbours=(sites.feature(box(0, -20, 60, 0), id="lot 8"),))
    draft = sites.draft(place, sites.loop_of(sites.loop_run(box(5, 0.5, 55, 35))), settings=SETTINGS)
    (conflict,) = sites.found("lot-line-signal", draft)
    assert (conflict.layer, conflict.feature) == ("neighbours", "lot 8")


def test_lengths_are_told_in_the_units_of_the_person() -> None:
    settings = SETTINGS.replaced(units="us", station_format="us")
    (conflict,) = sites.found("lot-line-wire", sites.draft(loop=_loop_at(2.2), settings=settings))
    assert "7.2 ft" in conflict.message
    assert "7.5 ft" in conflict.message


def test_signal_over_a_corner_that_juts_into_the_property_is_measured_between_its_ends() -> None:
    """The edge of the signal runs straight across the neighbour's corner, without a vertex on it."""
    lot = Polygon([(0, 0), (28, 0), (30, 1.6), (32, 0), (60, 0), (60, 40), (0, 40)])
    loop = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
    draft = sites.draft(sites.site(parcel=lot), loop, settings=Settings(reach_m=2.0))
    (conflict,) = sites.found("lot-line-signal", draft)
    edge_y = float(shapely.bounds(LineString([(30, -3), (30, 3)]).intersection(draft.zones.signal))[1])
    assert conflict.measured == pytest.approx((1.6 - edge_y) * np.cos(np.arctan2(1.6, 2)), abs=0.06)
