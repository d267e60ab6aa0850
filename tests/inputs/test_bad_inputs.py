"""Bad inputs and what a person is told about each: refused with a reason, or mended and said so.

Run ``python -m tests.inputs.test_bad_inputs`` to read all the messages.
"""

from __future__ import annotations

import json
import math
import tempfile
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from parcelfence.errors import InputError
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from tests.inputs.layers import SOUTH, WEST, feature, geojson, lot, polygon, shapefile, vector
from tests.realdata import real_data

if TYPE_CHECKING:
    from collections.abc import Callable

GOOD = feature(lot(), parcel_no="31-07")
FAR_POINT = {"type": "Point", "coordinates": [WEST, SOUTH]}
LINE = {"type": "LineString", "coordinates": [[WEST, SOUTH], [WEST + 0.001, SOUTH]]}
SQUARE_FEET = "POLYGON ((919000 988000, 919000 988300, 919300 988300, 919300 988000, 919000 988000))"


@dataclass(frozen=True)
class Bad:
    """A bad input: how it is made, what is said, and how many records are left (None: it is refused)."""

    name: str
    make: Callable[[Path], Path]
    says: tuple[str, ...]
    left: int | None = None
    source: dict[str, Any] = field(default_factory=dict)


def collection(*features: Any, **members: Any) -> Callable[[Path], Path]:
    return lambda folder: geojson(folder / "lots.geojson", features, **members)


def text(content: str | bytes, *, name: str = "lots.geojson") -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return make


def misspelt(folder: Path) -> Path:
    geojson(folder / "parcels.geojson", [GOOD])
    return folder / "parcel.geojson"


def archive(folder: Path) -> Path:
    path = folder / "download.zip"
    with zipfile.ZipFile(path, "w") as target:
        target.writestr("readme.pdf", b"%PDF")
    return path


def two_layers(folder: Path) -> Path:
    for name in ("north", "south"):
        vector(folder / "town.gpkg", [SQUARE_FEET], driver="GPKG", layer=name)
    return folder / "town.gpkg"


def cut(path: Path, *, keep: int) -> Path:
    path.write_bytes(path.read_bytes()[:keep])
    return path


def overwritten(path: Path) -> Path:
    content = bytearray(path.read_bytes())
    content[4096:20000] = b"\xfd" * (20000 - 4096)
    path.write_bytes(bytes(content))
    return path


