"""A plan made by hand: small, with every kind of feature, for the tests of the outputs.

Lengths, areas and stations follow from the geometry; place and names are invented, and the texts are of the worst
kind that a stranger's file may hold.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import shapely
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon

from parcelfence.circuit.circuit import circuit
from parcelfence.conflict import Conflict
from parcelfence.errors import Fault
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.profile import reach_profiles
from parcelfence.field.zones import zones
from parcelfence.finished_plan import Plan
from parcelfence.layout.crossing import Crossing
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import LocalFrame
from parcelfence.site.provenance import DatumOperation, InputRecord, Provenance
from parcelfence.site.site import Site
from parcelfence.takeoff.flags import Flag
from parcelfence.takeoff.leg import Leg, Sequence, Splice
from parcelfence.takeoff.materials import Material
from parcelfence.takeoff.stations import Station
from parcelfence.takeoff.take_off import TakeOff

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

NASTY: Final = (
    "<script>alert(1)</script>",
    "=1+1",
    "\"double\" and 'single' & <b>",
    "first line\nsecond line",
    "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "\U0001f415 kennel \U0001f6a7",
    "]]> --> </style>",
    "bell\x07 and lone \ud83d surrogate",
)
"""Texts that a stranger's file may hold: markup, a formula, quotes, a line end, right-to-left, emoji, controls."""

_NAD83_2011: Final = CRS.from_epsg(6318)
_EAST: Final = 10_000.0
_INSET_M: Final = 3.3


def _box(west: float, south: float, east: float, north: float) -> Polygon:
    return shapely.box(_EAST + west, _EAST + south, _EAST + east, _EAST + north)


def _line(*pairs: tuple[float, float]) -> LineString:
    return LineString([(_EAST + x, _EAST + y) for x, y in pairs])


def _point(x: float, y: float) -> Point:
    return Point(_EAST + x, _EAST + y)


def _site(words: tuple[str, ...]) -> Site:
    frame = LocalFrame.around(shapely.box(-76.2506, 42.9996, -76.2494, 43.0004), _NAD83_2011)
    operation = DatumOperation(
        source="NAD83(2011)",
        target=frame.crs.name,
        name="Transverse Mercator",
        definition="+proj=tmerc",
        accuracy_m=0.0,
    )
    repair = Fault(where="buildings.geojson", feature="2", found="its ring crosses itself", remedy="it was untied")
    records = tuple(
        InputRecord(
            role=role,
            name=f"{role}.geojson",
            sha256="0" * 64,
            crs="NAD83(2011)",
            crs_origin="stated by the file",
            features=3,
            used=1,
            operation=operation,
            accuracy_m=0.1,
            repairs=(repair,) if role == "buildings" else (),
        )
        for role in ("parcels", "buildings", "marks")
    )

    def feature(layer: str, geometry: BaseGeometry, number: int = 1) -> Feature:
        word = words[number % len(words)]
        return Feature(id=f"{layer}-{number}", kind=word, source_id=f"{layer}.geojson:{word}", geometry=geometry)

    utilities = (
        Utility(
            id="gas-1",
            kind="gas",
            source_id=f"marks.geojson:{words[0]}",
            geometry=_line((30, 0), (30, 50)),
            apwa_color="yellow",
            tolerance_m=0.61,
            marked_on="2026-05-02",
            quality_level="B",
            raw_kind=words[0],
        ),
        Utility(
            id="unknown-1",
            kind="unknown",
            source_id="marks.geojson:7",
            geometry=_box(48, 20, 52, 24),
            apwa_color="",
            tolerance_m=0.61,
            inferred=True,
            raw_kind=words[1],
        ),
    )
    return Site(
        name=f"Fiddler's Rest {words[0]}",
        parcel_id=words[2],
        parcel=_box(0, 0, 60, 50),
        frame=frame,
        provenance=Provenance(inputs=records, remarks=("One parcel was selected by its number",)),
        neighbours=(feature("neighbours", _box(60, 0, 90, 50), 3),),
        buildings=(feature("buildings", _box(20, 20, 32, 30), 4), feature("buildings", _box(12, 38, 16, 42), 5)),
        utilities=utilities,
        keep_outs=(feature("keep_outs", _box(44, 36, 48, 40), 6),),
        hardscape=(feature("hardscape", _box(24, 0, 27, 20), 1),),
        roads=(feature("roads", _line((-5, -4), (65, -4)), 2),),
        doors=(feature("doors", _point(26, 20), 0),),
        metal=(feature("metal", _point(33, 28), 1),),
        wanted_area=_box(0, 0, 60, 50),
        transmitter=_point(32, 27),
    )


def _loop(site: Site) -> Loop:
    rounded = site.parcel.buffer(-_INSET_M - 1.5).buffer(1.5, quad_segs=8)
    ring = shapely.orient_polygons(rounded).exterior
    outer = LineString(ring.coords)
    inner = LineString(shapely.orient_polygons(site.keep_outs[0].geometry.buffer(0.5, quad_segs=4)).exterior.coords)
    start = Point(outer.coords[0])
    lead_in = LineString([site.transmitter or start, start])
    runs = (
        Run(part="loop", loop_id="L1", line=outer, current=1.0),
        Run(part="inner_loop", loop_id="K1", line=inner, current=1.0),
        Run(part="lead_in", loop_id="F1", line=lead_in, current=0.0),
    )
    transmitter = Transmitter(point=site.transmitter or start, given=True, note="As given, in a dry place")
    return Loop(runs=runs, transmitter=transmitter, allowed=MultiPolygon([site.parcel.buffer(-_INSET_M)]))


