"""Zones: complete, valid, exact at their edges, and right where bands merge."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import inverse_field, normalised_field
from parcelfence.field.zones import Zones, field_zones, zones


def wire(*vertices: tuple[float, float], current: float = 1.0) -> CurrentLoop:
    return CurrentLoop(np.array(vertices), current)


def square(side_m: float, *, at: tuple[float, float] = (0.0, 0.0), current: float = 1.0) -> CurrentLoop:
    x, y = at
    return wire((x, y), (x + side_m, y), (x + side_m, y + side_m), (x, y + side_m), current=current)


NECK = wire(
    *[(0.0, 0.0), (20.0, 0.0), (20.0, 8.0), (28.0, 8.0), (28.0, 0.0), (48.0, 0.0), (48.0, 20.0), (28.0, 20.0)],
    *[(28.0, 13.0), (20.0, 13.0), (20.0, 20.0), (0.0, 20.0)],
)


def zones_of(*loops: CurrentLoop, receiver: Receiver, inside: Polygon | None = None) -> Zones:
    return zones(loops, receiver, inside=inside or Polygon(loops[0].coordinates))


def off_contour_m(zone: MultiPolygon, loops: list[CurrentLoop], *, receiver: Receiver, level: float) -> np.ndarray:
    """Distance from the contour, along the gradient, of points every 2 cm along the edges of a zone."""
    rings = [ring for part in zone.geoms for ring in (part.exterior, *part.interiors)]
    points = np.vstack([shapely.get_coordinates(ring.interpolate(np.arange(0.0, ring.length, 0.02))) for ring in rings])
    inverse, gradient = inverse_field(points, loops, receiver=receiver)
    return np.asarray(np.abs(inverse - 1.0 / level) / np.hypot(*gradient.T))


@pytest.mark.parametrize("loop", [square(36.0), square(14.0), NECK], ids=["square", "small", "neck"])
@pytest.mark.parametrize("height_m", [0.0, 0.3])
def test_edges_lie_within_a_millimetre_of_the_contour(loop: CurrentLoop, height_m: float) -> None:
    receiver = Receiver(2.0, height_m)
    found = zones_of(loop, receiver=receiver)
    for zone, level in ((found.signal, 1.0), (found.core, receiver.core_level)):
        off_m = off_contour_m(zone, [loop], receiver=receiver, level=level)
        assert (off_m < 1e-3).mean() > 0.999
    assert found.contour_tolerance_m == 1e-3


def test_few_vertices_suffice() -> None:
    found = zones_of(square(100.0), receiver=Receiver(2.0))
    assert shapely.get_num_coordinates(found.signal) < 2000


def test_all_of_a_small_loop_reacts() -> None:
    found = zones_of(square(10.0), receiver=Receiver(2.0, 0.0))
    assert found.roam.is_empty
    assert not found.signal.geoms[0].interiors
    assert found.signal.covers(Polygon(square(10.0).coordinates))


def test_middle_of_a_loop_may_react_apart_from_the_core_at_the_wire() -> None:
    """Just above the critical side the free ground is a small island in the middle."""
    found = zones_of(square(11.5), receiver=Receiver(2.0, 0.0))
    assert len(found.roam.geoms) == 1
    assert found.roam.contains(shapely.Point(5.75, 5.75))
    assert found.roam.area < 5.0


def test_a_neck_closes_and_parts_the_free_ground() -> None:
    wide, narrow = (zones_of(NECK, receiver=Receiver(reach_m)) for reach_m in (0.8, 2.0))
    assert [len(found.roam.geoms) for found in (wide, narrow)] == [1, 2]


def test_several_loops_and_their_senses() -> None:
    outer, receiver = square(60.0), Receiver(2.0)
    ground = Polygon(outer.coordinates, [square(5.0, at=(30.0, 30.0)).coordinates])
    for current in (1.0, -1.0):
        inner = square(5.0, at=(30.0, 30.0), current=current)
        found = zones_of(outer, inner, receiver=receiver, inside=ground)
        assert len(found.signal.geoms) == 2
        assert found.signal.covers(Polygon(inner.coordinates))
        assert found.roam.area + found.signal.intersection(ground).area == pytest.approx(ground.area, rel=1e-9)


def test_return_run_weakens_the_signal() -> None:
    receiver = Receiver(2.0, 0.0)
    horseshoe = wire((0, 0), (40, 0), (40, 40), (37, 40), (37, 3), (3, 3), (3, 40), (0, 40))
    found = zones_of(horseshoe, receiver=receiver, inside=box(0, 0, 40, 40))
    below = found.signal.intersection(shapely.LineString([(20.0, -9.0), (20.0, 0.0)]))
    # x (x + s) = s w for two long wires
    assert below.length == pytest.approx(1.5 * (math.sqrt(1.0 + 8.0 / 3.0) - 1.0), abs=0.02)
    assert len(found.roam.geoms) == 1


def test_a_wire_doubled_back_has_no_zone() -> None:
    there_and_back = wire((0, 0), (40, 0), (40, 30), (0, 30), (40, 30), (40, 0))
    assert zones_of(there_and_back, receiver=Receiver(2.0), inside=box(0, 0, 40, 30)).signal.is_empty


def test_a_receiver_held_too_high_hears_nothing_of_two_facing_runs() -> None:
    thin = wire((0, 0), (40, 0), (40, 0.2), (0, 0.2))
    found = zones_of(thin, receiver=Receiver(0.5, 0.6), inside=box(0, 0, 40, 0.2))
    assert found.signal.is_empty
    assert found.core.is_empty
    assert found.roam.area == pytest.approx(8.0)


@pytest.mark.parametrize("seed", range(12))
def test_zones_of_any_loop_are_valid_and_complete(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, rng.integers(5, 14)))
    vertices = np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(6.0, 25.0, (len(turn), 1))
    loops = [CurrentLoop(vertices), square(rng.uniform(1.0, 6.0), at=(40.0, 0.0), current=rng.choice([-1.0, 1.0]))]
    receiver = Receiver(rng.uniform(1.0, 3.5), rng.choice([0.0, 0.3]))
    found = zones(loops, receiver, inside=Polygon(vertices).buffer(0.0))
    low, high = np.array(found.signal.bounds[:2]) - 3.0, np.array(found.signal.bounds[2:]) + 3.0
    points = rng.uniform(low, high, (30_000, 2))
    field = normalised_field(points, loops, receiver=receiver)
    for zone, level in ((found.signal, 1.0), (found.core, receiver.core_level)):
        assert zone.is_valid
        shapely.prepare(zone)
        wrong = points[shapely.contains_xy(zone, *points.T) != (field >= level)]
        # What is narrower than a cell may be missed: stated, and rare.
        assert len(wrong) <= 30
        assert shapely.distance(zone.boundary, shapely.points(wrong)).max(initial=0.0) < 0.5
    assert found.roam.is_valid
    assert found.signal.covers(found.core)


def test_a_wire_that_crosses_itself_still_has_zones() -> None:
    eight = wire((0, 0), (40, 30), (40, 0), (0, 30))
    found = zones_of(eight, receiver=Receiver(1.5))
    assert found.signal.is_valid
    assert len(found.roam.geoms) == 2
    assert found.roam.disjoint(eight.ring)


def test_same_input_same_bytes() -> None:
    first, second = (zones_of(NECK, receiver=Receiver(2.0)) for _ in range(2))
    assert first.signal.wkb == second.signal.wkb
    assert first.roam.wkb == second.roam.wkb


def test_place_on_earth_does_not_matter() -> None:
    shift = np.array([512_000.0, 4_980_000.0])
    near = zones_of(NECK, receiver=Receiver(2.0))
    far = zones_of(CurrentLoop(NECK.coordinates + shift), receiver=Receiver(2.0))
    moved = shapely.transform(far.signal, lambda points: points - shift)
    assert shapely.hausdorff_distance(moved, near.signal) < 2e-3


def test_a_finer_tolerance_is_kept() -> None:
    receiver, loop = Receiver(2.0), square(15.0)
    (fine,) = field_zones([loop], receiver, levels=[1.0], tolerance_m=2e-5)
    assert off_contour_m(fine, [loop], receiver=receiver, level=1.0).max() < 2e-5
