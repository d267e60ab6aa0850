"""Files that would lead a library elsewhere: no connection is made, and no file is opened but the named one."""

from __future__ import annotations

import json
import math
import os
import shutil
import socket
import sqlite3
import stat
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import rasterio
from shapely.geometry import shape

from parcelfence.errors import CrsError, InputError, ParcelFenceError
from parcelfence.inputs.elevation import elevation_raster
from parcelfence.inputs.formats import layers_of
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import ElevationSource, Source
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.inputs.wire_file import read_wire
from tests.inputs.layers import feature, geojson, lot, shapefile, vector
from tests.rasters import plane, raster

if TYPE_CHECKING:
    from collections.abc import Callable

SECRET = "the-secret-file"  # noqa: S105  (the name of a file that nobody may open)
SECRET_PATH = f"/tmp/{SECRET}"  # noqa: S108  (never made, only looked for)
PORT = 9  # discard


def _vrt(folder: Path, name: str) -> Path:
    text = f"""<OGRVRTDataSource><OGRVRTLayer name="lots"><SrcDataSource>{SECRET_PATH}.shp</SrcDataSource>
    </OGRVRTLayer></OGRVRTDataSource>"""
    return _written(folder / name, text)


def _wfs(folder: Path, name: str) -> Path:
    return _written(folder / name, f"<OGRWFSDataSource><URL>http://127.0.0.1:{PORT}/x</URL></OGRWFSDataSource>")


def _wms(folder: Path, name: str) -> Path:
    text = f'<GDAL_WMS><Service name="WMS"><ServerUrl>http://127.0.0.1:{PORT}/</ServerUrl></Service></GDAL_WMS>'
    return _written(folder / name, text)


def _raster_vrt(folder: Path, name: str) -> Path:
    text = f"""<VRTDataset rasterXSize="9" rasterYSize="9"><VRTRasterBand dataType="Byte" band="1"><SimpleSource>
    <SourceFilename>{SECRET_PATH}.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"""
    return _written(folder / name, text)


def _gml(folder: Path, name: str) -> Path:
    text = f"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file://{SECRET_PATH}">]>
    <gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://127.0.0.1:{PORT}/x http://127.0.0.1:{PORT}/x.xsd">&e;</gml:FeatureCollection>"""
    return _written(folder / name, text)


def _gpx(folder: Path, name: str) -> Path:
    text = f"""<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY e SYSTEM "file://{SECRET_PATH}">]>
    <gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>&e;</name></trk></gpx>"""
    return _written(folder / name, text)


def _prj(folder: Path, name: str) -> Path:
    path = shapefile(folder)
    path.with_suffix(".prj").write_text(_gridded(), encoding="ascii")
    return path.rename(folder / name) if path.name != name else path


def _gridded() -> str:
    grids = f'SPHEROID["WGS 84",6378137,298.257223563],EXTENSION["PROJ4_GRIDS","{SECRET_PATH}"]'
    return f'GEOGCS["a",DATUM["b",{grids}],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]'


def _spatial_ref_sys(folder: Path, name: str) -> Path:
    path = vector(folder / name, [shape(lot()).wkt], driver="GPKG", crs="EPSG:4326", layer="lots")
    with sqlite3.connect(path) as database:
        database.execute("UPDATE gpkg_spatial_ref_sys SET definition = ?, organization = 'NONE'", (_gridded(),))
    return path


def _header(folder: Path, name: str) -> Path:
    path = vector(folder / name, [shape(lot()).wkt], driver="FlatGeobuf", crs="EPSG:6535", layer="lots")
    content = path.read_bytes()
    begins = content.index(b"PROJC")
    length = int.from_bytes(content[begins - 4 : begins], "little")
    wkt = _gridded().encode().ljust(length)
    assert len(wkt) == length
    path.write_bytes(content[:begins] + wkt + content[begins + length :])
    return path


def _tiff_with_grid(folder: Path, name: str) -> Path:
    path = folder / name
    crs = 'LOCAL_CS["' + "x" * 600 + '",UNIT["metre",1]]'
    where = rasterio.Affine(1, 0, 0, 0, -1, 10)
    options = {"driver": "GTiff", "width": 9, "height": 9, "count": 1, "dtype": "float32", "transform": where}
    with rasterio.open(path, "w", crs=crs, **options) as dataset:
        dataset.write(np.ones((9, 9), dtype="float32"), 1)
    content, text = path.read_bytes(), b"ESRI PE String = " + _gridded().encode()
    begins = content.index(b"x" * 600)
    path.write_bytes(content[:begins] + text.ljust(600) + content[begins + 600 :])
    return path


