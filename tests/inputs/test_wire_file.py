"""Wire from files: every format gives lines, with what their words say."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import ezdxf
import geopandas
import gpxpy.gpx
import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString, Point, box

from parcelfence.errors import CrsError, InputError
from parcelfence.inputs.source import Source
from parcelfence.inputs.wire_file import DrawnWire, part_of_words
from parcelfence.inputs.wire_file import read_wire as read_wire_source

if TYPE_CHECKING:
    from pathlib import Path

    from ezdxf.document import Drawing

LOCAL = "+proj=tmerc +lat_0=43 +lon_0=-72.5 +datum=WGS84 +units=m"
"""A drawing in metres about its own origin."""
RING = LineString([(0, 0), (30, 0), (30, 20), (0, 20), (0, 0)])


def read_wire(path: Path, **given: str) -> DrawnWire:
    return read_wire_source(Source(role="wire", path=path, **given))


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ("PF-WIRE-LEADIN", "lead_in"),
        ("twisted pair to shed", "lead_in"),
        ("Leg 2 lead in T1", "lead_in"),
        ("inner loop K1", "inner_loop"),
        ("keep-out pond", "inner_loop"),
        ("PF-WIRE-INNERLOOP", "inner_loop"),
        ("return run", "return_run"),
        ("Outer boundary", "loop"),
        ("PF-WIRE-LOOP", "loop"),
        ("leaded pipe", ""),
        ("0", ""),
    ],
)
def test_words_tell_the_part(words: str, part: str) -> None:
    assert part_of_words(words) == part


def _geojson(path: Path, geometries: list[shapely.Geometry], **columns: list[object]) -> Path:
    geopandas.GeoDataFrame(columns, geometry=geometries, crs=4326).to_file(path, driver="GeoJSON")
    return path


def test_attributes_are_taken(tmp_path: Path) -> None:
    degrees = shapely.transform(RING, lambda xy: xy * 1e-5 + [10.0, 50.0])
    pair = LineString([(10.0, 50.0), (10.00005, 50.00005)])
    path = _geojson(tmp_path / "w.geojson", [degrees, pair], part=["loop", "lead_in"], loop_id=["L1", "T1"])
    wire = read_wire(path)
    assert [(one.part, one.loop_id) for one in wire.lines] == [("loop", "L1"), ("lead_in", "T1")]
    assert wire.crs.to_epsg() == 4326
    assert len(wire.sha256) == 64


def test_areas_are_no_wire(tmp_path: Path) -> None:
    lots = [shapely.box(10.0, 50.0, 10.001, 50.001), shapely.box(10.001, 50.0, 10.002, 50.001)]
    with pytest.raises(InputError, match=r"all of its 2 features are areas\. Wire is a line"):
        read_wire(_geojson(tmp_path / "lots.geojson", lots))
    with pytest.raises(InputError, match="its only feature is an area"):
        read_wire(_geojson(tmp_path / "lot.geojson", lots[:1]))
    wire = read_wire(_geojson(tmp_path / "both.geojson", [*lots, LineString([(10, 50), (10.001, 50)])]))
    assert len(wire.lines) == 1
    assert any("2 features that are no lines were left out" in repair.found for repair in wire.repairs)


def test_parts_of_a_multi_line_are_joined_and_points_left_out(tmp_path: Path) -> None:
    halves = MultiLineString([[(10, 50), (10.0001, 50)], [(10.0001, 50), (10.0001, 50.0001)]])
    wire = read_wire(_geojson(tmp_path / "w.geojson", [halves, Point(10, 50)]))
    assert [len(one.line.coords) for one in wire.lines] == [3]
    assert any("no lines" in repair.found for repair in wire.repairs)


def _dxf() -> Drawing:
    return ezdxf.new("R2010")


@pytest.mark.parametrize("left", [True, False])
def test_polylines_with_bulges_are_arcs(tmp_path: Path, left: bool) -> None:
    """A bulge is the tangent of a quarter of the central angle: 1 is a half circle (DXF reference)."""
    drawing = _dxf()
    bulge = 1.0 if left else -1.0
    drawing.modelspace().add_lwpolyline([(0, 0, bulge), (10, 0, bulge)], format="xyb", close=True)
    drawing.saveas(tmp_path / "w.dxf")
    (one,) = read_wire(tmp_path / "w.dxf", crs=LOCAL).lines
    assert one.line.is_closed
    assert shapely.is_ccw(one.line) == left
    assert one.line.length == pytest.approx(10 * math.pi, rel=1e-3)
    assert np.hypot(*(np.array(one.line.coords) - [5, 0]).T) == pytest.approx(5.0, abs=1e-6)


def test_lines_and_arcs_are_joined_and_polylines_are_not(tmp_path: Path) -> None:
    drawing = _dxf()
    space = drawing.modelspace()
    for start, end in (((0, 0), (20, 0)), ((20, 10), (0, 10)), ((0, 10), (0, 0))):
        space.add_line(start, end)
    space.add_arc((20, 5), 5, 270, 90)
    space.add_lwpolyline([(5, 5), (8, 5)])
    space.add_lwpolyline([(8, 5), (8, 8)])
    drawing.saveas(tmp_path / "w.dxf")
    lines = [one.line for one in read_wire(tmp_path / "w.dxf", crs=LOCAL).lines]
    assert sorted(len(line.coords) for line in lines)[:2] == [2, 2]
    (ring,) = [line for line in lines if line.is_closed]
    assert ring.length == pytest.approx(50 + 5 * math.pi, rel=1e-3)


def test_layers_that_speak_of_a_wire_are_taken_and_any_on_demand(tmp_path: Path) -> None:
    drawing = _dxf()
    for layer, y in (("PF-WIRE-LOOP", 0), ("OTHER_LOOPS", 10), ("LOTS", 20)):
        drawing.modelspace().add_lwpolyline([(0, y), (5, y)], dxfattribs={"layer": layer})
    drawing.saveas(tmp_path / "w.dxf")
    (one,) = read_wire(tmp_path / "w.dxf", crs=LOCAL).lines
    assert (one.line.coords[0], one.part) == ((0.0, 0.0), "loop")
    (other,) = read_wire(tmp_path / "w.dxf", crs=LOCAL, layer="LOTS").lines
    assert other.line.coords[0] == (0.0, 20.0)
    with pytest.raises(InputError, match="Did you mean"):
        read_wire(tmp_path / "w.dxf", crs=LOCAL, layer="LOT")


def test_a_drawing_states_no_crs(tmp_path: Path) -> None:
    drawing = _dxf()
    drawing.modelspace().add_lwpolyline([(0, 0), (5, 0)])
    drawing.saveas(tmp_path / "w.dxf")
    with pytest.raises(CrsError, match="`wire_crs`"):
        read_wire(tmp_path / "w.dxf")


def _gpx(path: Path, *, tracks: bool) -> Path:
    document = gpxpy.gpx.GPX()
    document.waypoints.append(gpxpy.gpx.GPXWaypoint(50.0, 10.0, name="Flag 1"))
    route = gpxpy.gpx.GPXRoute(name="Leg 1 loop L1")
    route.points = [gpxpy.gpx.GPXRoutePoint(50.0, 10.0), gpxpy.gpx.GPXRoutePoint(50.001, 10.0)]
    document.routes.append(route)
    if tracks:
        track = gpxpy.gpx.GPXTrack(name="Leg 1 loop L1")
        points = [gpxpy.gpx.GPXTrackPoint(50.0 + n * 1e-5, 10.0) for n in range(5)]
        track.segments = [gpxpy.gpx.GPXTrackSegment(points), gpxpy.gpx.GPXTrackSegment(points[:1])]
        document.tracks.append(track)
    path.write_text(document.to_xml(), encoding="utf-8")
    return path


def test_tracks_come_before_routes(tmp_path: Path) -> None:
    (track,) = read_wire(_gpx(tmp_path / "t.gpx", tracks=True)).lines
    assert (len(track.line.coords), track.part, track.loop_id) == (5, "loop", "L1")
    assert track.line.coords[0] == (10.0, 50.0)
    (route,) = read_wire(_gpx(tmp_path / "r.gpx", tracks=False)).lines
    assert len(route.line.coords) == 2


def test_gpx_without_lines_is_refused(tmp_path: Path) -> None:
    document = gpxpy.gpx.GPX()
    document.waypoints.append(gpxpy.gpx.GPXWaypoint(50.0, 10.0))
    (tmp_path / "w.gpx").write_text(document.to_xml(), encoding="utf-8")
    with pytest.raises(InputError, match="1 waypoints, but no track"):
        read_wire(tmp_path / "w.gpx")
    (tmp_path / "x.gpx").write_text("no xml", encoding="utf-8")
    with pytest.raises(InputError, match="no GPX file"):
        read_wire(tmp_path / "x.gpx")


def _survey(path: Path, *rows: tuple[float, float, str]) -> Path:
    lines = [
        f"{number},{northing},{easting},,{words}" for number, (northing, easting, words) in enumerate(rows, start=1)
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_survey_points_are_joined_in_their_order(tmp_path: Path) -> None:
    rows = [(4_740_000 + y, 480_000 + x, "") for x, y in RING.coords]
    (one,) = read_wire(_survey(tmp_path / "w.csv", *rows), crs="EPSG:32618").lines
    assert one.line.length == pytest.approx(RING.length)


def test_codes_part_the_runs_and_leave_out_what_is_no_wire(tmp_path: Path) -> None:
    rows = [
        (4_740_000, 480_000, "WIRE L1 0+000.0 start"),
        (4_740_005, 480_005, "MANHOLE"),
        (4_740_000, 480_030, "WIRE L1 0+030.0 end"),
        (4_740_010, 480_000, "WIRE T1 0+000.0 start"),
        (4_740_000, 480_000, "WIRE T1 0+010.0 end"),
    ]
    wire = read_wire(_survey(tmp_path / "w.csv", *rows), crs="EPSG:32618")
    assert [(one.loop_id, round(one.line.length, 6)) for one in wire.lines] == [("L1", 30.0), ("T1", 10.0)]
    assert any("1 points that are not of the wire" in repair.found for repair in wire.repairs)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("words", [("tangent", "curve", "tangent"), ("PC", "POC", "PT"), ("BC", "mid of curve", "EC")])
def test_three_points_of_a_curve_are_an_arc(tmp_path: Path, words: tuple[str, str, str], backwards: bool) -> None:
    """A quarter of a circle of 5 m, with a regular stake on it."""
    angles = np.radians([0, 45, 90])[:: -1 if backwards else 1]
    on_arc = [(4_740_000 + 5 * math.sin(a), 480_000 + 5 * math.cos(a)) for a in angles]
    ends = [(4_739_990, 480_005), (4_740_005, 479_990)][:: -1 if backwards else 1]
    rows = [
        (*ends[0], "WIRE L1 0+000.0 start"),
        *[(n, e, f"WIRE L1 0+010.{i} {word}") for i, ((n, e), word) in enumerate(zip(on_arc, words, strict=True))],
        (*ends[1], "WIRE L1 0+030.0 end"),
    ]
    (one,) = read_wire(_survey(tmp_path / "w.csv", *rows), crs="EPSG:32618").lines
    assert one.line.length == pytest.approx(10 + 5 * math.pi / 2 + 10, abs=2e-3)
    arc = np.array(one.line.coords)[1:-1] - [480_000, 4_740_000]
    assert np.hypot(*arc.T) == pytest.approx(5.0, abs=1e-6)


def test_a_file_without_wire_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="line of wire"):
        read_wire(_survey(tmp_path / "w.csv", (4_740_000, 480_000, "")), crs="EPSG:32618")
    with pytest.raises(InputError, match="no such file"):
        read_wire(tmp_path / "none.gpx")
    with pytest.raises(InputError, match="no such file"):
        read_wire(tmp_path / "none.dxf")


def test_an_area_is_closed(tmp_path: Path) -> None:
    drawing = _dxf()
    drawing.modelspace().add_circle((0, 0), 10)
    drawing.saveas(tmp_path / "w.dxf")
    (one,) = read_wire(tmp_path / "w.dxf", crs=LOCAL).lines
    assert one.line.is_closed
    assert shapely.Polygon(one.line).area == pytest.approx(100 * math.pi, rel=1e-3)
    assert box(-10, -10, 10, 10).buffer(1e-9).covers(one.line)
