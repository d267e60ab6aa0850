"""Figures of the map's tools: degrees in metres, chainage of every vertex."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from shapely import LineString

from parcelfence.outputs.map_features import metres_per_degree, station_run, unit_factors
from parcelfence.settings import Settings


@pytest.mark.parametrize(
    ("latitude", "eastward", "northward"),
    [
        (0, 111_320, 110_574),
        (15, 107_550, 110_649),
        (30, 96_486, 110_852),
        (45, 78_847, 111_132),
        (60, 55_800, 111_412),
    ],
)
def test_a_degree_has_its_published_length(latitude: float, eastward: float, northward: float) -> None:
    """Table of degree lengths on WGS 84, to the metre (National Geospatial-Intelligence Agency, from memory)."""
    assert metres_per_degree(-76.0, latitude) == (pytest.approx(eastward, abs=1), pytest.approx(northward, abs=1))


@pytest.mark.parametrize("latitude", [-40.0, 12.0, 43.0, 60.0])
def test_factors_measure_like_a_geodesic(latitude: float) -> None:
    """Karney's own library as the outside judge, over 300 m in every direction."""
    east, north = metres_per_degree(10.0, latitude)
    for bearing in range(0, 360, 30):
        end = Geodesic.WGS84.Direct(latitude, 10.0, bearing, 300.0)
        length = np.hypot((end["lon2"] - 10.0) * east, (end["lat2"] - latitude) * north)
        assert length == pytest.approx(300.0, rel=1e-4)


def test_stations_run_from_start_to_plan_length() -> None:
    line = LineString([(-76.0, 43.0), (-76.0, 43.001), (-75.999, 43.001)])
    record = {"loop_id": "L1", "twisted": False, "start_station_m": 5.0, "geometry": line}
    run = station_run(record, plan_length_m=193.0)
    assert run["station"][0] == pytest.approx(5.0)
    assert run["station"][-1] == pytest.approx(198.0)
    first = Geodesic.WGS84.Inverse(43.0, -76.0, 43.001, -76.0)["s12"]
    second = Geodesic.WGS84.Inverse(43.001, -76.0, 43.001, -75.999)["s12"]
    assert run["station"][1] == pytest.approx(5.0 + 193.0 * first / (first + second), abs=1e-3)
    assert len(run["station"]) == 3


@pytest.mark.parametrize(("units", "length_m"), [("us", 0.3048), ("metric", 1.0)])
def test_tools_speak_the_units_of_the_person(units: str, length_m: float) -> None:
    factors = unit_factors(Settings.from_words({"units": units}))
    assert factors["lengthM"] == length_m
    assert factors["system"] == units
