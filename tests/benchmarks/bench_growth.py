"""How the CPU time of one plan grows with what makes it large: run by hand.

    python tests/benchmarks/bench_growth.py [area vertices lines keep_outs length slowest]

Each table holds everything else the same.  The exponent is that of the last doubling: 1 is linear.  `slowest` plans
slices of the county file drawn at random and names the slowest parcels with what they are.
"""

from __future__ import annotations

import math
import sys
import time
from typing import TYPE_CHECKING

import numpy as np
import shapely
from bench_screening import BIG, Clock, ScreeningJob, Settings, drawn
from pyproj import CRS
from shapely import Point, Polygon, affinity

from parcelfence import many, planning, screening
from parcelfence.errors import ParcelFenceError
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site
from parcelfence.units import ACRE_M2

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FRAME = LocalFrame.around(Point(-76.2, 42.7).buffer(0.001), CRS.from_epsg(4326))
SETTINGS = Settings(frequency_hz=2_000.0)
"""A low frequency, so that no loop is longer than its wave and refused."""
LIMIT_S = 90.0
"""A table ends with the first plan that takes longer."""


def uneven(area_m2: float, *, vertices: int = 24) -> Polygon:
    """Draw a lot of a given area whose sides are uneven."""
    rng = np.random.default_rng(11)
    turn = np.arange(vertices) * 2.0 * math.pi / vertices
    waves = sum(rng.uniform(0.02, 0.08) * np.cos(n * turn + rng.uniform(0.0, 6.0)) for n in range(2, 7))
    lot = Polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * (1.0 + np.asarray(waves))[:, None])
    factor = math.sqrt(area_m2 / lot.area)
    return affinity.scale(lot, factor, factor, origin=(0.0, 0.0))


def site_of(lot: Polygon, **features: Sequence[Feature]) -> Site:
    """Make a site with a house in the middle."""
    house = Feature(id="house", kind="building", source_id="b#1", geometry=shapely.box(-6.0, -5.0, 6.0, 5.0))
    provenance = Provenance(inputs=())
    return Site(
        name="lot",
        parcel_id="1",
        parcel=lot,
        frame=FRAME,
        provenance=provenance,
        buildings=(house,),
        **{role: tuple(rows) for role, rows in features.items()},  # type: ignore[arg-type]
    )


def of_area(acres: float) -> Site:
    """Vary the area alone."""
    return site_of(uneven(acres * ACRE_M2))


def of_vertices(count: float) -> Site:
    """Vary the vertices of the lot line alone, on five acres: rough, as lines along streams are."""
    smooth = shapely.get_coordinates(uneven(5.0 * ACRE_M2, vertices=int(count)).exterior)[:-1]
    return site_of(Polygon(smooth * (1.0 + np.random.default_rng(2).uniform(-0.002, 0.002, (len(smooth), 1)))))


def of_lines(count: float) -> Site:
    """Vary the located lines alone, on five acres: straight, at random."""
    lot = uneven(5.0 * ACRE_M2)
    rng = np.random.default_rng(3)
    rows = []
    for number in range(int(count)):
        start, way = rng.uniform(-90.0, 90.0, 2), rng.normal(size=2)
        line = shapely.LineString([start, start + way / np.hypot(*way) * rng.uniform(5.0, 60.0)])
        kind = ("gas", "water", "electric", "telecom")[number % 4]
        rows.append(
            Utility(
                id=f"u{number}",
                kind=kind,
                source_id=f"u#{number}",
                geometry=line,
                apwa_color="yellow",
                tolerance_m=0.6,
            )
        )
    return site_of(lot, utilities=rows)


def of_keep_outs(count: float) -> Site:
    """Vary the keep-outs alone, on ten acres: ponds and gardens on a grid, none near the house."""
    lot = uneven(10.0 * ACRE_M2)
    inner = lot.buffer(-12.0)
    places = [(x, y) for x in range(-90, 91, 22) for y in range(-90, 91, 22) if math.hypot(x, y) > 25.0]
    kept = [
        Feature(id=f"k{n}", kind="pond", source_id=f"k#{n}", geometry=Point(place).buffer(4.0, quad_segs=4))
        for n, place in enumerate([place for place in places if inner.covers(Point(place))][: int(count)])
    ]
    return site_of(lot, keep_outs=kept)


