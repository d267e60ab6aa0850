"""Plans on open data: named parcels of every set, two forms of one set, and a share of all parcels.

Guilford and Rutland: parcels of the Vermont Center for Geographic Information, lines of the Vermont Agency of Natural
Resources. Washington: parcels, buildings and roads of the repository mflorence99/munimap. Canyon: lots and buildings of
the repository jasonrunnells/canyon-alliance-3d-map. Prague: plots and buildings that come with momepy (M. Fleischmann,
*momepy: Urban Morphology Measuring Toolkit*, Journal of Open Source Software 4 (2019) 1807).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import momepy
import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely import LineString, MultiLineString

from parcelfence.inputs.source import Source
from parcelfence.planning import plan
from parcelfence.screening import ScreeningJob, outcomes, slices
from parcelfence.settings import Settings
from parcelfence.site.frame import WGS84
from parcelfence.site.reading import build_site, read_site
from tests.realdata import real_data

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

EVERY = 16
"""Every so many parcels are planned here; all of them by ``tests/benchmarks/sweep_real_parcels.py``."""


def wire_on_wgs84(finished: Plan) -> MultiLineString:
    loops = MultiLineString([run.line for run in finished.loop.signal_runs])
    return finished.site.frame.to_wgs84().geometry(loops)  # type: ignore[return-value]


def geodesic_length_m(line: LineString) -> float:
    """Karney, *Algorithms for geodesics*, Journal of Geodesy 87 (2013) 43-55, through pyproj."""
    lon_lat = shapely.get_coordinates(line)
    return float(Geod(ellps="WGS84").line_length(lon_lat[:, 0], lon_lat[:, 1]))


def prague_sources() -> tuple[Source, ...]:
    path = Path(momepy.datasets.get_path("bubenec"))
    return (
        Source(role="parcels", path=path, layer="plots"),
        Source(role="buildings", path=path, layer="buildings"),
    )


def sources(folder: str, **names: str) -> tuple[Source, ...]:
    return tuple(Source(role=role, path=real_data(folder) / name) for role, name in names.items())


SETS = {
    "Guilford": lambda: sources("vt_guilford", parcels="parcels.geojson", marks="utility_lines.geojson"),
    "Rutland": lambda: sources("vt_rutland_town", parcels="parcels.geojson", marks="utility_lines.geojson"),
    "Washington": lambda: sources(
        "nh_washington", parcels="parcels.geojson", buildings="buildings.geojson", roads="roads.geojson"
    ),
    "canyon": lambda: sources("ca_santa_monica_canyon", parcels="parcels.geojson", buildings="buildings.geojson"),
    "Prague": prague_sources,
}


@pytest.mark.parametrize(
    ("name", "select"),
    [("Guilford", "pid=30"), ("Rutland", "pid=60"), ("Washington", "pid=40"), ("canyon", "pid=30")],
)
def test_a_named_parcel_of_each_set_is_planned(name: str, select: str) -> None:
    finished = plan(build_site(SETS[name](), select=[select]), Settings())
    wire = MultiLineString([run.line for run in finished.loop.signal_runs])
    assert wire.distance(finished.site.parcel.boundary) >= finished.settings.lot_line_setback_m - 1e-6
    lines = wire_on_wgs84(finished).geoms
    assert sum(geodesic_length_m(line) for line in lines) == pytest.approx(wire.length, rel=1e-6)


def test_web_mercator_is_never_computed_in() -> None:
    """Prague's plots are in EPSG:3857, which stretches lengths there by 1 / cos(50 degrees): more than half."""
    finished = plan(build_site(prague_sources(), select=["feature=3"]), Settings())
    wire = finished.loop.of_part("loop")[0].line
    on_globe = geodesic_length_m(finished.site.frame.to_wgs84().geometry(wire))  # type: ignore[arg-type]
    assert on_globe == pytest.approx(wire.length, rel=1e-6)
    assert finished.site.frame.crs.coordinate_operation.method_name == "Transverse Mercator"


def test_degrees_and_survey_feet_give_the_same_loop() -> None:
    """The canyon in WGS 84 and in NAD83 / California zone 5 (US survey feet): within 2 cm."""
    folder = real_data("ca_santa_monica_canyon")
    feet = folder / "derived_ftus"
    select = "pid=54"
    in_degrees = read_site(parcels=folder / "parcels.geojson", buildings=folder / "buildings.geojson", select=select)
    in_feet = read_site(parcels=feet / "parcels_ftus.shp", buildings=feet / "buildings_ftus.shp", select=select)
    one, other = (wire_on_wgs84(plan(site, Settings())) for site in (in_degrees, in_feet))
    metres = in_degrees.frame.conversion_from(WGS84, where="test")
    apart_m = shapely.hausdorff_distance(metres.geometry(one), metres.geometry(other), densify=0.01)
    assert apart_m < 0.02


@pytest.mark.parametrize("name", SETS)
def test_no_parcel_crashes_a_run(name: str) -> None:
    job = ScreeningJob(sources=SETS[name](), settings=Settings())
    count = slices(job)[-1][1]
    rows = [row for place in range(3, count, EVERY) for row in outcomes(job, (place, place + 1))]
    assert [row for row in rows if row.status == "failed"] == []
    assert all(row.reason for row in rows if row.status != "planned")
    planned = [row for row in rows if row.status == "planned"]
    assert planned
    shares = np.array([row.enclosed_m2 / row.area_m2 for row in planned])
    assert np.all((shares > 0) & (shares < 1))
