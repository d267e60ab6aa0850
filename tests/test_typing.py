"""A project of somebody else, under a strict type checker without any plug-in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import parcelfence

CONSUMER = """
from pathlib import Path

import folium
import geopandas  # type: ignore[import-untyped]
import pandas as pd
from matplotlib.axes import Axes

import parcelfence

settings = parcelfence.Settings(reach_m=2.4, units="us")
site: parcelfence.Site = parcelfence.read_site(
    parcels="a.geojson", buildings="b.geojson", marks=["c.geojson"], select={"no": 1}
)
plan: parcelfence.Plan = parcelfence.plan(site, settings, prices={"flag": 0.4}, crew={"setup_hours": 3.0})
messages: list[str] = [conflict.message for conflict in plan.conflicts if conflict.severity == "must_fix"]
lengths: list[float] = [flag.station_m for flag in plan.take_off.flags]
plan.write("out", overwrite=True)
written: Path = parcelfence.write(plan, "out", formats=["gpkg"], dst_crs="EPSG:6535")
closer: parcelfence.Settings = settings.replaced(reach_m=1.5)
try:
    parcelfence.Settings.from_words({"reach": "8 ft"})
except parcelfence.ParcelFenceError as error:
    print([fault.remedy for fault in error.faults])

checked: parcelfence.Plan = parcelfence.check("wire.gpkg", site, settings=settings)
walk = parcelfence.calibrate("walk.gpx", "out", accuracy_m=0.1)
reach_m: float = walk.found.reach_m
comparison = parcelfence.compare(site, settings, reaches=["4 ft", 2.0], layouts=["whole-lot"])
plans: tuple[parcelfence.Plan, ...] = comparison.plans
rows: pd.DataFrame = parcelfence.comparison_table(comparison)
page: Path = parcelfence.write_comparison(comparison, "ways", choose=1)
remedies: list[str] = [remedy.words for remedy in parcelfence.what_would_do(site, settings)]
roles: list[str] = [report.role for report in parcelfence.inspect("a.geojson", "b.geojson")]

lots = geopandas.read_file("a.geojson")
tables: list[geopandas.GeoDataFrame] = [
    parcelfence.loops(lots, settings, buildings=lots),
    parcelfence.zones(lots),
    parcelfence.flags(lots),
    parcelfence.screen("a.geojson", settings, keep=["no"]),
    parcelfence.layer_tables(plan)["wire"],
    plan.layers()["zones"],
]
sheet: folium.Map = parcelfence.explore(plan)
axes: Axes = parcelfence.plot(plan)
drawing: str = parcelfence.picture(plan, width_px=200)
"""


def _checked(program: str, folder: Path) -> subprocess.CompletedProcess[str]:
    (folder / "consumer.py").write_text(program, encoding="utf-8")
    (folder / "mypy.ini").write_text("[mypy]\n", encoding="utf-8")  # nothing of our own configuration
    options = ["--strict", "--follow-imports=silent", "--config-file=mypy.ini"]
    words = [sys.executable, "-m", "mypy", *options, "consumer.py"]
    around = os.environ | {"MYPYPATH": str(Path(__file__).parents[1])}
    return subprocess.run(words, cwd=folder, env=around, capture_output=True, text=True, check=False)


def test_every_public_name_is_used_in_it() -> None:
    unused = [name for name in parcelfence.__all__ if f"parcelfence.{name}" not in CONSUMER]
    assert unused == ["__version__"]


def test_a_strict_consumer_without_plug_ins_has_no_errors(tmp_path: Path) -> None:
    done = _checked(CONSUMER, tmp_path)
    assert done.returncode == 0, done.stdout


def test_a_consumer_with_a_mistake_is_told(tmp_path: Path) -> None:
    done = _checked("import parcelfence\nparcelfence.Settings(reach='far', reech=2)\n", tmp_path)
    assert "reech" in done.stdout
    program = CONSUMER.replace("reach_m: float = walk.found", "reach_m: str = walk.found").replace(
        "sheet: folium.Map", "sheet: int"
    )
    said = _checked(program, tmp_path).stdout
    assert 'expression has type "float", variable has type "str"' in said
    assert 'variable has type "int"' in said