def _crs_member(folder: Path, name: str) -> Path:
    member = {"type": "name", "properties": {"name": f"+proj=longlat +nadgrids={SECRET_PATH} +type=crs"}}
    return geojson(folder / name, [feature(lot())], crs=member)


def _virtual_table(folder: Path, name: str) -> Path:
    path = vector(folder / name, [shape(lot()).wkt], driver="GPKG", crs="EPSG:4326", layer="lots")
    with sqlite3.connect(path) as database:
        database.execute("PRAGMA writable_schema = ON")
        sql = f"CREATE VIRTUAL TABLE elsewhere USING VirtualOGR('{SECRET_PATH}.shp')"
        database.execute("INSERT INTO sqlite_master VALUES ('table', 'elsewhere', 'elsewhere', 0, ?)", (sql,))
    return path


def _archived(make: Callable[[Path, str], Path], inner: str) -> Callable[[Path, str], Path]:
    def build(folder: Path, name: str) -> Path:
        path = make(folder, inner)
        with zipfile.ZipFile(folder / name, "w") as archive:
            for part in folder.glob(f"{path.stem}.*"):
                if part.suffix != ".zip":
                    archive.write(part, part.name)
        for part in folder.glob(f"{path.stem}.*"):
            if part.suffix != ".zip":
                part.unlink()
        return folder / name

    return build


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def _tiff_with_overview(folder: Path, name: str) -> Path:
    path = raster(folder / name, plane(0.1))
    with rasterio.open(path, "r+") as dataset:
        dataset.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"{SECRET_PATH}.ovr")
    return path


def _tiff_with_companions(folder: Path, name: str) -> Path:
    path = raster(folder / name, plane(0.1))
    _raster_vrt(folder, f"{name}.ovr")
    _raster_vrt(folder, f"{name}.msk")
    metadata = f'<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{SECRET_PATH}.ovr</MDI></Metadata>'
    _written(folder / f"{name}.aux.xml", f"<PAMDataset>{metadata}</PAMDataset>")
    return path


VECTORS = {
    "VRT named .fgb": (_vrt, "lots.fgb"),
    "VRT named .gpkg": (_vrt, "lots.gpkg"),
    "VRT named .shp": (_vrt, "lots.shp"),
    "VRT named .geojson": (_vrt, "lots.geojson"),
    "VRT named .vrt": (_vrt, "lots.vrt"),
    "VRT of no suffix": (_vrt, "lots"),
    "WFS named .fgb": (_wfs, "lots.fgb"),
    "WFS named .json": (_wfs, "lots.json"),
    "WFS named .xml": (_wfs, "lots.xml"),
    "GML": (_gml, "lots.gml"),
    "GML named .fgb": (_gml, "lots.fgb"),
    "grid named in .prj": (_prj, "lots.shp"),
    "grid named in crs member": (_crs_member, "lots.geojson"),
    "grid named in gpkg_spatial_ref_sys": (_spatial_ref_sys, "lots.gpkg"),
    "grid named in the header": (_header, "lots.fgb"),
    "virtual table": (_virtual_table, "lots.gpkg"),
    "zipped VRT named .fgb": (_archived(_vrt, "lots.fgb"), "lots.zip"),
    "zipped VRT named .shp": (_archived(_vrt, "lots.shp"), "lots.zip"),
    "zipped WFS named .geojson": (_archived(_wfs, "lots.geojson"), "lots.zip"),
    "zipped virtual table": (_archived(_virtual_table, "lots.gpkg"), "lots.zip"),
    "zipped grid named in .prj": (_archived(_prj, "lots.shp"), "lots.zip"),
    "GPX with an entity": (_gpx, "walk.gpx"),
}
RASTERS = {
    "VRT named .tif": (_raster_vrt, "dem.tif"),
    "VRT": (_raster_vrt, "dem.vrt"),
    "WMS named .tif": (_wms, "dem.tif"),
    "TIFF that names a grid": (_tiff_with_grid, "dem.tif"),
    "TIFF that names an overview": (_tiff_with_overview, "dem.tif"),
}


