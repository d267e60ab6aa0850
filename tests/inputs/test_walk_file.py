"""Walks in every kind of file, and what is refused of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import pytest
from shapely import LineString, MultiPoint, Point

from parcelfence.errors import CrsError, InputError
from parcelfence.inputs.source import Source
from parcelfence.inputs.walk_file import WalkedPoints, WalkedStations, read_walk
from parcelfence.settings import Settings
from tests.inputs.layers import SOUTH, WEST, feature, geojson

if TYPE_CHECKING:
    from pathlib import Path

METRIC, US = Settings(), Settings(units="us", station_format="us")


def point(number: int) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [WEST + number / 1e5, SOUTH]}


def walk(path: Path, *, crs: str | None = None, settings: Settings = METRIC) -> WalkedPoints | WalkedStations:
    return read_walk(Source(role="walk", path=path, crs=crs), settings=settings)


def points(path: Path, *, crs: str | None = None) -> WalkedPoints:
    found = walk(path, crs=crs)
    assert isinstance(found, WalkedPoints)
    return found


def stations(path: Path, *, settings: Settings = METRIC) -> WalkedStations:
    found = walk(path, settings=settings)
    assert isinstance(found, WalkedStations)
    return found


def written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def gpx(path: Path, content: str) -> Path:
    return written(path, f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{content}</gpx>')


def test_points_of_geojson_keep_their_names_and_their_order(tmp_path: Path) -> None:
    several = {"type": "MultiPoint", "coordinates": [[WEST, SOUTH, 3.0], [WEST, SOUTH + 1e-5, 4.0]]}
    line = {"type": "LineString", "coordinates": [[WEST, SOUTH], [WEST, SOUTH + 1e-5]]}
    rows = [
        feature(point(2), Name="gate"),
        feature(point(1)),
        feature(several, point="p3"),
        feature(line),
        feature(None),
    ]
    found = points(geojson(tmp_path / "walk.geojson", rows))
    assert found.names == ("gate", "point 2", "p3", "p3")
    assert found.coordinates[:2, 0] == pytest.approx([WEST + 2e-5, WEST + 1e-5])
    assert found.coordinates.shape == (4, 2)
    assert found.crs.to_epsg() == 4326
    told = [str(repair) for repair in found.repairs]
    assert any("feature 4" in text and "LineString" in text for text in told)
    assert any("feature 5" in text and "no geometry" in text for text in told)


def test_swapped_latitudes_are_turned_and_told(tmp_path: Path) -> None:
    rows = [feature({"type": "Point", "coordinates": [SOUTH, WEST - 20]}) for _ in range(3)]
    found = points(geojson(tmp_path / "walk.geojson", rows))
    assert found.coordinates[0] == pytest.approx([WEST - 20, SOUTH])
    assert any("swapped" in str(repair) for repair in found.repairs)


def test_a_layer_of_a_geopackage(tmp_path: Path) -> None:
    table = geopandas.GeoDataFrame({"id": [7]}, geometry=[MultiPoint([(500_000, 4_700_000)])], crs=32618)
    table.to_file(tmp_path / "site.gpkg", layer="walk")
    table.to_file(tmp_path / "site.gpkg", layer="trees")
    found = points(tmp_path / "site.gpkg")
    assert found.names == ("7",)
    assert found.crs.to_epsg() == 32618


def test_waypoints_without_the_flags_of_the_plan(tmp_path: Path) -> None:
    flags = '<wpt lat="42.7" lon="-76.2"><name>Flag 12</name></wpt>'
    heard = '<wpt lat="42.71" lon="-76.21"><name>H1</name></wpt><wpt lat="42.72" lon="-76.21"/>'
    track = '<trk><trkseg><trkpt lat="42.7" lon="-76.2"/></trkseg></trk>'
    found = points(gpx(tmp_path / "walk.gpx", flags + heard + track))
    assert found.names == ("H1", "point 2")
    assert found.coordinates.tolist() == [[-76.21, 42.71], [-76.21, 42.72]]
    assert "1 flag of a plan" in str(found.repairs[0])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('<trk><trkseg><trkpt lat="42.7" lon="-76.2"/></trkseg></trk>', ("1 track", "the way walked")),
        ('<wpt lat="42.7" lon="-76.2"><name>Flag 3</name></wpt>', ("1 flag of a plan",)),
        ("", ("it holds nothing",)),
    ],
    ids=["track", "flags", "nothing"],
)
def test_a_gpx_without_walked_points_is_refused(content: str, words: tuple[str, ...], tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        walk(gpx(tmp_path / "walk.gpx", content))
    assert all(word in str(caught.value) for word in (*words, "Save one point at every place"))


def test_survey_points_need_their_crs(tmp_path: Path) -> None:
    path = written(tmp_path / "walk.csv", "h1,4700001.5,500002.5,101.2,heard\nh2,4700003.5,500004.5,,heard\nh3,x,y,,\n")
    with pytest.raises(CrsError, match="`walk_crs` EPSG:2229"):
        walk(path)
    found = points(path, crs="EPSG:32618")
    assert found.names == ("h1", "h2")
    assert found.coordinates[0].tolist() == [500002.5, 4700001.5]
    assert "line 3" in str(found.repairs[0])


def test_columns_of_longitude_and_latitude_are_wgs84_unless_another_is_given(tmp_path: Path) -> None:
    path = written(tmp_path / "walk.csv", f"Lon,Lat,name\n{WEST},{SOUTH},a\n{WEST},{SOUTH},b\n")
    found = points(path)
    assert (found.crs.to_epsg(), found.names) == (4326, ("a", "b"))
    assert found.coordinates[0].tolist() == [WEST, SOUTH]
    assert "taken as WGS 84" in found.crs_origin
    assert points(path, crs="EPSG:4269").crs.to_epsg() == 4269


def test_stations_with_their_distance(tmp_path: Path) -> None:
    text = "Point;Station;Distance [m];Side;Loop ID\na;0+042,5;2,4;Inside;L1\n;120,25;8 ft;out;K1\nc;130;;in;L1\n"
    found = stations(written(tmp_path / "walk.csv", text))
    first, second = found.stations
    assert (first.station_m, first.distance_m, first.side, first.loop_id) == (42.5, 2.4, "inside", "L1")
    assert (second.station_m, second.side, second.loop_id) == (120.25, "outside", "K1")
    assert second.distance_m == pytest.approx(2.4384)
    assert found.names == ("a", "line 3")
    assert "rows without a distance were left out: line 4." in str(found.repairs[0])


def test_stations_in_feet(tmp_path: Path) -> None:
    path = written(tmp_path / "walk.csv", 'sta,distance_ft\n1+50.0,8\n2+00,"8\' 6"""\n')
    first, second = stations(path, settings=US).stations
    assert (first.station_m, first.distance_m) == pytest.approx((150 * 0.3048, 2.4384))
    assert (second.station_m, second.distance_m) == pytest.approx((200 * 0.3048, 8.5 * 0.3048))
    assert (first.side, first.loop_id) == ("", "")


