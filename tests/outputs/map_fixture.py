"""A plan for the map's tests, put together by hand from the sample property: no pipeline stands behind it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import shapely
import shapely.ops
from shapely.geometry import shape

from parcelfence.circuit.circuit import circuit
from parcelfence.conflict import Conflict
from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.zones import Zones, zones
from parcelfence.layout.crossing import Crossing
from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.outputs.tables import converted, tables
from parcelfence.settings import Settings
from parcelfence.site.feature import Feature, Utility
from parcelfence.site.frame import WGS84, LocalFrame
from parcelfence.site.provenance import Provenance
from parcelfence.site.site import Site
from parcelfence.takeoff.flags import Flag
from parcelfence.takeoff.leg import Leg, Sequence, Splice
from parcelfence.takeoff.stations import Station
from parcelfence.takeoff.take_off import TakeOff
from parcelfence.units import station_label

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

SAMPLE = Path(__file__).parents[2] / "sample_geodata"
PARCEL_NO = "31-07"
REACH_M = 2.4384
COLORS = {
    "GAS": ("gas", "yellow"), "Gas svc": ("gas", "yellow"), "Elec": ("electric", "red"), "ELEC": ("electric", "red"),
    "WATER SVC": ("water", "blue"), "telco": ("communication", "orange"),
}  # fmt: skip
HOSTILE = (
    '<img src=x onerror="window.hacked=1"></script><script>window.hacked=2</script>'
    "\"'&{{7*7}}{% raise %} \u05d0\u05d1\u05d2 \u202etxt \U0001f415"
)


def map_plan(*, settings: Settings | None = None) -> Plan:
    """Make a plan of the sample property with a plain set-back loop."""
    settings = settings or Settings(reach_m=REACH_M, units="us", station_format="us")
    site = _site()
    loop = _loop(site)
    run = loop.runs[0]
    crossings = tuple(_crossings(site, run))
    return stand_in(
        site=site,
        settings=settings,
        loop=loop,
        crossings=crossings,
        zones=_zones(loop),
        profiles=tuple(_profile(run.line) for run in loop.signal_runs),
        circuit=circuit([CurrentLoop.from_line(one.line, one.current) for one in loop.signal_runs]),
        conflicts=tuple(_conflicts(crossings, run)),
        take_off=_take_off(loop, settings),
    )


def hostile_plan() -> Plan:
    """Make the same plan with planted markup in every text that comes from a file."""
    plan = map_plan()
    utilities = tuple(replace(line, id=HOSTILE + line.id, source_id=HOSTILE) for line in plan.site.utilities)
    buildings = tuple(replace(building, id=HOSTILE, kind=HOSTILE) for building in plan.site.buildings)
    conflicts = tuple(replace(row, message=HOSTILE, remedy=HOSTILE, feature=HOSTILE) for row in plan.conflicts)
    site = replace(plan.site, name=HOSTILE, parcel_id=HOSTILE, utilities=utilities, buildings=buildings)
    return stand_in(**{**vars(plan), "site": site, "conflicts": conflicts})


def stand_in(**parts: Any) -> Plan:
    """Stand in for a plan: the parts that the map reads."""
    return cast("Plan", SimpleNamespace(**{"animals": ()} | parts))


def wgs84_tables(plan: Plan) -> dict[str, Any]:
    """Give the layers of a plan on WGS 84."""
    return converted(tables(plan), plan.site.frame.to_wgs84(), crs=WGS84)


def _features(name: str) -> list[dict[str, Any]]:
    found = json.loads((SAMPLE / f"{name}.geojson").read_text(encoding="utf-8"))["features"]
    return [feature for feature in found if feature["geometry"]]


def _site() -> Site:
    parcels = {feature["properties"]["parcel_no"]: shape(feature["geometry"]) for feature in _features("parcels")}
    frame = LocalFrame.around(parcels[PARCEL_NO], WGS84)
    local = frame.conversion_from(WGS84, where="sample")

    def layer(name: str, *, kind: str, key: str = "id") -> tuple[Feature, ...]:
        return tuple(
            Feature(
                id=str(found["properties"][key]),
                kind=str(found["properties"].get(kind) or name),
                source_id=f"{name}.geojson:{number}",
                geometry=local.geometry(shapely.force_2d(shape(found["geometry"]))),
            )
            for number, found in enumerate(_features(name))
        )

    utilities = tuple(
        Utility(
            id=f"U{number}",
            kind=COLORS.get(str(found["properties"].get("utility", "ELEC")), ("unknown", ""))[0],
            source_id=f"marks_lines.geojson:{number}",
            geometry=local.geometry(shapely.force_2d(shape(found["geometry"]))),
            apwa_color=COLORS.get(str(found["properties"].get("utility", "ELEC")), ("unknown", ""))[1],
            tolerance_m=0.61,
            quality_level="B",
            marked_on="2026-04-14",
        )
        for number, found in enumerate(_features("marks_lines"), start=1)
    )
    neighbours = tuple(
        Feature(id=name, kind="neighbour", source_id="parcels.geojson", geometry=local.geometry(lot))
        for name, lot in parcels.items()
        if name != PARCEL_NO
    )
    return Site(
        name="Heron Bend, Thimblewick Lane",
        parcel_id=PARCEL_NO,
        parcel=local.geometry(parcels[PARCEL_NO]),
        frame=frame,
        provenance=Provenance(inputs=()),
        neighbours=neighbours,
        buildings=layer("buildings", kind="use", key="bldg_id"),
        utilities=utilities,
        keep_outs=layer("keep_outs", kind="kind"),
        water=layer("water", kind="kind"),
        hardscape=layer("hardscape", kind="kind"),
        easements=layer("easements", kind="kind"),
        doors=layer("doors", kind="name", key="door_id"),
        metal=layer("metal", kind="kind"),
        transmitter=layer("transmitter", kind="place")[0].geometry,
    )


def _loop(site: Site) -> Loop:
    away = shapely.union_all([feature.geometry for feature in (*site.water, *site.easements)])
    allowed = site.parcel.buffer(-REACH_M - 0.3).difference(away.buffer(1.0))
    rounded = allowed.buffer(-3).buffer(6).buffer(-3)
    outer = max(shapely.get_parts(rounded), key=lambda part: part.area).exterior
    ring = shapely.LineString(shapely.Polygon(outer).normalize().reverse().exterior)
    garden = max(site.keep_outs, key=lambda found: site.parcel.boundary.distance(found.geometry)).geometry
    inner = shapely.LineString(garden.buffer(1.5).exterior)
    hook = site.transmitter
    assert hook is not None
    lead = shapely.LineString([hook, ring.coords[0]])
    runs = (
        Run(part="loop", loop_id="L1", line=ring, current=1),
        Run(part="inner_loop", loop_id="K1", line=inner, current=-1),
        Run(part="lead_in", loop_id="L1", line=lead, current=0),
    )
    transmitter = Transmitter(point=hook, given=True, note="as given, inside the north wall of the garage wing")
    return Loop(runs=runs, transmitter=transmitter, allowed=shapely.MultiPolygon(shapely.get_parts(allowed).tolist()))


def _zones(loop: Loop) -> Zones:
    signal = [CurrentLoop.from_line(run.line, run.current) for run in loop.signal_runs]
    return zones(signal, Receiver(REACH_M, 0.3), inside=loop.enclosed)


def _profile(line: shapely.LineString) -> SimpleNamespace:
    stations_m = np.arange(0.0, line.length)
    return SimpleNamespace(
        station_m=stations_m,
        points=shapely.get_coordinates(shapely.line_interpolate_point(line, stations_m)),
        reach_inside_m=np.full(len(stations_m), REACH_M),
        reach_outside_m=np.full(len(stations_m), REACH_M),
    )


def _crossings(site: Site, run: Run) -> list[Crossing]:
    return [
        Crossing(
            crosses=utility.id,
            layer="utilities",
            kind=utility.kind,
            point=point,
            angle_deg=78.0 + number % 12,
            station_m=run.line.project(point),
            loop_id="L1",
            twisted=False,
            length_m=1.24,
        )
        for number, utility in enumerate(site.utilities)
        for point in shapely.get_parts(run.line.intersection(utility.geometry))
        if point.geom_type == "Point" and not point.is_empty
    ]


def _conflicts(crossings: tuple[Crossing, ...], run: Run) -> list[Conflict]:
    drive = shapely.ops.substring(run.line, 60, 68)
    rows = [
        Conflict(
            rule="utility-tolerance",
            severity="caution",
            message=f"The wire crosses the tolerance zone of {crossing.kind} line {crossing.crosses}.",
            remedy="Dig by hand there, and expose the line before the wire crosses it.",
            geometry=crossing.point,
            station_m=crossing.station_m,
            measured=1.24,
            layer="utilities",
            feature=crossing.crosses,
        )
        for crossing in crossings
    ]
    return [
        Conflict(
            rule="utility-angle",
            severity="must_fix",
            message="The wire meets an unknown line at 63 degrees; it must cross within 10 degrees of square.",
            remedy="Move the crossing to where the line runs straight.",
            geometry=crossings[0].point,
            station_m=crossings[0].station_m,
            measured=63.0,
            limit=80.0,
            unit="deg",
            basis="common practice, no source",
            layer="utilities",
            feature=crossings[0].crosses,
        ),
        *rows,
        Conflict(
            rule="hardscape-cut",
            severity="note",
            message="The wire cuts 26.2 ft of drive.",
            remedy="Saw a slot, or push a sleeve under it.",
            geometry=drive,
            station_m=60.0,
            measured=8.0,
            layer="hardscape",
            feature="H-1",
        ),
    ]


def _take_off(loop: Loop, settings: Settings) -> TakeOff:
    legs: list[Leg] = []
    total_m = 0.0
    for number, run in enumerate(loop.runs, start=1):
        conductor_m = run.line.length * (2.1 if run.twisted else 1.02)
        total_m += conductor_m
        legs.append(
            Leg(
                leg=number,
                part=run.part,
                loop_id=run.loop_id,
                start="transmitter" if run.twisted else "start",
                end="end",
                line=run.line,
                start_station_m=0.0,
                ground_length_m=run.line.length,
                conductor_length_m=conductor_m,
                running_total_m=total_m,
                twisted=run.twisted,
                spool=1,
            )
        )
    outer = loop.runs[0].line
    edge = outer.offset_curve(REACH_M)
    flags = tuple(
        Flag(
            flag=k + 1,
            point=edge.interpolate(k * 3.0),
            loop_id="L1",
            station_m=outer.project(edge.interpolate(k * 3.0)),
            removal_round=1 + k % 4,
        )
        for k in range(int(edge.length // 3))
    )
    stations = tuple(
        Station(
            point=outer.interpolate(at),
            loop_id="L1",
            station_m=float(at),
            label=station_label(at, style=settings.station_format),
            point_kind="regular",
        )
        for at in range(0, int(outer.length), 10)
    )
    splice = Splice(id="S1", point=outer.interpolate(152.4), loop_id="L1", station_m=152.4, note="end of spool 1")
    return TakeOff(
        sequence=Sequence(legs=tuple(legs), splices=(splice,)),
        flags=flags,
        stations=stations,
        materials=(),
        trench_m_by_surface=(("soil", outer.length),),
    )
