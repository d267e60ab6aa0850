"""Files damaged at random, in their bytes and in their meaning: each must end in a table or in words."""

from __future__ import annotations

import copy
import json
import re
import shutil
import time
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np

from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.elevation import elevation_raster
from parcelfence.inputs.project_file import read_project
from parcelfence.inputs.source import ElevationSource, Source
from parcelfence.inputs.wire_file import read_wire
from parcelfence.layout.drawn import drawn_loop
from parcelfence.settings import Settings
from parcelfence.site.inspection import inspect_file
from tests.rasters import plane, raster
from tests.rules import sites

if TYPE_CHECKING:
    from numpy.random import Generator

SAMPLE = Path(__file__).parents[2] / "sample_geodata"
LONGEST_MESSAGE = 4_200
SLOW_S = 20.0
CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
JARGON = re.compile(r"<closed|Null layer|NoneType|object has no|Traceback|0x[0-9a-f]{6,}|<[A-Z][a-z]+ ")
NASTY = (
    *(b"\x1b]0;x\x07", b"\x1b[2J", b"\xe2\x80\xae", b"\x00", b"NaN", b"1e999", b"-Infinity", b"9" * 400, b"null"),
    *(b'"', b"{", b"[" * 300, b"]", b"}", b",", b"\xff\xfe", b"<!DOCTYPE x [", b"=1+1", b"-0.0", b"1e-320", b"EPSG:0"),
)
VALUES: tuple[Any, ...] = (
    *(None, True, -1, 0, 10**30, 1e300, float("nan"), "", "\x1b[2J", [], {}, [[]], [None], {"type": "Point"}),
    *([1, 2, 3, 4, 5], "Polygon", 10**400, "x" * 5_000, [[[0, 0]]], {"crs": {"properties": {"name": "+init=/x:y"}}}),
)