def test_labels_follow_the_unit_of_their_heading(tmp_path: Path) -> None:
    path = written(tmp_path / "walk.csv", "station_ft,distance\n1+50.0,2 m\n")
    assert stations(path).stations[0].station_m == pytest.approx(150 * 0.3048)


def test_all_faulty_cells_are_told_together(tmp_path: Path) -> None:
    text = "station,distance,side\n40,near,in\nx,2,in\n50,-2,in\n60,2,north\n70,2,in\n80,2 cubits,in\n"
    with pytest.raises(InputError) as caught:
        walk(written(tmp_path / "walk.csv", text))
    said = str(caught.value)
    assert said.startswith("5 faults")
    for words in ("line 2: 'near' is not", "line 3", "line 4: the distance -2 is negative", "'north'", "'cubits'"):
        assert words in said


def test_bare_numbers_in_a_plan_in_feet_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="distance_ft or distance_m"):
        walk(written(tmp_path / "walk.csv", "station_ft,distance\n40,8\n"), settings=US)


def test_coordinates_win_over_stations(tmp_path: Path) -> None:
    path = written(tmp_path / "walk.csv", "northing,easting,station,distance\n4700001.5,500002.5,40,2\n")
    assert points(path, crs="EPSG:32618").coordinates.tolist() == [[500002.5, 4700001.5]]


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("walk.csv", "", "0 bytes"),
        ("walk.csv", "station,distance\n", "no walked points"),
        ("walk.csv", "lon,lat\n", "no walked points"),
        ("walk.csv", "a,b\nc,d\n", "no northing and no easting"),
        ("walk.geojson", "", "0 bytes"),
        ("walk.geojson", '{"type": "FeatureCollection", "features": []}', "no walked points"),
        ("walk.gpx", "hello", "no GPX"),
        ("walk.csv", "lon,lat\n500000,4700000\n", "cannot be degrees"),
    ],
)
def test_what_is_no_walk_is_refused(name: str, text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=words):
        walk(written(tmp_path / name, text))


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    for name in ("walk.csv", "walk.gpx", "walk.geojson"):
        with pytest.raises(InputError, match="no such file"):
            walk(tmp_path / name)


def test_lines_alone_are_refused(tmp_path: Path) -> None:
    line = LineString([(500_000, 4_700_000), (500_010, 4_700_000)])
    geopandas.GeoDataFrame(geometry=[line], crs=32618).to_file(tmp_path / "walk.shp")
    with pytest.raises(InputError, match="none of its 1 features is a point"):
        walk(tmp_path / "walk.shp")


def test_a_shapefile_without_a_crs_is_refused_until_it_is_given(tmp_path: Path) -> None:
    geopandas.GeoDataFrame(geometry=[Point(500_000, 4_700_000)], crs=32618).to_file(tmp_path / "walk.shp")
    (tmp_path / "walk.prj").unlink()
    with pytest.raises(CrsError, match="`walk_crs`"):
        walk(tmp_path / "walk.shp")
    assert points(tmp_path / "walk.shp", crs="EPSG:32618").crs.to_epsg() == 32618