def _hostile(folder: Path) -> list[Path]:
    made = []
    for number, (make, name) in enumerate([*VECTORS.values(), *RASTERS.values()]):
        own = folder / f"case{number}"
        own.mkdir()
        made.append(make(own, name))
    own = folder / "companions"
    own.mkdir()
    return [*made, _tiff_with_companions(own, "dem.tif")]


@pytest.mark.parametrize(("make", "name"), VECTORS.values(), ids=VECTORS)
def test_a_vector_file_that_leads_elsewhere_is_refused_in_words(
    make: Callable[[Path, str], Path], name: str, tmp_path: Path
) -> None:
    path = make(tmp_path, name)
    with pytest.raises(InputError) as caught:
        read_table(Source(role="parcels", path=path)) if path.suffix != ".gpx" else read_wire(
            Source(role="wire", path=path)
        )
    assert path.stem in str(caught.value)
    assert "Traceback" not in str(caught.value)


@pytest.mark.parametrize(("make", "name"), RASTERS.values(), ids=RASTERS)
def test_a_raster_that_leads_elsewhere_is_refused_in_words(
    make: Callable[[Path, str], Path], name: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError):
        elevation_raster(ElevationSource(path=make(tmp_path, name)))


WORDS = (
    f"+proj=longlat +nadgrids={SECRET_PATH} +type=crs",
    f"+proj=longlat +ellps=GRS80 +geoidgrids={SECRET_PATH} +type=crs",
    f"init={SECRET_PATH}:x",
    f"+init={SECRET_PATH}:x +type=crs",
    f"+proj=pipeline +step +proj=hgridshift +grids={SECRET_PATH}",
    f'BOUNDCRS[x,ABRIDGEDTRANSFORMATION["a",METHOD["NTv2"],PARAMETERFILE["f","{SECRET_PATH}"]]]',
    json.dumps({"type": "BoundCRS", "parameters": [{"name": "file", "value": SECRET_PATH}]}),
    "9" * 5_000,
    "EPSG:" + "9" * 5_000,
    "x" * 30_000,
    "+proj=" * 2_000,
)


@pytest.mark.parametrize("words", WORDS)
def test_a_crs_that_names_a_file_is_refused(words: str) -> None:
    with pytest.raises(CrsError) as caught:
        crs_from_words(words)
    assert len(str(caught.value)) < 800


@pytest.mark.parametrize(
    "words", ["EPSG:4326", "2229", "NAD83 / Vermont", "+proj=merc +a=6378137 +b=6378137 +nadgrids=@null +type=crs"]
)
def test_a_crs_that_says_all_by_itself_is_taken(words: str) -> None:
    assert crs_from_words(words).is_geographic or crs_from_words(words).is_projected


@pytest.mark.parametrize(
    "name",
    ["PG:dbname=x", "/vsicurl/http://127.0.0.1:9/x.fgb", "http://127.0.0.1:9/x.geojson", "WFS:http://127.0.0.1:9", "-"],
)
def test_the_name_of_a_service_is_no_file(name: str) -> None:
    with pytest.raises(InputError, match=r"no such file|no folder|for an order|standard input"):
        read_table(Source(role="parcels", path=Path(name)))


TRACED = """
import sys
from pathlib import Path
from parcelfence.errors import ParcelFenceError
from parcelfence.inputs.elevation import elevation_grid, elevation_raster
from parcelfence.inputs.formats import layers_of
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import ElevationSource, Source
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.inputs.wire_file import read_wire
from shapely import box, transform
import numpy as np
for word in sys.argv[1:]:
    for work in (
        lambda: crs_from_words(word),
        lambda: layers_of(Path(word)),
        lambda: read_table(Source(role="parcels", path=Path(word))),
        lambda: read_wire(Source(role="wire", path=Path(word))),
        lambda: elevation_raster(ElevationSource(path=Path(word))),
    ):
        try:
            found = work()
            if hasattr(found, "affine"):
                inside = box(found.columns * 0.4, found.rows * 0.4, found.columns * 0.6, found.rows * 0.6)
                a, b, c, d, e, f = found.affine.ravel()
                ground = transform(inside, lambda xy: np.column_stack([
                    a * xy[:, 0] + b * xy[:, 1] + c, d * xy[:, 0] + e * xy[:, 1] + f]))
                elevation_grid(found, ground=ground, around=ground)
        except ParcelFenceError:
            pass
"""


@pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace")
def test_by_the_system_calls_nothing_else_is_opened_and_no_connection_made(tmp_path: Path) -> None:
    words = [str(path) for path in _hostile(tmp_path)] + list(WORDS[:7]) + [f"/vsicurl/http://127.0.0.1:{PORT}/x.fgb"]
    log = tmp_path / "calls"
    calls_of_interest = "trace=%network,open,openat,openat2"
    trace = ["strace", "-f", "--seccomp-bpf", "-qq", "-s", "300", "-e", calls_of_interest, "-o", str(log)]
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        [*trace, sys.executable, "-c", TRACED, *words],
        check=False,
        capture_output=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": root},
    )
    assert done.returncode == 0, done.stderr.decode()
    calls = log.read_text(encoding="utf-8", errors="replace").splitlines()
    assert len(calls) > 100
    assert not [call for call in calls if SECRET in call]
    assert not [call for call in calls if " connect(" in call or "AF_INET" in call]


def test_a_network_library_is_not_even_called(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    for path in _hostile(tmp_path)[:-2]:
        with pytest.raises(ParcelFenceError):
            read_table(Source(role="parcels", path=path))


# archives


def _zip(path: Path, entries: dict[str, bytes], *, compression: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return path


GOOD = json.dumps({"type": "FeatureCollection", "features": [feature(lot())]}).encode()


def test_names_that_climb_out_of_an_archive_lead_nowhere(tmp_path: Path) -> None:
    entries = {"../../../../tmp/climbed.geojson": GOOD, "readme.txt": b"x"}
    table = read_table(Source(role="parcels", path=_zip(tmp_path / "lots.zip", entries)))
    assert len(table.records) == 1
    assert not Path("/tmp/climbed.geojson").exists()  # noqa: S108
    assert {path.name for path in tmp_path.iterdir()} == {"lots.zip"}


def test_an_archive_that_would_fill_the_disk_is_refused(tmp_path: Path) -> None:
    bomb = _zip(tmp_path / "lots.zip", {"lots.shp": bytes(100_000_000)})
    with pytest.raises(InputError, match="would unpack to 100 MB"):
        read_table(Source(role="parcels", path=bomb))


def test_an_archive_with_two_files_of_one_name_is_refused(tmp_path: Path) -> None:
    path = _zip(tmp_path / "lots.zip", {"lots.geojson": GOOD, "LOTS.geojson": GOOD})
    with pytest.raises(InputError, match="two files of the same name"):
        read_table(Source(role="parcels", path=path))


def test_a_view_is_no_layer(tmp_path: Path) -> None:
    path = vector(tmp_path / "lots.gpkg", [shape(lot()).wkt], driver="GPKG", crs="EPSG:4326", layer="lots")
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid, NULL AS geom FROM n"
    with sqlite3.connect(path) as database:
        database.execute(f"CREATE VIEW endless AS {endless}")
        database.execute("UPDATE gpkg_contents SET table_name = 'endless'")
    with pytest.raises(InputError, match="is a view, an order to compute"):
        layers_of(path)


# what is no file, or cannot be read as one


def test_a_pipe_is_called_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "lots.geojson"
    os.mkfifo(path)
    assert stat.S_ISFIFO(path.stat().st_mode)
    with pytest.raises(InputError, match="it is a pipe or a device"):
        read_table(Source(role="parcels", path=path))


@pytest.mark.parametrize("name", ["x" * 300 + ".geojson", "a\0b.geojson", "x/" * 3000 + "y.gpkg"])
def test_a_name_that_is_none(name: str) -> None:
    with pytest.raises(InputError):
        read_table(Source(role="parcels", path=Path(name)))


NOT_NUMBERS = {"type": "Polygon", "coordinates": [[[math.nan, math.inf], [1e300, 0], [0, 0], [math.nan, math.nan]]]}


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"type":"FeatureCollection","features":[' + '{"a":' * 50_000,
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"id":' + "9" * 5_000 + "},"
        '"geometry":{"type":"Point","coordinates":[' + "9" * 5_000 + ",1]}}]}",
        json.dumps({"type": "FeatureCollection", "features": [feature(NOT_NUMBERS)]}),
        '{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":{},"coordinates":[]}}]}',
        '{"type":"GeometryCollection","geometries":[' * 300 + "1" + "]}" * 300,
    ],
)
def test_json_that_no_library_expects_is_refused_in_words(text: str, tmp_path: Path) -> None:
    path = _written(tmp_path / "lots.geojson", text)
    with pytest.raises(InputError) as caught:
        read_table(Source(role="parcels", path=path))
    assert len(str(caught.value)) < 1_500