def with_projection(text_of_prj: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        path = shapefile(folder)
        path.with_suffix(".prj").write_text(text_of_prj, encoding="utf-8")
        return path

    return make


def latin(path: Path) -> Path:
    """Write the same text in another encoding, with its letters as they are."""
    content = json.loads(path.read_text(encoding="utf-8"))
    path.write_bytes(json.dumps(content, ensure_ascii=False).encode("cp1252"))
    return path


def sequence(folder: Path) -> Path:
    lines = [json.dumps(GOOD), json.dumps(GOOD), "{oops"]
    return text("\n".join(lines), name="lots.geojsonl")(folder)


SURVEY = "1,988488.5,919123.4,1196.1,GAS MK\n2,988510.7,919134.5,1196.5,GAS MK\n"
MARKS = {"role": "marks"}
IN_FEET = {"role": "marks", "crs": "EPSG:6535"}

BAD = (
    # files
    Bad("misspelt name", misspelt, ("no such file", "did you mean 'parcels.geojson'")),
    Bad("no such folder", lambda folder: folder / "gone" / "lots.shp", ("there is no folder",)),
    Bad("folder", lambda folder: folder, ("it is a folder", "name the file")),
    Bad("no bytes", text(""), ("empty (0 bytes)", "get it again")),
    Bad(
        "part of a shapefile", lambda folder: shapefile(folder).with_suffix(".dbf"), ("not the one to name", "lots.shp")
    ),
    Bad(
        "shapefile without index", lambda folder: shapefile(folder, without=[".shx"]), ("lots.shx", "copy all of them")
    ),
    Bad(
        "shapefile without .prj", lambda folder: shapefile(folder, without=[".prj"]), ("`crs`", "never guessed", ".prj")
    ),
    Bad(
        "shapefile without attributes",
        lambda folder: shapefile(folder, without=[".dbf"]),
        ("lots.dbf", "attributes are missing"),
        left=1,
    ),
    Bad("shapefile cut off", lambda folder: cut(shapefile(folder), keep=60), ("lots.shp",)),
    Bad(
        "web page saved as data",
        text("<html><body>Sign in</body></html>"),
        ("stops being JSON at line 1", "export it again"),
    ),
    Bad(
        "GeoJSON cut off",
        text('{"type": "FeatureCollection", "features": [{"type": "Fea'),
        ("stops being JSON", "cut off"),
    ),
    Bad("JSON of something else", text('{"name": "lots", "version": 2}'), ("its type is None", "FeatureCollection")),
    Bad(
        "picture named .gpkg",
        text(b"\x89PNG\r\n\x1a\n" + bytes(64), name="map.gpkg"),
        ("is no GeoPackage", "export it again"),
    ),
    Bad("table named .kml", text("<kml></kml>", name="lots.kml"), ("cannot be opened", "GeoPackage")),
    Bad("archive without data", archive, ("archive holds no shapefile",)),
    Bad("broken archive", text(b"PK\x03\x04 nothing", name="lots.zip"), ("cannot be opened", "lots.zip")),
    Bad("GeoPackage cut off", lambda folder: cut(two_layers(folder), keep=40_000), ("cut off", "bytes are missing")),
    Bad("GeoPackage damaged", lambda folder: overwritten(two_layers(folder)), ("town.gpkg", "damaged")),
    Bad("layer not named", two_layers, ("2 layers (north, south)", "town.gpkg:north")),
    Bad("no such layer", two_layers, ("no layer 'sourth'", "did you mean 'south'"), source={"layer": "sourth"}),
    Bad(
        "no such field",
        collection(GOOD),
        ("no field 'parcel_nr'", "did you mean 'parcel_no'"),
        source={"id_field": "parcel_nr"},
    ),
    # nothing in it
    Bad("empty layer of parcels", collection(), ("holds no features",)),
    Bad("empty layer of marks", collection(), ("holds no features",), left=0, source=MARKS),
    Bad("every geometry null", collection(feature(None), feature(None)), ("none of its 2 features", "no geometry")),
    Bad(
        "one geometry null",
        collection(GOOD, feature(None, parcel_no="8")),
        ("2 (parcel_no 8)", "no geometry", "left out"),
        left=1,
    ),
    # coordinates
    Bad(
        "metres without CRS",
        collection(feature(lot(492300.0, 34000.0, size=50.0))),
        ("cannot be degrees", "metres or feet", "`crs`"),
    ),
    Bad("local drawing", collection(feature(lot(0.0, 0.0, size=80.0))), ("more than 100 km across", "local drawing")),
    Bad("swapped beyond the pole", collection(feature(lot(37.33, -121.90))), ("swapped", "exchanged"), left=1),
    Bad("swapped to the Antarctic", collection(feature(lot(SOUTH, WEST))), ("swapped", "exchanged"), left=1),
    Bad(
        "one latitude beyond the pole",
        collection(GOOD, GOOD, feature(lot(WEST, 142.7))),
        ("feature 3", "cannot be degrees", "left out"),
        left=2,
    ),
    Bad(
        "coordinate not a number",
        collection(GOOD, feature(polygon([(0, 0), (1, math.nan), (1, 1), (0, 0)]))),
        ("not finite", "left out"),
        left=1,
    ),
    Bad(
        "degrees under a projected CRS",
        collection(GOOD, crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::6535"}}),
        ("look like degrees", "EPSG:4326"),
    ),
    Bad(
        "degrees as web Mercator",
        collection(GOOD, crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::3857"}}),
        ("look like degrees",),
    ),
    Bad(
        "feet read as metres",
        lambda folder: shapefile(folder, without=[".prj"]),
        ("far outside the area", "metres or feet"),
        source={"crs": "EPSG:26913"},
    ),
    # coordinate reference systems
    Bad(
        "crs member of no meaning",
        collection(GOOD, crs={"type": "name", "properties": {"name": "my grid"}}),
        ("'my grid'", "not known"),
    ),
    Bad(
        "projection file of no meaning",
        with_projection('PROJCS["x",GEOGCS["y"'),
        ("never guessed", "cannot be understood"),
    ),
    Bad(
        "crs that contradicts",
        shapefile,
        ("only one of them can be true", "override:EPSG:2229"),
        source={"crs": "EPSG:2229"},
    ),
    Bad(
        "projected crs for degrees",
        collection(GOOD),
        ("GeoJSON standard says", "override:"),
        source={"crs": "EPSG:6535"},
    ),
    Bad("crs misspelt", collection(GOOD), ("'EPGS:4326'", "EPSG:4326"), source={"crs": "EPGS:4326"}),
    Bad(
        "crs of heights",
        text(SURVEY, name="shots.csv"),
        ("vertical", "horizontal"),
        source={"crs": "EPSG:5703", **MARKS},
    ),
    # geometry
    Bad("points as parcels", collection(feature(FAR_POINT)), ("is a point", "takes areas", "right file for this role")),
    Bad("lines as buildings", collection(feature(LINE)), ("is a line", "takes areas"), source={"role": "buildings"}),
    Bad(
        "closed line as parcel",
        collection(feature({"type": "LineString", "coordinates": lot()["coordinates"][0]})),
        ("closed line taken as the area",),
        left=1,
    ),
    Bad(
        "bow-tie",
        collection(feature(polygon([(0, 0), (1, 1), (1, 0), (0, 1), (0, 0)]))),
        ("outline mended", "self-inter"),
        left=1,
    ),
    Bad(
        "ring not closed",
        collection(feature(polygon([(0, 0), (1, 0), (1, 1), (0, 1)]))),
        ("unclosed ring closed",),
        left=1,
    ),
    Bad(
        "part written as a hole",
        collection(
            feature(polygon([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)], [(2, 0), (3, 0), (3, 1), (2, 1), (2, 0)]))
        ),
        ("hole lies outside",),
        left=1,
    ),
    Bad(
        "ring of two vertices",
        collection(GOOD, feature(polygon([(0, 0), (1, 1), (0, 0)]))),
        ("feature 2", "left out"),
        left=1,
    ),
    Bad(
        "no width",
        collection(GOOD, feature(polygon([(0, 0), (1, 1), (2, 2), (0, 0)]))),
        ("no width", "left out"),
        left=1,
    ),
    Bad(
        "heights in some vertices",
        collection(feature(polygon([(0, 0, 5), (1, 0), (1, 1, 5), (0, 1), (0, 0, 5)]))),
        ("heights (Z) dropped",),
        left=1,
    ),
    Bad(
        "unknown geometry",
        collection(GOOD, feature({"type": "Circle", "coordinates": [1, 2]})),
        ("'Circle' is not known",),
        left=1,
    ),
    Bad(
        "coordinates in quotes",
        collection(GOOD, feature({"type": "Polygon", "coordinates": "x"})),
        ("cannot be read",),
        left=1,
    ),
    Bad(
        "mixed collection",
        collection(feature({"type": "GeometryCollection", "geometries": [lot(), LINE]})),
        ("only its areas kept",),
        left=1,
    ),
    # text and survey points
    Bad(
        "text not UTF-8",
        lambda folder: latin(geojson(folder / "lots.geojson", [feature(lot(), name="Mühle")])),
        ("Windows-1252", "accents"),
        left=1,
    ),
    Bad("line of a sequence broken", sequence, ("line 3 is not JSON", "left out"), left=2),
    Bad(
        "survey points without CRS", text(SURVEY, name="shots.csv"), ("`crs`", "look like metres or feet"), source=MARKS
    ),
    Bad("survey points as parcels", text(SURVEY, name="shots.csv"), ("is a point",), source={"crs": "EPSG:6535"}),
    Bad(
        "survey heading without northing",
        text("id,depth,code\n1,2,GAS\n", name="shots.csv"),
        ("no northing",),
        source=IN_FEET,
    ),
    Bad(
        "survey file without end of quotes",
        text('1,2,3,4,"GAS' + "x" * 200_000, name="shots.csv"),
        ("no table of text", "plain CSV"),
        source=IN_FEET,
    ),
    Bad(
        "survey file of one column",
        text("988488.5\n919123.4\n", name="shots.csv"),
        ("1 column", "point,northing"),
        source=IN_FEET,
    ),
    Bad(
        "survey row broken",
        text(SURVEY + "3,n/a,919140.1,,GAS\n", name="shots.csv"),
        ("line 3", "n/a"),
        left=2,
        source=IN_FEET,
    ),
    Bad(
        "northing and easting exchanged",
        text("1,6149415.0,1944609.0,90,GAS\n2,6149425.0,1944619.0,90,GAS\n", name="shots.csv"),
        ("easting and northing exchanged",),
        source={"role": "marks", "crs": "EPSG:2227"},
    ),
)


def told(bad: Bad, folder: Path) -> tuple[str, int | None]:
    """Give what is said about a bad input, and how many records are left; None where it is refused."""
    source = Source(**{"role": "parcels", "path": bad.make(folder), **bad.source})
    try:
        table = read_table(source)
    except InputError as error:
        return str(error), None
    return "\n".join(map(str, table.repairs)), len(table.records)


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_a_bad_input_gets_a_message_that_helps(bad: Bad, tmp_path: Path) -> None:
    message, left = told(bad, tmp_path)
    assert left == bad.left, message
    for words in bad.says:
        assert words.casefold() in message.casefold(), message
    assert "Traceback" not in message
    assert "object at 0x" not in message


def test_there_are_at_least_forty() -> None:
    assert len({bad.name for bad in BAD}) == len(BAD) >= 40


@pytest.mark.parametrize(
    ("name", "role", "says", "left"),
    [
        (
            "tunbridge_ring_self_intersections.geojson",
            "parcels",
            "outline mended (ring self-intersection) (11 features)",
            111,
        ),
        ("chelsea_lines_all_null.geojson", "marks", "none of its 24 features can be used as marks", None),
        ("bradford_lines_some_empty.geojson", "marks", "its geometry is empty (4 features left out)", 81),
        ("swanton_multilines.geojson", "marks", "", 200),
    ],
)
def test_the_defective_files_met_in_the_wild(name: str, role: str, says: str, left: int | None) -> None:
    source = Source(role=role, path=real_data(f"defects/{name}"))
    if left is None:
        with pytest.raises(InputError, match=says):
            read_table(source)
        return
    table = read_table(source)
    assert len(table.records) == left
    assert says in "\n".join(map(str, table.repairs))
    assert all(record.geometry.is_valid and not record.geometry.has_z for record in table.records)


if __name__ == "__main__":
    for case in BAD:
        with tempfile.TemporaryDirectory() as temporary:
            message, left = told(case, Path(temporary))
            print(f"{case.name} -> {'refused' if left is None else f'{left} left'}\n  {message}\n")  # noqa: T201
