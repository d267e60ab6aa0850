"""Surroundings: other loops, easements, water, roads, keep-outs, hard surfaces."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from parcelfence.settings import Settings
from tests.rules import sites

SETTINGS = Settings(reach_m=2.0, water_clearance_m=1.0, road_clearance_m=0.5, keep_out_clearance_m=0.3)
LOOP = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
"""South side at y = 3."""


def _found(rule: str, *, loop: sites.Loop = LOOP, **changes: object) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(sites.site(**changes), loop, settings=SETTINGS))


def test_a_neighbours_wire_a_reach_beyond_the_signal_holds() -> None:
    signal = sites.draft(loop=LOOP, settings=SETTINGS).zones.signal
    south = float(shapely.bounds(signal)[1])
    for gap_m, holds in ((2.05, True), (1.9, False)):
        line = LineString([(10, south - gap_m), (50, south - gap_m)])
        found = _found("neighbour-signal", other_loops=(sites.feature(line, id="next door"),))
        assert bool(found) is not holds
        for conflict in found:
            assert conflict.measured == pytest.approx(gap_m, abs=5e-3)
            assert conflict.feature == "next door"


def test_wire_outside_an_easement_holds_also_along_its_edge() -> None:
    strip = sites.feature(box(0, 0, 60, 3), id="E1")
    assert not _found("easement-wire", easements=(strip,))
    (conflict,) = _found("easement-wire", easements=(sites.feature(box(0, 0, 60, 3.1), id="E1"),))
    assert conflict.layer == "easements"
    assert conflict.geometry.length == pytest.approx(LOOP.runs[0].line.intersection(box(0, 0, 60, 3.1)).length)


def test_an_easement_across_the_loop_gives_a_row_for_each_crossing() -> None:
    found = _found("easement-wire", easements=(sites.feature(box(20, -5, 24, 45)),))
    assert len(found) == 2
    assert [conflict.geometry.length for conflict in found] == pytest.approx([4.0, 4.0])
    assert found[0].station_m == pytest.approx(LOOP.runs[0].line.project(Point(22, 37)))


@pytest.mark.parametrize(
    ("rule", "layer", "clearance_m"),
    [("water-wire", "water", 1.0), ("road-wire", "roads", 0.5), ("keep-out-wire", "keep_outs", 0.3)],
)
def test_clearances_hold_to_the_centimetre(rule: str, layer: str, clearance_m: float) -> None:
    for short_m, severity in ((0.0, None), (0.05, "caution")):
        south = sites.feature(box(10, -4, 50, 3 - clearance_m + short_m), id="X")
        found = _found(rule, **{layer: (south,)})
        assert [conflict.severity for conflict in found] == ([severity] if severity else [])
        for conflict in found:
            assert conflict.measured == pytest.approx(LOOP.runs[0].line.distance(south.geometry))
            assert conflict.limit == clearance_m


@pytest.mark.parametrize(("rule", "layer"), [("water-wire", "water"), ("road-wire", "roads")])
def test_wire_in_water_or_road_must_be_fixed(rule: str, layer: str) -> None:
    (conflict,) = _found(rule, **{layer: (sites.feature(Point(30, 3).buffer(4), id="X"),)})
    assert conflict.severity == "must_fix"
    assert conflict.measured == 0


def test_a_road_may_be_a_centre_line() -> None:
    assert len(_found("road-wire", roads=(sites.feature(LineString([(10, 2.7), (50, 2.7)])),))) == 1


def test_a_keep_out_with_its_own_loop_is_closed_and_one_without_is_open() -> None:
    pool = sites.feature(box(25, 15, 35, 25), id="pool")
    (conflict,) = _found("keep-out-open", keep_outs=(pool,))
    assert conflict.measured == pytest.approx(100.0)
    inner = sites.loop_run(sites.rounded(box(24.5, 14.5, 35.5, 25.5)), "K1", part="inner_loop", current=-1.0)
    assert not _found("keep-out-open", keep_outs=(pool,), loop=sites.loop_of(*LOOP.runs, inner))


def test_cuts_through_hard_surfaces_are_measured() -> None:
    drive = sites.feature(box(20, -5, 23.7, 20), id="drive", kind="drive")
    (conflict,) = _found("hardscape-cut", hardscape=(drive,))
    assert conflict.measured == pytest.approx(3.7)
    assert conflict.severity == "note"
    west, _, east, _ = LOOP.runs[0].line.intersection(drive.geometry).bounds
    assert (west, east) == pytest.approx((20.0, 23.7))
    assert not _found("hardscape-cut", hardscape=(sites.feature(box(20, 10, 24, 20)),))


def test_many_features_keep_apart_what_belongs_to_which() -> None:
    ponds = [sites.feature(Point(x, 3).buffer(1), id=f"P{x}") for x in range(10, 51, 10)]
    found = _found("water-wire", water=tuple(ponds))
    assert [conflict.feature for conflict in found] == [pond.id for pond in ponds]
    stations = [LOOP.runs[0].line.project(Point(int(conflict.feature[1:]), 3)) for conflict in found]
    assert np.allclose([conflict.station_m for conflict in found], stations, atol=1.3)


@pytest.mark.parametrize(
    ("rule", "layer", "severity"),
    [
        ("no-dig-wire", "no_dig", "must_fix"),
        ("watercourse-crossing", "watercourses", "caution"),
        ("tree-roots", "trees", "note"),
    ],
)
def test_the_length_of_wire_in_ground_with_a_price_is_told(rule: str, layer: str, severity: str) -> None:
    strip = sites.feature(box(20, -5, 24, 10), id="X")
    (conflict,) = _found(rule, **{layer: (strip,)})
    assert (conflict.severity, conflict.layer, conflict.feature) == (severity, layer, "X")
    assert conflict.measured == pytest.approx(4.0)
    assert conflict.station_m == pytest.approx(LOOP.runs[0].line.project(Point(22, 3)))
    assert not _found(rule, **{layer: (sites.feature(box(20, -5, 24, 2.9)),)})


def test_a_cut_pool_surround_is_a_caution_that_defers_to_an_electrician() -> None:
    (conflict,) = _found("hardscape-cut", hardscape=(sites.feature(box(20, 0, 24, 10), kind="pool surround"),))
    assert conflict.severity == "caution"
    assert "licensed electrician" in conflict.remedy
