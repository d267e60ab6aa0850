"""Time `parcelfence plan` on the sample as a whole process, and its shares: run by hand, not by pytest.

python tests/benchmarks/bench_plan.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SAMPLE = Path(__file__).parents[2] / "sample_geodata" / "SITE.toml"
SHARES = """
import time
begun = time.perf_counter()
from parcelfence import planning
from parcelfence.inputs.project_file import read_project
from parcelfence.outputs import delivery, map_page, registry, dxf, gpx, geopackage
from parcelfence.site.reading import project_site
import ezdxf, fiona, folium, gpxpy
imported = time.perf_counter()
project = read_project(__import__("pathlib").Path({sample!r}))
site = project_site(project)
read = time.perf_counter()
plan = planning.plan(site, project.settings)
planned = time.perf_counter()
planning.plan(site, project.settings)
again = time.perf_counter()
plan.write({out!r})
written = time.perf_counter()
print(f"imports {{imported - begun:.2f}} s, reading {{read - imported:.2f}} s, computing {{planned - read:.2f}} s "
      f"(once warm {{again - planned:.2f}} s), writing {{written - again:.2f}} s")
"""


def main() -> None:
    """Print the median of five whole processes, and the shares of one."""
    seconds = []
    with tempfile.TemporaryDirectory() as folder:
        for turn in range(5):
            out = Path(folder) / str(turn)
            begun = time.perf_counter()
            subprocess.run(
                [sys.executable, "-m", "parcelfence", "plan", str(SAMPLE), "--out", str(out)],
                check=True,
                stdout=subprocess.DEVNULL,
            )
            seconds.append(time.perf_counter() - begun)
        print(f"plan, whole process: median of 5 {statistics.median(seconds):.2f} s, {[round(s, 2) for s in seconds]}")
        program = SHARES.format(sample=str(SAMPLE), out=str(Path(folder) / "shares"))
        subprocess.run([sys.executable, "-c", program], check=True)
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-m", "parcelfence", "--version"], check=True, stdout=subprocess.DEVNULL)
        print(f"--version: {time.perf_counter() - begun:.2f} s")


if __name__ == "__main__":
    main()
