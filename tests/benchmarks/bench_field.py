"""Speed of the field: run by hand, as ratios measured side by side in one process.

    python tests/benchmarks/bench_field.py

Prints the kernel's pairs of wire stretch and point per second against magpylib's, and against the ceiling that this
machine's own square roots and divisions set (one of each per pair is the least a sum of straight stretches needs);
then the time of all zones of a 25-acre and of a 500-acre loop after warm-up, and the memory of the process.
"""

from __future__ import annotations

import math
import resource
import threading
import time
from typing import TYPE_CHECKING

import magpylib
import numba
import numpy as np
from shapely import Polygon
from shapely.affinity import scale

from parcelfence.field import flux
from parcelfence.field.current import Chain, CurrentLoop, Receiver
from parcelfence.field.flux import flux_density
from parcelfence.field.profile import reach_profiles
from parcelfence.field.zones import zones
from parcelfence.units import ACRE_M2

if TYPE_CHECKING:
    from collections.abc import Callable

STRETCHES, POINTS = 300, 20_000
RECEIVER = Receiver(2.0, 0.3)


def least_s(*runs: Callable[[], object], times: int = 9) -> list[float]:
    """Least time of each of several calls, run by turns after one turn that warms up: other work only adds."""
    spans = [[math.inf] for _ in runs]
    for turn in range(times + 1):
        for run, span in zip(runs, spans, strict=True):
            start = time.perf_counter()
            run()
            if turn:
                span.append(time.perf_counter() - start)
    return [min(span) for span in spans]


@numba.njit(nogil=True, error_model="numpy")
def roots_and_quotients(values: np.ndarray, turns: int) -> float:
    """As many square roots and divisions as a kernel call has pairs, with nothing else to do."""
    total = np.zeros_like(values)
    for turn in range(turns):
        for i in range(values.size):
            total[i] += values[i] / math.sqrt(values[i] + turn)
    return total.sum()


def ceiling(threads: int) -> None:
    """Take one square root and one division per pair, spread over threads as the kernel spreads its points."""
    values = np.random.default_rng(0).uniform(1.0, 2.0, 256)
    turns = STRETCHES * POINTS // 256 // threads
    tasks = [threading.Thread(target=roots_and_quotients, args=(values, turns)) for _ in range(threads)]
    for task in tasks:
        task.start()
    for task in tasks:
        task.join()


def rounded_loop(acres: float, *, corners: int, arc_chords: int) -> CurrentLoop:
    """Draw an uneven loop of a given area with corners rounded at 3 m."""
    rng = np.random.default_rng(7)
    turn = np.arange(corners) * 2.0 * math.pi / corners
    reach = 1.0 + rng.uniform(-6.0, 6.0, (corners, 1)) / corners
    shape = Polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * reach)
    factor = math.sqrt(acres * ACRE_M2 / shape.area)
    large = scale(shape, factor, factor, origin=(0.0, 0.0))
    return CurrentLoop.from_line(large.buffer(-3.0).buffer(3.0, quad_segs=arc_chords).exterior)


def kernel_against_others() -> None:
    """Print the ratios of the kernel."""
    turn = np.arange(STRETCHES) * 2.0 * math.pi / STRETCHES
    loop = CurrentLoop(np.column_stack([100.0 * np.cos(turn), 80.0 * np.sin(turn)]))
    chain = Chain.of([loop])
    plan = np.random.default_rng(1).uniform(-120.0, 120.0, (POINTS, 2))
    points = np.column_stack([plan, np.full(POINTS, 0.3)])
    vertices = np.column_stack([loop.closed_coordinates, np.zeros(STRETCHES + 1)])
    line = magpylib.current.Polyline(current=1.0, vertices=vertices)
    threads = flux._threads()  # noqa: SLF001
    pairs = STRETCHES * POINTS
    spans = least_s(lambda: flux_density(points, chain), lambda: ceiling(threads), times=40)
    ours, most = (pairs / span for span in spans)
    theirs = pairs / least_s(lambda: line.getB(points), times=3)[0]
    print(f"{STRETCHES} stretches x {POINTS} points, {threads} threads")
    print(f"  kernel   {ours / 1e6:8.0f} million pairs/s")
    print(f"  magpylib {theirs / 1e6:8.1f} million pairs/s: kernel {ours / theirs:.0f} times as fast")
    print(f"  ceiling  {most / 1e6:8.0f} million pairs/s: kernel at {ours / most:.0%} of it")


def zones_of(acres: float, *, corners: int, arc_chords: int) -> None:
    """Print the time of the zones of a loop."""
    loop = rounded_loop(acres, corners=corners, arc_chords=arc_chords)
    inside = Polygon(loop.coordinates)
    zone_s, profile_s = least_s(
        lambda: zones([loop], RECEIVER, inside=inside), lambda: reach_profiles([loop], RECEIVER), times=5
    )
    print(
        f"{acres:6.2f} acres, {loop.length_m:6.0f} m of wire in {len(loop.coordinates):4d} stretches: "
        f"zones {1e3 * zone_s:6.0f} ms, reach along the wire {1e3 * profile_s:6.0f} ms"
    )


if __name__ == "__main__":
    kernel_against_others()
    zones_of(1.0 / 3.0, corners=6, arc_chords=8)
    zones_of(25.0, corners=40, arc_chords=8)
    zones_of(500.0, corners=40, arc_chords=8)
    zones_of(500.0, corners=250, arc_chords=8)
    memory_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"most memory of this process, all libraries included: {memory_mib:.0f} MiB")