def _take_off(loop: Loop, settings: Settings) -> TakeOff:
    order = (loop.runs[2], loop.runs[0], loop.runs[1])
    legs: list[Leg] = []
    total = 0.0
    for number, run in enumerate(order, start=1):
        conductor = run.line.length * (2.1 if run.twisted else 1 + settings.slack_percent / 100)
        total += conductor
        legs.append(
            Leg(
                leg=number,
                part=run.part,
                loop_id=run.loop_id,
                start="transmitter" if number == 1 else f"loop {run.loop_id} at 0+000.0",
                end=f"loop {run.loop_id}, closed" if number > 1 else "loop L1 at 0+000.0",
                line=run.line,
                start_station_m=0.0,
                ground_length_m=run.line.length,
                conductor_length_m=conductor,
                running_total_m=total,
                twisted=run.twisted,
                spool=1 if total < settings.spool_length_m else 2,
            )
        )
    outer = loop.runs[0].line
    stations = tuple(
        Station(
            point=outer.interpolate(station),
            loop_id="L1",
            station_m=float(station),
            label=f"0+{station:05.1f}",
            point_kind="start" if station == 0 else "regular",
        )
        for station in range(0, int(outer.length), 10)
    )
    flags = tuple(
        Flag(
            flag=number,
            point=outer.interpolate(station),
            loop_id="L1",
            station_m=float(station),
            removal_round=1 + number % 3,
        )
        for number, station in enumerate(range(0, int(outer.length), 3), start=1)
    )
    splice = Splice(
        id="S1", point=outer.interpolate(140), loop_id="L1", station_m=140.0, note="Join the spools; waterproof it"
    )
    materials = (
        Material(item="Boundary wire, 18 AWG", quantity=total, with_spare=total * 1.1, unit="m", note="with slack"),
        Material(item="Flags", quantity=len(flags), with_spare=round(len(flags) * 1.1), unit="pieces", cost=12.5),
        Material(item="Waterproof splices", quantity=1, with_spare=2, unit="pieces"),
    )
    return TakeOff(
        sequence=Sequence(legs=tuple(legs), splices=(splice,)),
        flags=flags,
        stations=stations,
        materials=materials,
        trench_m_by_surface=(("soil", outer.length - 6.0), ("gravel", 6.0)),
    )


def _conflicts(words: tuple[str, ...]) -> tuple[Conflict, ...]:
    return (
        Conflict(
            rule="utility-parallel",
            severity="must_fix",
            message=f"Wire runs beside {words[0]}",
            remedy="Move it; cross square",
            geometry=_line((30, 3.3), (30, 8)),
            station_m=26.7,
            measured=0.4,
            limit=1.5,
            layer="utilities",
            feature="gas-1",
        ),
        Conflict(
            rule="utility-unknown",
            severity="caution",
            message=words[1],
            remedy=words[3],
            geometry=_box(48, 20, 52, 24),
            layer="utilities",
            feature="unknown-1",
        ),
        Conflict(
            rule="coordinate-accuracy",
            severity="note",
            message="Positions are known to 2 m only",
            remedy="Tie in to marks on the ground",
            geometry=_point(1, 1),
            measured=2.0,
            limit=1.0,
        ),
    )


@cache
def hand_made_plan(*, nasty: bool = False, units: str = "us") -> Plan:
    """Make the plan; with `nasty` its texts are those of :data:`NASTY`."""
    words = NASTY if nasty else ("wood", "stone", "31-07", "gravel", "brick", "slate", "garden", "oak")
    settings = Settings.from_words({"reach": 2.4, "units": units, "station_interval": 10})
    site = _site(words)
    loop = _loop(site)
    currents = [CurrentLoop.from_line(run.line, run.current) for run in loop.signal_runs]
    receiver = Receiver(settings.reach_m, settings.height_above_wire_m, settings.core_ratio)
    outer = loop.runs[0].line
    crossings = tuple(
        Crossing(
            crosses="gas-1",
            layer="utilities",
            kind="gas",
            point=_point(30, y),
            angle_deg=90.0,
            station_m=outer.project(_point(30, y)),
            loop_id="L1",
            twisted=False,
            length_m=1.22,
        )
        for y in (_INSET_M, 50 - _INSET_M)
    )
    return Plan(
        site=site,
        settings=settings,
        loop=loop,
        crossings=crossings,
        zones=zones(currents, receiver, inside=loop.enclosed),
        profiles=reach_profiles(currents, receiver),
        circuit=circuit(currents, lead_in_lengths_m=[loop.runs[2].line.length], slack_percent=settings.slack_percent),
        conflicts=_conflicts(words),
        take_off=_take_off(loop, settings),
    )