def originals(folder: Path) -> list[Path]:
    """Write one sound file of every format."""
    made = [shutil.copy(path, folder / path.name) for path in SAMPLE.glob("*.*")]
    made = [Path(path) for path in made]
    lots = geopandas.read_file(SAMPLE / "parcels.geojson")
    for name, driver in (("lots.gpkg", "GPKG"), ("lots.fgb", "FlatGeobuf"), ("lots.shp", "ESRI Shapefile")):
        lots[["parcel_no", "geometry"]].to_file(folder / name, driver=driver)
        made.append(folder / name)
    with zipfile.ZipFile(folder / "lots.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for part in folder.glob("lots.*"):
            if part.suffix in {".shp", ".shx", ".dbf", ".prj"}:
                archive.write(part, part.name)
    made += [folder / "lots.zip", raster(folder / "dem.tif", plane(0.1))]
    ring = "".join(f'<trkpt lat="{42.7 + y}" lon="{-76.2 + x}"/>' for x, y in ((0, 0), (1e-3, 0), (1e-3, 1e-3), (0, 0)))
    gpx = f'<?xml version="1.0"?><gpx version="1.1" creator="x"><trk><trkseg>{ring}</trkseg></trk></gpx>'
    (folder / "track.gpx").write_text(gpx, encoding="utf-8")
    (folder / "wire.dxf").write_text(_dxf(), encoding="ascii")
    return [*made, folder / "track.gpx", folder / "wire.dxf"]


def _dxf() -> str:
    pairs: list[tuple[int, object]] = [(0, "SECTION"), (2, "ENTITIES")]
    pairs += [(0, "LWPOLYLINE"), (8, "wire"), (90, 4), (70, 1)]
    for x, y in ((3, 3), (57, 3), (57, 37), (3, 37)):
        pairs += [(10, x), (20, y), (42, 0.2)]
    pairs += [(0, "LINE"), (8, "wire"), (10, 3), (20, 3), (11, 10), (21, 10)]
    pairs += [(0, "ARC"), (8, "wire"), (10, 9), (20, 9), (40, 2), (50, 0), (51, 90)]
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


def mutated(content: bytes, chance: Generator, *, is_json: bool) -> bytes:
    """Damage a file in one to four ways."""
    if is_json and chance.random() < 0.5:
        document = json.loads(content)
        for _ in range(chance.integers(1, 4)):
            _mutate_node(document, chance)
        return json.dumps(document).encode()
    damaged = bytearray(content)
    for _ in range(chance.integers(1, 5)):
        _damage(damaged, chance)
    return bytes(damaged)


def _damage(content: bytearray, chance: Generator) -> None:
    at = int(chance.integers(0, len(content) + 1))
    length = int(chance.integers(1, 60))
    how = int(chance.integers(0, 6))
    if how == 0:
        del content[at:]
    elif how == 1:
        content[at : at + length] = bytes(chance.integers(0, 256, length, dtype=np.uint8))
    elif how == 2:
        content[at:at] = NASTY[int(chance.integers(0, len(NASTY)))]
    elif how == 3:
        del content[at : at + length]
    elif how == 4:
        content[at:at] = content[at : at + 400 * length]
    else:
        content[at : at + length] = bytes(length) if chance.random() < 0.5 else b"\xff" * length


def _mutate_node(node: Any, chance: Generator) -> None:
    while isinstance(node, list | dict) and node:
        keys = list(range(len(node))) if isinstance(node, list) else list(node)
        key = keys[int(chance.integers(0, len(keys)))]
        inner = node[key]
        if not (isinstance(inner, list | dict) and inner) or chance.random() < 0.2:
            if isinstance(node, dict) and chance.random() < 0.2:
                del node[key]
            else:
                node[key] = copy.deepcopy(VALUES[int(chance.integers(0, len(VALUES)))])
            return
        node = inner


def attack_file(original: Path, *, seed: int, folder: Path) -> str:
    """Damage one file and read it in every way that fits; gives what is wrong with how that ended, or empty text."""
    chance = np.random.default_rng(seed)
    for beside in original.parent.glob(f"{original.stem}.*"):
        shutil.copy(beside, folder / beside.name)
    path = folder / original.name
    path.write_bytes(mutated(original.read_bytes(), chance, is_json=path.suffix == ".geojson"))
    begun = time.monotonic()
    try:
        said = _read(path)
    except ParcelFenceError as error:
        said = [str(error)]
    except Exception as error:  # noqa: BLE001  (that is what is looked for)
        import traceback

        last = traceback.extract_tb(error.__traceback__)[-1]
        own = [frame for frame in traceback.extract_tb(error.__traceback__) if "parcelfence/" in frame.filename][-1:]
        place = f"{Path(own[0].filename).name}:{own[0].lineno}" if own else last.name
        return f"{type(error).__name__} at {place}: {str(error)[:100]}"
    if time.monotonic() - begun > SLOW_S:
        return f"took {time.monotonic() - begun:.0f} s"
    for text in said:
        if len(text) > LONGEST_MESSAGE:
            return f"message of {len(text)} characters"
        if CONTROL.search(text):
            return f"control character in: {text[:120]!r}"
        if JARGON.search(text):
            return f"jargon: {text[:200]}"
    return ""


def _read(path: Path) -> list[str]:
    suffix = path.suffix.lower()
    if suffix == ".toml":
        read_project(path)
        return []
    if suffix == ".tif":
        elevation_raster(ElevationSource(path=path))
        return []
    said: list[str] = []
    if suffix not in {".gpx", ".dxf"}:
        for report in inspect_file(str(path), role=None, crs=None):
            said += [*report.faults, *report.repairs]
    try:
        wire = read_wire(Source(role="wire", path=path))
    except ParcelFenceError as error:
        return [*said, str(error)]
    said += [str(fault) for fault in wire.repairs]
    if suffix == ".dxf":
        drawn_loop(wire.lines, site=sites.site(), settings=Settings())
    return said
