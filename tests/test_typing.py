"""A project of somebody else, under a strict type checker without any plug-in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

CONSUMER = """
import parcelfence

settings = parcelfence.Settings(reach_m=2.4, units="us")
site = parcelfence.read_site(parcels="a.geojson", buildings="b.geojson", marks=["c.geojson"], select="no=1")
plan: parcelfence.Plan = parcelfence.plan(site, settings)
messages: list[str] = [conflict.message for conflict in plan.conflicts if conflict.severity == "must_fix"]
lengths: list[float] = [flag.station_m for flag in plan.take_off.flags]
plan.write("out", overwrite=True)
closer: parcelfence.Settings = settings.replaced(reach_m=1.5)
try:
    parcelfence.Settings.from_words({"reach": "8 ft"})
except parcelfence.ParcelFenceError as error:
    print(error.faults)
"""


def _checked(program: str, folder: Path) -> subprocess.CompletedProcess[str]:
    (folder / "consumer.py").write_text(program, encoding="utf-8")
    (folder / "mypy.ini").write_text("[mypy]\n", encoding="utf-8")  # nothing of our own configuration
    options = ["--strict", "--follow-imports=silent", "--config-file=mypy.ini"]
    words = [sys.executable, "-m", "mypy", *options, "consumer.py"]
    around = os.environ | {"MYPYPATH": str(Path(__file__).parents[1])}
    return subprocess.run(words, cwd=folder, env=around, capture_output=True, text=True, check=False)


def test_a_strict_consumer_without_plug_ins_has_no_errors(tmp_path: Path) -> None:
    done = _checked(CONSUMER, tmp_path)
    assert done.returncode == 0, done.stdout


def test_a_consumer_with_a_mistake_is_told(tmp_path: Path) -> None:
    done = _checked("import parcelfence\nparcelfence.Settings(reach='far', reech=2)\n", tmp_path)
    assert "reech" in done.stdout
