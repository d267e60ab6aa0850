"""The zones of whole plans against magpylib, a general-purpose library for magnetic fields.

Source: M. Ortner and L. G. Coliado Bandeira, *Magpylib: A free Python package for magnetic field computation*,
SoftwareX 11 (2020) 100466; the package from the Python index.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import magpylib
import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from parcelfence.planning import plan
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature
from parcelfence.site.frame import WGS84, LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.reading import read_site
from parcelfence.site.site import Site
from tests.realdata import real_data
from tests.sample import sample_plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.finished_plan import Plan

EDGE_TOLERANCE_M = 1e-3


def normalised_field_by_magpylib(points: NDArray[np.float64], finished: Plan) -> NDArray[np.float64]:
    """|B| over the field that just makes the receiver react, from magpylib's current lines."""
    receiver = finished.zones.receiver
    at = np.column_stack([points, np.full(len(points), receiver.height_m)])
    field = np.zeros((len(points), 3))
    for run in finished.loop.signal_runs:
        xy = shapely.get_coordinates(run.line)
        vertices = np.column_stack([xy, np.zeros(len(xy))])
        field += magpylib.current.Polyline(current=run.current, vertices=vertices).getB(at)
    threshold = 2e-7 / float(np.hypot(receiver.reach_m, receiver.height_m))
    return np.linalg.norm(field, axis=1) / threshold


def small_ring() -> Plan:
    """Ring a keep-out so small that the whole inside of the ring reacts."""
    keep_out = Feature(id="well", kind="well", source_id="k#1", geometry=box(30, 28, 33, 31))
    return plan(
        Site(
            name="Well Field",
            parcel_id="1",
            parcel=box(0, 0, 70, 60),
            frame=LocalFrame.around(Point(10, 60).buffer(0.001), WGS84),
            provenance=Provenance(inputs=()),
            keep_outs=(keep_out,),
        ),
        Settings(),
    )


def of_real_parcel(folder: str, select: str, **layers: str) -> Plan:
    data = real_data(folder)
    files = {role: data / name for role, name in layers.items()}
    return plan(read_site(parcels=data / "parcels.geojson", select=select, **files), Settings())


SITES = {
    "sample": sample_plan,
    "small ring": small_ring,
    "Guilford": lambda: of_real_parcel("vt_guilford", "pid=30", marks="utility_lines.geojson"),
    "Washington": lambda: of_real_parcel("nh_washington", "pid=40", buildings="buildings.geojson"),
    "canyon": lambda: of_real_parcel("ca_santa_monica_canyon", "pid=30", buildings="buildings.geojson"),
}


@pytest.fixture(scope="module", params=SITES)
def finished(request: pytest.FixtureRequest) -> Plan:
    return SITES[request.param]()


def test_the_edge_of_the_signal_zone_is_where_the_receiver_just_reacts(finished: Plan) -> None:
    """99 % of points sampled along the edge lie within 1 mm of f = 1, measured along the gradient."""
    edge = finished.zones.signal.boundary
    stations = np.random.default_rng(1).uniform(0, edge.length, 600)
    points = shapely.get_coordinates(shapely.line_interpolate_point(edge, stations))
    step = 1e-4

    def inverse(moved: NDArray[np.float64]) -> NDArray[np.float64]:
        return 1.0 / normalised_field_by_magpylib(moved, finished)

    here = inverse(points)
    slope = [(inverse(points + way) - inverse(points - way)) / (2 * step) for way in np.eye(2) * step]
    off_m = np.abs(here - 1.0) / np.hypot(*slope)
    assert np.mean(off_m <= EDGE_TOLERANCE_M) >= 0.99, np.quantile(off_m, [0.5, 0.99, 1.0])


def test_inside_and_outside_agree_everywhere(finished: Plan) -> None:
    """3,000 random points, a third of them inside inner loops where there are any; none may disagree."""
    generator = np.random.default_rng(2)
    low, high = np.split(np.array(finished.site.parcel.buffer(5).bounds), 2)
    points = generator.uniform(low, high, (2000, 2))
    inner = MultiPolygon([shapely.Polygon(run.line) for run in finished.loop.of_part("inner_loop")])
    low, high = np.split(np.array((inner if not inner.is_empty else finished.loop.enclosed).bounds), 2)
    points = np.vstack([points, generator.uniform(low, high, (1000, 2))])
    reacts = normalised_field_by_magpylib(points, finished) >= 1.0
    inside = shapely.covers(finished.zones.signal, shapely.points(points))
    close = shapely.distance(finished.zones.signal.boundary, shapely.points(points)) <= EDGE_TOLERANCE_M
    assert not np.any((reacts != inside) & ~close)


def test_the_whole_inside_of_a_small_ring_reacts() -> None:
    finished = small_ring()
    (ring,) = finished.loop.of_part("inner_loop")
    assert finished.zones.signal.covers(shapely.Polygon(ring.line))
