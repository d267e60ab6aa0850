"""The GPX file, read back by gpxpy and checked against the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import gpxpy
import pytest
from lxml import etree
from pyproj import Geod

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan

_NAMESPACE = "{http://www.topografix.com/GPX/1/1}"


def test_flags_are_waypoints_and_legs_are_ways(written: Path, plan: Plan) -> None:
    document = gpxpy.parse((written / "flags.gpx").read_text(encoding="utf-8"))
    assert document.version == "1.1"
    assert [point.name for point in document.waypoints] == [f"Flag {flag.flag}" for flag in plan.take_off.flags]
    assert len(document.routes) == len(document.tracks) == len(plan.take_off.sequence.legs)


def test_tracks_are_as_long_as_their_legs(written: Path, plan: Plan) -> None:
    document = gpxpy.parse((written / "flags.gpx").read_text(encoding="utf-8"))
    geod = Geod(ellps="WGS84")
    for track, leg in zip(document.tracks, plan.take_off.sequence.legs, strict=True):
        points = [(point.longitude, point.latitude) for point in track.segments[0].points]
        assert geod.line_length(*zip(*points, strict=True)) == pytest.approx(leg.line.length, rel=2e-4)


def test_routes_stay_short_and_near(written: Path) -> None:
    document = gpxpy.parse((written / "flags.gpx").read_text(encoding="utf-8"))
    for route, track in zip(document.routes, document.tracks, strict=True):
        assert len(route.points) <= len(track.segments[0].points)
        assert (route.points[0].latitude, route.points[0].longitude) == (
            track.segments[0].points[0].latitude,
            track.segments[0].points[0].longitude,
        )


def test_elements_are_in_the_order_of_the_schema(written: Path) -> None:
    """GPX 1.1 schema, gpxType: metadata, then wpt, rte, trk."""
    tags = [child.tag.removeprefix(_NAMESPACE) for child in etree.parse(written / "flags.gpx").getroot()]
    assert tags == sorted(tags, key=["metadata", "wpt", "rte", "trk"].index)
    assert not list(etree.parse(written / "flags.gpx").iter(f"{_NAMESPACE}time"))


def test_texts_of_strangers_are_text(nasty_written: Path) -> None:
    document = gpxpy.parse((nasty_written / "flags.gpx").read_text(encoding="utf-8"))
    assert document.name is not None
    assert "<script>alert(1)</script>" in document.name
    assert "<script" not in (nasty_written / "flags.gpx").read_text(encoding="utf-8")
