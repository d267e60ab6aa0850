"""Plan every parcel of every open data set, and count what became of each: run by hand, not by pytest.

python tests/benchmarks/sweep_real_parcels.py [SET ...]
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import momepy

from parcelfence.inputs.source import Source
from parcelfence.screening import ScreeningJob, outcomes, slices
from parcelfence.settings import Settings

DATA = Path(__file__).parents[2].parent / "shared" / "data"
PRAGUE = Path(momepy.datasets.get_path("bubenec"))
SETS: dict[str, tuple[tuple[str, Path, str | None], ...]] = {
    "guilford": (
        ("parcels", DATA / "vt_guilford/parcels.geojson", None),
        ("marks", DATA / "vt_guilford/utility_lines.geojson", None),
        ("marks", DATA / "vt_guilford/utility_points.geojson", None),
    ),
    "rutland": (
        ("parcels", DATA / "vt_rutland_town/parcels.geojson", None),
        ("marks", DATA / "vt_rutland_town/utility_lines.geojson", None),
        ("marks", DATA / "vt_rutland_town/utility_points.geojson", None),
    ),
    "washington": (
        ("parcels", DATA / "nh_washington/parcels.geojson", None),
        ("buildings", DATA / "nh_washington/buildings.geojson", None),
        ("roads", DATA / "nh_washington/roads.geojson", None),
    ),
    "canyon": (
        ("parcels", DATA / "ca_santa_monica_canyon/parcels.geojson", None),
        ("buildings", DATA / "ca_santa_monica_canyon/buildings.geojson", None),
    ),
    "canyon_feet": (
        ("parcels", DATA / "ca_santa_monica_canyon/derived_ftus/parcels_ftus.shp", None),
        ("buildings", DATA / "ca_santa_monica_canyon/derived_ftus/buildings_ftus.shp", None),
    ),
    "san_jose": (
        ("parcels", DATA / "ca_san_jose/zoning.shp", None),
        ("marks", DATA / "ca_san_jose/sanitary_main.shp", None),
        ("marks", DATA / "ca_san_jose/storm_main.shp", None),
        ("marks", DATA / "ca_san_jose/storm_lateral.shp", None),
    ),
    "prague": (("parcels", PRAGUE, "plots"), ("buildings", PRAGUE, "buildings")),
    "tunbridge": (("parcels", DATA / "defects/tunbridge_ring_self_intersections.geojson", None),),
}


def sweep(name: str) -> None:
    """Plan one set and print its counts."""
    sources = tuple(Source(role=role, path=path, layer=layer) for role, path, layer in SETS[name])
    job = ScreeningJob(sources=sources, settings=Settings())
    count = slices(job)[-1][1]
    rows, seconds = [], []
    for place in range(count):
        begun = time.perf_counter()
        rows += outcomes(job, (place, place + 1))
        seconds.append(time.perf_counter() - begun)
    clean = sum(row.status == "planned" and not row.must_fix for row in rows)
    rules = Counter(rule for row in rows for rule in row.rules.split(",") if rule)
    print(f"{name}: {count} parcels in {sum(seconds):.0f} s, the slowest {max(seconds):.1f} s")
    print(f"  {dict(Counter(row.status for row in rows))}; {clean} planned with nothing that must be fixed")
    print(f"  parcels with a conflict that must be fixed, by rule: {dict(rules.most_common())}")
    for row in rows:
        if row.status in {"refused", "failed"}:
            print(f"  {row.status}: {row.parcel_id}: {row.reason}")


if __name__ == "__main__":
    for chosen in sys.argv[1:] or SETS:
        sweep(chosen)
