"""Speed and memory of a screening: run by hand, as CPU seconds and ratios of one process.

    python tests/benchmarks/bench_screening.py stages [--parcels 500]   parcels a second, by stage, against a buffer
    python tests/benchmarks/bench_screening.py memory [--counts 1000 10000 56000]   most memory against the count
    python tests/benchmarks/bench_screening.py equal [--parcels 1000]   rows against full plans

The stages run on slices drawn at random from the county file, and on the lots of the canyon with their buildings.  The
plain buffer of the same parcels, by arrays, is what exactness is paid against: read, converted, drawn in by the reach.
"""

from __future__ import annotations

import argparse
import random
import resource
import subprocess
import sys
import time
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

import numpy as np
import shapely
from pyproj import CRS, Transformer

from parcelfence import many, planning, screening
from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from parcelfence.inputs.vector_file import Rows
from parcelfence.screening import ScreeningJob, Task, count_parcels, outcomes
from parcelfence.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

DATA = Path(__file__).parents[2].parent / "shared" / "data"
if not DATA.exists():  # a work tree beside the main one
    DATA = Path(__file__).parents[3].parent / "shared" / "data"
BIG = (Source(role="parcels", path=DATA / "big/vermont_south_parcels.gpkg"),)
CANYON = (
    Source(role="parcels", path=DATA / "ca_santa_monica_canyon/parcels.geojson"),
    Source(role="buildings", path=DATA / "ca_santa_monica_canyon/buildings.geojson"),
)
SLICE = 25
STAGES: dict[str, tuple[tuple[Any, str], ...]] = {
    "reading": ((screening, "_part"), (screening, "_around")),
    "site": ((many, "site_of"),),
    "layout": ((planning, "_arranged"),),
    "retreat": ((planning, "retreat"),),
    "tiles": ((planning, "signal_tiles"),),
    "zones": ((planning, "zones"),),
    "profiles": ((planning, "reach_profiles"),),
    "sequence": ((planning, "sequence"), (planning, "crossings")),
    "circuit": ((planning, "_circuit"),),
    "rules": ((many, "find_conflicts"),),
    "row": ((screening, "_outcome"),),
}


class Clock:
    """CPU seconds by stage; a stage within another one is taken from it."""

    def __init__(self) -> None:
        self.spent: Counter[str] = Counter()
        self._open: list[float] = []

    def timed(self, function: Callable[..., Any], stage: str) -> Callable[..., Any]:
        """Wrap a function so that its time counts for a stage."""

        def wrapped(*args: Any, **kwargs: Any) -> Any:
            self._open.append(0.0)
            begun = time.process_time()
            try:
                return function(*args, **kwargs)
            finally:
                whole = time.process_time() - begun
                self.spent[stage] += whole - self._open.pop()
                if self._open:
                    self._open[-1] += whole

        return wrapped


