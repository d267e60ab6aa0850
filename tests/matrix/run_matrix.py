"""Run the package as a stranger would: built, installed in fresh environments, on several Pythons and versions.

    python tests/matrix/run_matrix.py python3.11 python3.12 python3.13

For every Python two environments are made: one with the newest version of every dependency, one with the lowest that
``pyproject.toml`` declares.  Each plans the sample, screens its parcels and plans the shapefiles in US survey feet.
The outputs of all environments must be the same, byte for byte; what differs is named, and the status is 1.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
STATE_PLANE = "sample/state_plane_feet"
RUNS: dict[str, list[str]] = {
    "sample": ["sample", "sample"],
    "plan": ["plan", "sample/SITE.toml", "--out", "plan", "--formats", "DEFAULT,kml,survey"],
    "screen": ["screen", "sample/parcels.geojson", "--reach", "5 ft", "--out", "screening.gpkg"],
    "feet": [
        "plan",
        *("--parcels", f"{STATE_PLANE}/parcels.shp", "--buildings", f"{STATE_PLANE}/buildings.shp"),
        *("--marks", f"{STATE_PLANE}/marks_lines.shp", "--marks", f"{STATE_PLANE}/marks_points.shp"),
        *("--select", "parcel_no=31-07", "--dst-crs", "EPSG:6535", "--units", "us", "--out", "feet"),
    ],
}
USABLE = {0, 3}
"""Exit status: done, and done with conflicts that must be fixed."""


def lowest_versions() -> list[str]:
    """Pin every dependency to the lowest version that is declared."""
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    return [re.sub(r"^([\w.-]+)(?:>=|==)([\w.*]+).*", r"\1==\2", requirement) for requirement in declared]


def make_environment(folder: Path, *, python: str, wheel: Path, pins: list[str]) -> Path:
    """Make a fresh environment with the wheel; returns its program."""
    subprocess.run([python, "-m", "venv", folder], check=True)
    pip = [folder / "bin" / "python", "-m", "pip", "--disable-pip-version-check"]
    subprocess.run([*pip, "install", "-q", "--only-binary", ":all:", wheel, *pins], check=True)
    subprocess.run([*pip, "check"], check=True, stdout=subprocess.DEVNULL)
    return folder / "bin" / "parcelfence"


def run_all(program: Path, *, folder: Path) -> dict[str, str]:
    """Run everything in a folder; returns the hash of every file by its name, and of what was said."""
    folder.mkdir()
    for name, arguments in RUNS.items():
        words = [word.replace("DEFAULT", "gpkg,geojson,map,worksheet,stakeout,gpx,dxf") for word in arguments]
        done = subprocess.run([program, *words], cwd=folder, capture_output=True, text=True, check=False)
        if done.returncode not in USABLE:
            raise SystemExit(f"{program} {' '.join(words)} ended with {done.returncode}:\n{done.stderr}")
        (folder / f"{name}.txt").write_text(done.stdout, encoding="utf-8")
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def versions(program: Path) -> str:
    """Name the versions that matter for the bytes."""
    names = ("numpy", "scipy", "numba", "shapely", "pyproj", "fiona", "pyogrio", "pandas", "geopandas", "ezdxf")
    code = f"from importlib.metadata import version; print(*(f'{{n}} {{version(n)}}' for n in {names!r}), sep=', ')"
    done = subprocess.run([program.parent / "python", "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def build_wheel(folder: Path) -> Path:
    """Build the wheel by way of the source distribution, so that both are proven."""
    environment = folder / "build"
    subprocess.run([sys.executable, "-m", "venv", environment], check=True)
    python = environment / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", "build"], check=True)
    subprocess.run([python, "-m", "build", "-o", folder / "dist", ROOT], check=True, stdout=subprocess.DEVNULL)
    return next((folder / "dist").glob("*.whl"))


def main() -> int:
    """Make the environments one after the other and compare what they write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pythons", nargs="*", default=[sys.executable], metavar="PYTHON")
    parser.add_argument("--only", choices=["newest", "lowest"], help="leave the other versions out")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="work in this folder and keep it")
    given = parser.parse_args()
    kinds = [given.only] if given.only else ["newest", "lowest"]
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.keep or Path(temporary)
        folder.mkdir(exist_ok=True)
        wheel, first, differing = build_wheel(folder), None, 0
        for python in given.pythons:
            for kind in kinds:
                name = f"{Path(python).parent.parent.name or 'python'}-{Path(python).name}-{kind}"
                pins = lowest_versions() if kind == "lowest" else []
                program = make_environment(folder / name, python=python, wheel=wheel, pins=pins)
                found = run_all(program, folder=folder / f"{name}-out")
                first = first or found
                different = sorted(path for path in first | found if first.get(path) != found.get(path))
                differing += len(different)
                result = f"differs: {', '.join(different)}" if different else f"{len(found)} files, the same bytes"
                print(f"{name}: {result}\n    {versions(program)}", flush=True)
    return int(differing > 0)


if __name__ == "__main__":
    sys.exit(main())
