from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely import LineString, Point, Polygon, affinity, box

from parcelfence import planning
from parcelfence.errors import NoLoopError
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import normalised_field
from parcelfence.planning import assess, plan
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site
from tests.sample import sample_plan, sample_project, sample_site

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

YARD = Polygon([(0, 0), (62, -4), (70, 35), (38, 52), (30, 34), (2, 40)])
HOUSE = Polygon([(20, 12), (34, 12), (34, 20), (20, 20)])
FRAME = LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326))


def site(yard: Polygon = YARD, house: Polygon = HOUSE) -> Site:
    building = Feature(id="house", kind="building", source_id="b#1", geometry=house)
    return Site(
        name="Yard",
        parcel_id="1",
        parcel=yard,
        frame=FRAME,
        provenance=Provenance(inputs=()),
        buildings=(building,),
    )


def outer(finished: Plan) -> Polygon:
    return Polygon(finished.loop.of_part("loop")[0].line)


def test_the_sample_has_nothing_that_must_be_fixed() -> None:
    assert [conflict for conflict in sample_plan().conflicts if conflict.severity == "must_fix"] == []


def test_the_loop_keeps_the_setback_and_encloses_nearly_all_that_is_allowed() -> None:
    finished = sample_plan()
    loops = shapely.MultiLineString([run.line for run in finished.loop.signal_runs])
    setback_m = sample_project().settings.lot_line_setback_m
    assert loops.distance(sample_site().parcel.boundary) >= setback_m - 1e-6
    assert sample_site().parcel.covers(loops)
    assert finished.loop.enclosed.area >= 0.97 * finished.loop.allowed.area


def test_the_signal_stays_on_the_property() -> None:
    finished = sample_plan()
    assert finished.zones.signal.difference(sample_site().parcel.buffer(0.01)).is_empty


def test_the_roam_area_is_enclosed_and_silent() -> None:
    finished = sample_plan()
    signal = [CurrentLoop.from_line(run.line, run.current) for run in finished.loop.signal_runs]
    settings = finished.settings
    receiver = Receiver(settings.reach_m, settings.height_above_wire_m, settings.core_ratio)
    low, high = np.split(np.array(sample_site().parcel.bounds), 2)
    points = np.random.default_rng(7).uniform(low, high, (400, 2))
    points = points[shapely.covers(finished.zones.roam.buffer(-0.01), shapely.points(points))]
    assert len(points) > 100
    assert np.all(normalised_field(points, signal, receiver=receiver) < 1.0)
    assert finished.loop.enclosed.buffer(1e-6).covers(finished.zones.roam)


def test_planning_twice_gives_the_same_plan() -> None:
    again = plan(sample_site(), sample_project().settings)
    for one, other in zip(sample_plan().loop.runs, again.loop.runs, strict=True):
        assert one.line.equals_exact(other.line, 0.0)
    assert again.conflicts == sample_plan().conflicts


def test_a_plan_is_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        sample_plan().settings = Settings()  # type: ignore[misc]


def test_assessing_the_designed_loop_again_gives_the_same_findings() -> None:
    finished = sample_plan()
    again = assess(finished.site, finished.settings, loop=finished.loop)
    assert again.conflicts == finished.conflicts


@given(angle=st.floats(0, 360), east=st.floats(-5000, 5000), north=st.floats(-5000, 5000))
def test_turning_or_shifting_the_site_changes_nothing(angle: float, east: float, north: float) -> None:
    def moved(geometry: Polygon) -> Polygon:
        return affinity.translate(affinity.rotate(geometry, angle, origin=(0, 0)), east, north)

    there = plan(site(moved(YARD), moved(HOUSE)), Settings())
    here = plan(site(), Settings())
    assert outer(there).symmetric_difference(moved(outer(here))).area < 0.01 * outer(here).length
    assert there.zones.roam.area == pytest.approx(here.zones.roam.area, rel=1e-3)


