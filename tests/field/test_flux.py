"""The field kernel: near the wire, at its ends, in its scaling, and against plain numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.field import kernels
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import field_slope, flux_density, inverse_field, normalised_field
from tests.field import array_kernels

RECEIVER = Receiver(2.0, 0.3)


def random_loop(seed: int, *, size_m: float = 20.0, current: float = 1.0) -> CurrentLoop:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0.0, 2.0 * math.pi, rng.integers(3, 12)))
    reach = rng.uniform(0.2, 1.0, (len(turn), 1)) * size_m
    return CurrentLoop(np.column_stack([np.cos(turn), np.sin(turn)]) * reach, current)


def random_points(seed: int, *, count: int = 300, size_m: float = 25.0) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-size_m, size_m, (count, 2))


@pytest.mark.parametrize("distance_m", [1e-9, 1e-6, 1e-3, 0.1])
@pytest.mark.parametrize("along_m", [0.0, 1e-3, 3.0, 99.999])
def test_close_to_the_wire(distance_m: float, along_m: float) -> None:
    wire = Chain.of_lines([[(0.0, 0.0), (100.0, 0.0)]], currents=[1.0])
    found = flux_density([[along_m, distance_m, 0.0]], wire)[0]
    cosines = along_m / math.hypot(along_m, distance_m) + (100.0 - along_m) / math.hypot(100.0 - along_m, distance_m)
    assert found[2] == pytest.approx(cosines / (2.0 * distance_m), rel=1e-12)
    assert found[:2].tolist() == [0.0, 0.0]


@pytest.mark.parametrize("beyond_m", [1e-6, 0.01, 5.0, 1e4])
@pytest.mark.parametrize("aside_m", [0.0, 1e-9, 1e-4])
def test_on_the_extension_of_a_stretch(beyond_m: float, aside_m: float) -> None:
    wire = Chain.of_lines([[(-100.0, 0.0), (0.0, 0.0)]], currents=[1.0])
    found = flux_density([[beyond_m, aside_m, 0.0]], wire)[0, 2]
    far, near = math.hypot(100.0 + beyond_m, aside_m), math.hypot(beyond_m, aside_m)
    # cos a1 - cos a2, written without cancellation
    expected = (
        aside_m * 100.0 * (far + near) / (2.0 * far * near * (far * near + beyond_m * (beyond_m + 100.0) + aside_m**2))
    )
    assert found == pytest.approx(expected, rel=1e-12, abs=0.0)


def test_on_the_wire_itself_the_field_has_no_bound() -> None:
    loop = random_loop(1)
    vertex, middle = loop.coordinates[0], np.array([[0.0, 0.0], [10.0, 0.0], [5.0, 8.0]])
    assert normalised_field([vertex], [loop], receiver=Receiver(2.0, 0.0))[0] == math.inf
    assert normalised_field([[5.0, 0.0]], [CurrentLoop(middle)], receiver=Receiver(2.0, 0.0))[0] == math.inf
    inverse, _ = inverse_field([vertex], [loop], receiver=Receiver(2.0, 0.0))
    assert inverse[0] == 0.0
    assert normalised_field([vertex], [loop], receiver=RECEIVER)[0] < math.inf


def test_far_from_the_origin_nothing_changes() -> None:
    loop, points, shift = random_loop(2), random_points(2), np.array([512_345.25, 4_987_654.5])
    moved = CurrentLoop(loop.coordinates + shift)
    assert np.allclose(
        normalised_field(points + shift, [moved], receiver=RECEIVER),
        normalised_field(points, [loop], receiver=RECEIVER),
        rtol=1e-7,
    )


@given(seed=st.integers(0, 10_000), factor=st.floats(0.01, 100.0))
def test_all_lengths_scale_together(seed: int, factor: float) -> None:
    loop, points = random_loop(seed), random_points(seed)
    larger = CurrentLoop(loop.coordinates * factor)
    scaled = Receiver(2.0 * factor, 0.3 * factor)
    assert np.allclose(
        normalised_field(points * factor, [larger], receiver=scaled),
        normalised_field(points, [loop], receiver=RECEIVER),
        rtol=1e-9,
    )


@given(seed=st.integers(0, 10_000))
def test_reversing_all_currents_changes_nothing(seed: int) -> None:
    loops = [random_loop(seed), random_loop(seed + 1, size_m=8.0, current=-1.0)]
    reversed_loops = [CurrentLoop(loop.coordinates, -loop.current) for loop in loops]
    backwards = [CurrentLoop(loop.coordinates[::-1], loop.current) for loop in loops]
    points = random_points(seed)
    found = normalised_field(points, loops, receiver=RECEIVER)
    assert normalised_field(points, reversed_loops, receiver=RECEIVER).tolist() == found.tolist()
    assert np.allclose(normalised_field(points, backwards, receiver=RECEIVER), found, rtol=1e-9)


@given(seed=st.integers(0, 10_000))
def test_a_loop_doubled_on_itself_is_silent(seed: int) -> None:
    loop = random_loop(seed)
    back = CurrentLoop(loop.coordinates[::-1])
    there_and_back = CurrentLoop(np.vstack([loop.coordinates, loop.coordinates[-2:0:-1]]))
    points = np.vstack([random_points(seed), loop.coordinates])
    for wires in ([loop, back], [there_and_back]):
        assert not normalised_field(points, wires, receiver=Receiver(2.0, 0.0)).any()


@given(seed=st.integers(0, 10_000), low=st.floats(0.05, 2.0), more=st.floats(0.01, 2.0))
def test_field_over_the_wire_falls_with_height(seed: int, low: float, more: float) -> None:
    loop = random_loop(seed)
    middle = loop.coordinates[:2].mean(axis=0)
    lower, higher = (
        float(np.linalg.norm(flux_density([[*middle, height_m]], [loop]))) for height_m in (low, low + more)
    )
    assert higher < lower


@pytest.mark.parametrize("kernel", ["field_kernel", "slope_kernel"])
@pytest.mark.parametrize("height_m", [0.0, 0.3])
def test_the_sums_are_those_of_plain_numpy(kernel: str, height_m: float) -> None:
    chain = Chain.of([random_loop(5), random_loop(6, size_m=5.0, current=-1.0)])
    points = np.column_stack([random_points(5, count=5000), np.full(5000, height_m)])
    columns = 3 if kernel == "field_kernel" else 11
    found, expected = np.zeros((5000, columns)), np.zeros((5000, columns))
    getattr(kernels, kernel)((points, found), (chain.vertices, chain.currents))
    getattr(array_kernels, kernel)((points, expected), (chain.vertices, chain.currents))
    assert np.allclose(found, expected, rtol=1e-9, atol=1e-12 * np.abs(expected).max())


def test_threads_and_neighbours_do_not_change_a_bit() -> None:
    chain = Chain.of([random_loop(9)])
    points = np.column_stack([random_points(9, count=600_000), np.full(600_000, 0.3)])
    whole = flux_density(points, chain)
    parts = np.vstack([flux_density(part, chain) for part in np.array_split(points, 37)])
    assert whole.tobytes() == parts.tobytes()


def test_nothing_in_nothing_out() -> None:
    assert flux_density(np.empty((0, 3)), [random_loop(1)]).shape == (0, 3)
    assert not flux_density([[1.0, 2.0, 0.3]], []).any()


@pytest.mark.parametrize("seed", range(5))
def test_gradient_against_differences(seed: int) -> None:
    loop, points, step_m = random_loop(seed), random_points(seed), 1e-5
    _, gradient = inverse_field(points, [loop], receiver=RECEIVER)
    for axis in (0, 1):
        shift = np.eye(2)[axis] * step_m
        ahead, behind = (1.0 / normalised_field(points + way, [loop], receiver=RECEIVER) for way in (shift, -shift))
        assert np.allclose(gradient[:, axis], (ahead - behind) / (2.0 * step_m), rtol=1e-4, atol=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_slope_never_exceeds_its_bound(seed: int) -> None:
    loops = [random_loop(seed), random_loop(seed + 50, size_m=6.0, current=-1.0)]
    points = np.column_stack([random_points(seed, count=2000), np.full(2000, 0.2)])
    sums = field_slope(points, loops)
    way = np.random.default_rng(seed).normal(size=(2000, 2))
    way /= np.linalg.norm(way, axis=1)[:, None]
    slope = way[:, :1] * sums[:, 3:6] + way[:, 1:] * sums[:, 6:9]
    assert (np.linalg.norm(slope, axis=1) <= sums[:, 9] * (1.0 + 1e-9)).all()


def test_distance_to_the_wire() -> None:
    loop, points = random_loop(3), random_points(3)
    sums = field_slope(np.column_stack([points, np.full(len(points), 0.4)]), [loop])
    import shapely

    flat = shapely.distance(loop.ring, shapely.points(points))
    assert np.allclose(np.sqrt(sums[:, 10]), np.hypot(flat, 0.4), rtol=1e-9)