def drawn(job: ScreeningJob, parcels: int, *, seed: int) -> list[Task]:
    """Draw slices at random."""
    count = count_parcels(job)
    starts = range(0, count, SLICE)
    chosen = random.Random(seed).sample(starts, min(len(starts), max(1, parcels // SLICE)))
    return [(start, min(start + SLICE, count)) for start in sorted(chosen)]


def stages(name: str, sources: tuple[Source, ...], parcels: int, seed: int) -> None:
    """Print parcels a second and the share of each stage."""
    job = ScreeningJob(sources=sources, settings=Settings())
    tasks = drawn(job, parcels, seed=seed)
    outcomes(job, (0, 5))  # compiles and loads
    clock = Clock()
    rows, slowest = [], []
    with ExitStack() as stack:
        for stage, places in STAGES.items():
            for module, function in places:
                wrapped = clock.timed(getattr(module, function), stage)
                stack.enter_context(mock.patch.object(module, function, wrapped))
        begun = time.process_time()
        for task in tasks:
            before = time.process_time()
            found = outcomes(job, task)
            rows += found
            slowest.append((time.process_time() - before, task[0]))
        whole = time.process_time() - begun
    kinds = dict(Counter(row.status for row in rows))
    rate, beside = len(rows) / whole, len(rows) / (whole - clock.spent["layout"])
    print(f"{name}: {len(rows)} parcels {kinds}, {whole:.1f} s CPU: {rate:.1f} a second, {beside:.1f} without layout")
    clock.spent["else"] = whole - sum(clock.spent.values())
    for stage, spent in clock.spent.most_common():
        print(f"  {stage:9s} {1e3 * spent / len(rows):7.2f} ms a parcel {spent / whole:6.1%}")
    plain = buffered(job, tasks)
    print(f"  a buffer  {1e3 * plain / len(rows):7.2f} ms a parcel: exactness costs {whole / plain:.0f} times as much")
    print(f"  slowest slices (from place, CPU s): {[(at, round(s, 1)) for s, at in sorted(slowest)[-3:]]}")


def buffered(job: ScreeningJob, tasks: Sequence[Task]) -> float:
    """Read, convert and draw in the same parcels by arrays; give the CPU seconds."""
    begun = time.process_time()
    setback = job.settings.reach_m
    for task in tasks:
        table = read_table(job.parcels, window=Rows(*task) if job.parcels.path.suffix == ".gpkg" else None)
        lots = np.array([r.geometry for r in table.records if task[0] <= r.position < task[1]], dtype=object)
        west, south, east, north = shapely.total_bounds(lots)
        local = CRS.from_proj4(f"+proj=tmerc +lat_0={(south + north) / 2} +lon_0={(west + east) / 2} +units=m")
        way = Transformer.from_crs(table.crs, local, always_xy=True)
        plane = shapely.transform(lots, lambda xy, way=way: np.column_stack(way.transform(xy[:, 0], xy[:, 1])))
        wire = shapely.buffer(plane, -setback - 0.3)
        shapely.area(shapely.buffer(wire, -setback))
        shapely.length(wire)
    return time.process_time() - begun


def memory(counts: Sequence[int]) -> None:
    """Print the most memory of a worker that has screened so many parcels, each count in a process of its own."""
    program = (
        "import resource, sys\n"
        "sys.path.insert(0, sys.argv[2])\n"
        "from bench_screening import BIG, ScreeningJob, Settings, count_parcels, outcomes\n"
        "job = ScreeningJob(sources=BIG, settings=Settings(), limit_s=20.0)\n"
        "count, size = int(sys.argv[1]), 50\n"
        "whole = count_parcels(job)\n"
        "for start in range(0, count, size):\n"
        "    outcomes(job, (start % whole, min(start % whole + size, whole)))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)\n"
    )
    for count in counts:
        begun = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        here = str(Path(__file__).parent)
        done = subprocess.run(
            [sys.executable, "-c", program, str(count), here], check=True, capture_output=True, text=True
        )
        spent = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - begun
        print(f"{count:7,d} parcels: {float(done.stdout.split()[-1]):6.0f} MiB, {spent:.0f} s CPU", flush=True)


def equal(sources: tuple[Source, ...], parcels: int, seed: int) -> None:
    """Compare rows with full plans of the same parcels, read and planned on their own ways."""
    job = ScreeningJob(sources=sources, settings=Settings())
    tasks = drawn(job, parcels, seed=seed)
    tables = [read_table(source) for source in sources]
    positions = {record.position: record for record in tables[0].records}
    kinds: Counter[str] = Counter()
    for task in tasks:
        for row in outcomes(job, task):
            record = positions.get(row.position - 1)
            if record is None:
                kinds["unusable" if row.status == "refused" else "DIFFERENT"] += 1
                continue
            try:
                site = many.site_of([record], tables, settings=job.settings)
                plan = planning.plan(site, job.settings)
            except ParcelFenceError as error:
                same = row.status in {"no_loop", "refused"} and row.reason == str(error)
            else:
                same = (
                    row.status == "planned"
                    and row.free_m2 == plan.zones.free_ground.area
                    and row.wire_m == plan.take_off.sequence.conductor_length_m
                    and row.must_fix == sum(conflict.severity == "must_fix" for conflict in plan.conflicts)
                    and row.notes == sum(conflict.severity == "note" for conflict in plan.conflicts)
                )
            kinds[row.status if same else "DIFFERENT"] += 1
            if not same:
                print(f"  place {row.position}, {row.parcel_id}: row and plan differ: {row.status}, {row.reason}")
    print(f"{sum(kinds.values())} rows against full plans, bit by bit: {dict(kinds)}")


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("stages", "memory", "equal"))
    parser.add_argument("--parcels", type=int, default=500)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--counts", type=int, nargs="+", default=[1_000, 10_000, 56_000])
    given = parser.parse_args()
    if given.what == "memory":
        memory(given.counts)
        return
    for name, sources in (("big", BIG), ("canyon", CANYON)):
        if given.what == "stages":
            stages(name, sources, given.parcels, given.seed)
        else:
            equal(sources, given.parcels // 2, given.seed)


if __name__ == "__main__":
    main()