def of_length(length_m: float) -> Site:
    """Vary the length of the lot line alone: a lot 60 m wide and ever longer, with a wavy edge."""
    along = np.linspace(0.0, length_m / 2.0, max(8, int(length_m / 30.0)))
    edge = 30.0 + 3.0 * np.sin(along / 17.0)
    ring = np.vstack([np.column_stack([along, edge]), np.column_stack([along, -edge])[::-1]])
    return site_of(Polygon(ring - (length_m / 4.0, 0.0)))


TABLES: dict[str, tuple[Callable[[float], Site], tuple[float, ...], str]] = {
    "area": (of_area, (0.25, 1, 5, 25, 100), "acres"),
    "vertices": (of_vertices, (32, 256, 2_048, 8_192, 28_476), "vertices"),
    "lines": (of_lines, (10, 50, 200, 400, 1_118), "lines"),
    "keep_outs": (of_keep_outs, (5, 10, 20, 40), "keep-outs"),
    "length": (of_length, (500, 1_000, 2_000, 5_000, 10_000), "m of lot line"),
}


def table(name: str) -> None:
    """Print one table: time of a whole plan, and how much of it is layout."""
    make, sizes, unit = TABLES[name]
    planning.plan(of_area(1.0), Settings())  # compiles and loads
    before = (0.0, 0.0)
    for size in sizes:
        site = make(size)
        clock = Clock()
        arranged = planning._arranged  # noqa: SLF001
        planning._arranged = clock.timed(arranged, "layout")  # noqa: SLF001
        begun = time.process_time()
        try:
            plan = planning.plan(site, SETTINGS)
            what = f"{sum(run.line.length for run in plan.loop.signal_runs):7.0f} m of loop"
        except ParcelFenceError as error:
            what = f"no plan: {str(error)[:90]}"
        finally:
            planning._arranged = arranged  # noqa: SLF001
        spent = time.process_time() - begun
        own = spent - clock.spent["layout"]
        exponent = math.log(own / before[1]) / math.log(size / before[0]) if before[0] else math.nan
        print(
            f"  {size:9,g} {unit}: {spent:7.2f} s CPU, {own:6.2f} s without layout (exponent {exponent:4.2f}), {what}",
            flush=True,
        )
        before = (size, own)
        if spent > LIMIT_S:
            break


def slowest(parcels: int = 500) -> None:
    """Print the slowest parcels of slices of the county file, and what is large about them."""
    job = ScreeningJob(sources=BIG, settings=Settings(), limit_s=LIMIT_S)
    seen: list[tuple[float, str]] = []
    whole = screening.plan_lot

    def timed(*args: object, **kwargs: object) -> many.Lot:
        begun = time.process_time()
        lot: many.Lot = whole(*args, **kwargs)  # type: ignore[arg-type]
        spent = time.process_time() - begun
        if lot.measured is None:
            seen.append((spent, f"{lot.parcel_id}: {lot.status}, {lot.reason[:120]}"))
        else:
            draft = lot.measured.draft
            loop_m = sum(run.line.length for run in draft.loop.signal_runs)
            corners = shapely.get_num_coordinates(draft.site.parcel)
            seen.append((
                spent,
                f"{lot.parcel_id}: {loop_m:,.0f} m of loop, {corners} vertices, {len(lot.conflicts)} rows",
            ))
        return lot

    screening.plan_lot = timed
    screening.outcomes(job, (0, 3))
    seen.clear()
    for task in drawn(job, parcels, seed=9):
        screening.outcomes(job, task)
    screening.plan_lot = whole
    total = sum(spent for spent, _ in seen)
    print(f"slowest of {len(seen)} parcels ({total:.0f} s CPU, median {np.median([s for s, _ in seen]):.3f} s):")
    for spent, what in sorted(seen, reverse=True)[:20]:
        print(f"  {spent:6.2f} s {spent / total:5.1%}  {what}")


if __name__ == "__main__":
    for chosen in sys.argv[1:] or [*TABLES, "slowest"]:
        print(chosen, flush=True)
        if chosen == "slowest":
            slowest()
        else:
            table(chosen)
