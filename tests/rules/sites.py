"""Smallest sites for the rules: everything by hand, in the working CRS, whose centre is the origin."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import shapely
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.ops import substring

from parcelfence.circuit.circuit import circuit
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.profile import reach_profiles
from parcelfence.field.zones import zones
from parcelfence.layout.crossing import crossings
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.rules.draft import Draft
from parcelfence.rules.registry import BUILT_IN
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import DatumOperation, InputRecord, Provenance
from parcelfence.site.site import Site

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.conflict import Conflict

PARCEL = box(0, 0, 60, 40)
"""Sixty metres by forty."""


def rounded(polygon: Polygon, radius_m: float = 1.0) -> Polygon:
    """Round every convex corner of a polygon with arcs of fine chords."""
    return polygon.buffer(-radius_m).buffer(radius_m, quad_segs=32)


def ring(polygon: Polygon, *, start: tuple[float, float] | None = None) -> LineString:
    """Counter-clockwise line around a polygon, starting at its point nearest to `start`."""
    line = LineString(shapely.orient_polygons(polygon).exterior.coords)
    at_m = 0.0 if start is None else line.project(Point(start))
    if at_m in {0.0, line.length}:
        return line
    return LineString([*substring(line, at_m, line.length).coords, *substring(line, 0.0, at_m).coords[1:]])


def loop_run(polygon: Polygon, loop_id: str = "L1", **changes: Any) -> Run:
    """Outer loop around a polygon."""
    return Run(**({"part": "loop", "loop_id": loop_id, "line": ring(polygon), "current": 1.0} | changes))


def lead_in(*xy: tuple[float, float]) -> Run:
    """Twisted pair through some points."""
    return Run(part="lead_in", loop_id="L1", line=LineString(xy), current=0.0)


def loop_of(*runs: Run, transmitter: Point | None = None, **changes: Any) -> Loop:
    """Loop of some runs."""
    place = None if transmitter is None else Transmitter(point=transmitter, given=True, note="")
    return Loop(**({"runs": runs, "transmitter": place, "allowed": MultiPolygon()} | changes))


def feature(geometry: BaseGeometry, *, id: str = "F1", kind: str = "feature") -> Feature:  # noqa: A002
    """Plain feature."""
    return Feature(id=id, kind=kind, source_id="made:0", geometry=geometry)


def utility(geometry: BaseGeometry, **changes: Any) -> Utility:
    """Gas line of steel, unless said otherwise."""
    given = {
        "id": "U1",
        "kind": "gas",
        "source_id": "marks:0",
        "apwa_color": "yellow",
        "tolerance_m": 0.61,
        "quality_level": "B",
    }
    return Utility(geometry=geometry, **(given | changes))


def record(**changes: Any) -> InputRecord:
    """Input file in the CRS of the parcels, with stated accuracies."""
    operation = DatumOperation(source="A", target="B", name="none", definition="", accuracy_m=0.0)
    given = {
        "role": "parcels",
        "name": "parcels.geojson",
        "sha256": "",
        "crs": "EPSG:4326",
        "crs_origin": "file",
        "features": 1,
        "used": 1,
        "operation": operation,
        "accuracy_m": 0.0,
    }
    return InputRecord(**(given | changes))


def site(**changes: Any) -> Site:
    """Property of sixty metres by forty with nothing on it."""
    frame = LocalFrame.around(Point(-72.5, 43.0), CRS.from_epsg(4326))
    provenance = Provenance(inputs=(record(), record(role="marks", name="marks.geojson")))
    given = {"name": "test", "parcel_id": "1", "parcel": PARCEL, "frame": frame, "provenance": provenance}
    return Site(**(given | changes))


def draft(place: Site | None = None, loop: Loop | None = None, *, settings: Settings | None = None) -> Draft:
    """Draft with the true zones of the loop."""
    place, settings = place or site(), settings or Settings()
    loop = loop or loop_of(loop_run(rounded(place.parcel.buffer(-settings.lot_line_setback_m, join_style="mitre"))))
    receiver = Receiver(reach_m=settings.reach_m, height_m=settings.height_above_wire_m, core_ratio=settings.core_ratio)
    wires = [CurrentLoop.from_line(run.line, run.current) for run in loop.signal_runs]
    return Draft(
        site=place,
        settings=settings,
        loop=loop,
        crossings=crossings(loop, place, settings=settings),
        zones=zones(wires, receiver, inside=loop.enclosed, roofs=place.roofs),
        profiles=reach_profiles(wires, receiver),
        circuit=replace(
            circuit(
                wires,
                lead_in_lengths_m=[run.line.length for run in loop.of_part("lead_in")],
                frequency_hz=settings.frequency_hz,
                slack_percent=settings.slack_percent,
            ),
            soil_resistivity_ohm_m=settings.soil_resistivity_ohm_m,
        ),
    )


def found(rule_id: str, of: Draft) -> tuple[Conflict, ...]:
    """Apply one built-in rule to a draft."""
    (rule,) = [rule for rule in BUILT_IN if rule.id == rule_id]
    return rule.conflicts(of)
