"""Add an output of one's own, as DEVELOPERS.md shows, and have it written beside the others."""

import json
import subprocess
import sys
from pathlib import Path

PACKAGE = Path("installed")
PACKAGE.mkdir()
(PACKAGE / "flag_list.py").write_text('''
"""The flags as a list for a clip-board."""

from parcelfence.outputs.writer import Writer


def write(delivery, folder):
    """Write a line for each flag."""
    lines = [f"flag {flag.flag} at {flag.station_m:.1f} m" for flag in delivery.plan.take_off.flags]
    (folder / "flags.txt").write_text("\\n".join(lines) + "\\n", encoding="utf-8")


flags = Writer(name="flag-list", files="flags.txt", meaning="flags as text", write=write, contract=1)
''')
INFO = PACKAGE / "flag_list-1.0.dist-info"
INFO.mkdir()
(INFO / "METADATA").write_text("Metadata-Version: 2.1\nName: flag-list\nVersion: 1.0\n")
(INFO / "entry_points.txt").write_text("[parcelfence.writers]\nflag-list = flag_list:flags\n")
sys.path.insert(0, str(PACKAGE.resolve()))

import parcelfence  # noqa: E402

site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
plan = parcelfence.plan(site)
plan.write("out", formats=["geojson", "flag-list"])
lines = Path("out/flags.txt").read_text(encoding="utf-8").splitlines()
assert len(lines) == len(plan.layers()["flags"]) > 10
assert json.loads(Path("out/summary.json").read_text(encoding="utf-8"))["files"]["flags.txt"]["writer"] == "flag-list"

# the command line knows it too
around = {"PYTHONPATH": str(PACKAGE.resolve())}
listed = subprocess.run(
    [sys.executable, "-m", "parcelfence", "formats"], check=True, capture_output=True, text=True, env=around
)
assert "flag-list" in listed.stdout