@given(first=st.integers(0, 5), backwards=st.booleans())
def test_the_order_of_the_lot_s_vertices_changes_nothing(first: int, backwards: bool) -> None:
    ring = list(YARD.exterior.coords)[:-1]
    ring = ring[first:] + ring[:first]
    turned = plan(site(Polygon(ring[::-1] if backwards else ring)), Settings())
    assert outer(turned).symmetric_difference(outer(plan(site(), Settings()))).area < 0.01


@given(reach=st.floats(0.6, 3.0))
def test_a_setback_is_never_violated(reach: float) -> None:
    settings = Settings(reach_m=reach)
    finished = plan(site(), settings)
    assert outer(finished).exterior.distance(YARD.exterior) >= settings.lot_line_setback_m - 1e-6


def test_a_lot_without_room_ends_in_a_reason() -> None:
    with pytest.raises(NoLoopError, match="no loop fits"):
        plan(site(box(0, 0, 5, 30), box(1, 1, 2, 2)), Settings())


def test_a_reach_seen_from_inside_needs_a_smaller_setting() -> None:
    seen = plan(site(), Settings(reach_seen_from="inside"))
    assert seen.zones.receiver.reach_m < 2.0
    assert seen.zones.roam.area > plan(site(), Settings()).zones.roam.area


def test_an_open_side_raises_the_setting_so_that_the_wanted_reach_comes_out() -> None:
    """Closed form of two long wires with opposite currents: w = x (x + s) / s at the height of the wire."""
    shore = Feature(id="shore", kind="shore", source_id="o#1", geometry=LineString([(0, 0), (62, -4)]))
    open_yard = dataclasses.replace(site(), open_sides=(shore,))
    finished = plan(open_yard, Settings(receiver_height_m=0.0, burial_depth_m=0.0))
    assert finished.loop.of_part("return_run")
    assert finished.zones.receiver.reach_m == pytest.approx(2.0 * (2.0 + 3.0) / 3.0)
    outside = finished.profiles[0].reach_outside_m
    assert np.median(outside[np.isfinite(outside)]) == pytest.approx(2.0, rel=0.05)
    assert finished.zones.signal.distance(shore.geometry.interpolate(0.5, normalized=True)) > 1.0


def test_no_signal_enters_a_building_that_the_loop_leaves_out() -> None:
    """A garage across the lot line: the loop turns outwards round its corners, where the field is strongest."""
    garage = Polygon([(50, 10), (75, 10), (75, 22), (50, 22)])
    finished = plan(site(house=garage), Settings())
    assert not finished.loop.enclosed.intersects(garage)
    assert not finished.zones.signal.intersects(garage)
    assert [row for row in finished.conflicts if row.rule == "building-signal"] == []


def test_what_no_transmitter_drives_is_refused_before_its_field_is_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    def computed(*_: object, **__: object) -> None:
        raise AssertionError("the field was asked for")

    monkeypatch.setattr(planning, "retreat", computed)
    monkeypatch.setattr(planning, "signal_tiles", computed)
    estate = site(box(0, 0, 1_900, 1_900), box(900, 900, 910, 910))
    with pytest.raises(NoLoopError, match=r"7\.[0-9] km long, and no transmitter drives it: a signal of 10 kHz"):
        plan(estate, Settings())
    with pytest.raises(AssertionError, match="the field was asked for"):  # a lower frequency has a longer wave
        plan(estate, Settings(frequency_hz=4_000.0))


def test_a_lot_line_along_a_stream_has_ties_that_cut() -> None:
    turn = np.arange(600) * 2.0 * np.pi / 600
    ring = np.column_stack([28.0 + 40.0 * np.cos(turn), 22.0 + 30.0 * np.sin(turn)])
    ties = plan(site(Polygon(ring)), Settings()).take_off.ties
    assert ties
    assert min(tie.cut_deg for tie in ties) >= 5.0
