"""Properties and wires that an adversary invents: seeded, each with something that may be wrong."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.affinity import rotate, translate

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

DIGITISED = ("fine", "dense", "sparse", "noisy", "three points", "repeated", "open", "pieces", "backwards")


@dataclass
class Property:
    """A lot by plain geometry, in metres around the origin."""

    parcel: Polygon
    buildings: list[Polygon] = field(default_factory=list)
    utilities: list[LineString] = field(default_factory=list)
    keep_outs: list[Polygon] = field(default_factory=list)
    transmitter: Point | None = None


@dataclass
class Wire:
    """What was drawn: rings and lead-ins as lines, with the words on them, and how it was digitised."""

    rings: list[LineString]
    leads: list[LineString]
    digitised: str
    radius_m: float
    words: bool


def invent_property(seed: int) -> Property:
    """Invent a lot of 600 to 6,000 m2, mostly plain, sometimes narrow or with a notch."""
    chance = random.Random(seed)
    wide, deep = chance.uniform(24, 80), chance.uniform(24, 75)
    if chance.random() < 0.15:
        wide = chance.uniform(7, 16)
    corners = [
        (0, 0),
        (wide, chance.uniform(-4, 4)),
        (wide + chance.uniform(-6, 6), deep),
        (chance.uniform(-6, 6), deep),
    ]
    parcel: BaseGeometry = Polygon(corners)
    if chance.random() < 0.3:
        notch = box(-10, -10, wide * chance.uniform(0.2, 0.4), deep * chance.uniform(0.2, 0.4))
        parcel = parcel.difference(notch)
    parcel = translate(rotate(parcel, chance.uniform(0, 90), origin=(0, 0)), -wide / 2, -deep / 2)
    parcel = shapely.set_precision(max(shapely.get_parts(parcel), key=lambda part: part.area), 0.01)
    made = Property(parcel=parcel)
    inside = parcel.buffer(-6)
    if not inside.is_empty:
        _furnish(made, inside=inside, chance=chance)
    return made


def _furnish(made: Property, *, inside: BaseGeometry, chance: random.Random) -> None:
    west, south, east, north = inside.bounds

    def spot() -> Point:
        for _ in range(50):
            point = Point(chance.uniform(west, east), chance.uniform(south, north))
            if inside.contains(point):
                return point
        return inside.representative_point()

    if chance.random() < 0.85:
        at = spot()
        house = rotate(box(-5, -4, 5, 4), chance.uniform(0, 90))
        house = translate(house, at.x, at.y).intersection(made.parcel.buffer(-1))
        if house.geom_type == "Polygon" and house.area > 20:
            made.buildings.append(house)
            ring = house.exterior
            made.transmitter = ring.interpolate(chance.uniform(0, ring.length))
    for _ in range(chance.choice([0, 0, 1, 1, 2])):
        a, b = spot(), spot()
        if a.distance(b) > 3:
            angle = math.atan2(b.y - a.y, b.x - a.x)
            step = 150 * np.array([math.cos(angle), math.sin(angle)])
            made.utilities.append(LineString([(a.x - step[0], a.y - step[1]), (a.x + step[0], a.y + step[1])]))
    if chance.random() < 0.4:
        at = spot()
        pond = at.buffer(chance.uniform(1.0, 3.0), quad_segs=8)
        if all(pond.distance(house) > 1 for house in made.buildings) and made.parcel.buffer(-2).contains(pond):
            made.keep_outs.append(pond)


def invent_wire(made: Property, *, seed: int, setback_m: float = 2.3) -> Wire | None:
    """Draw a wire on a lot, often a wrong one; None where the lot is too narrow to draw any."""
    chance = random.Random(seed * 7919 + 1)
    short_m = chance.choice([0.0, 0.0, 0.0, 0.4, 0.9, 1.6, 2.6])
    radius_m = chance.choice([0.25, 0.5, 1.0, 1.0, 1.5])
    ground = made.parcel.buffer(-(setback_m + 0.05 - short_m), join_style="mitre")
    for house in made.buildings:
        if chance.random() < 0.3:
            ground = ground.difference(house.buffer(chance.uniform(0.5, 2.6), join_style="mitre"))
    outer = _rounded(ground, radius_m)
    if outer is None:
        return None
    rings = [LineString(outer.exterior.coords)]
    for pond in made.keep_outs:
        around = _rounded(pond.buffer(chance.uniform(0.2, 1.5)), radius_m)
        if around is not None and Polygon(rings[0]).contains(around):
            rings.append(LineString(around.exterior.coords))
    if chance.random() < 0.1:
        west, _, east, _ = outer.bounds
        rings = (
            _halved(outer, at=(west + east) / 2, apart_m=chance.choice([0.0, 0.02, 1.5]), radius_m=radius_m) or rings
        )
    digitised = chance.choice(DIGITISED)
    drawn = [_digitised(ring, how=digitised, radius_m=radius_m, chance=chance) for ring in rings]
    leads = _leads(made, drawn, chance=chance)
    return Wire(rings=drawn, leads=leads, digitised=digitised, radius_m=radius_m, words=chance.random() < 0.5)


def _rounded(ground: BaseGeometry, radius_m: float) -> Polygon | None:
    parts = shapely.get_parts(ground.buffer(-radius_m).buffer(radius_m, quad_segs=48))
    parts = [part for part in parts if part.area > 4]
    return max(parts, key=lambda part: part.area) if parts else None


def _halved(outer: Polygon, *, at: float, apart_m: float, radius_m: float) -> list[LineString] | None:
    west, south, east, north = outer.bounds
    halves = [
        _rounded(outer.intersection(half), radius_m)
        for half in (box(west, south, at - apart_m / 2, north), box(at + apart_m / 2, south, east, north))
    ]
    return [LineString(half.exterior.coords) for half in halves if half is not None] if all(halves) else None


def _digitised(  # noqa: PLR0911  (one for each way)
    ring: LineString, *, how: str, radius_m: float, chance: random.Random
) -> LineString:
    noise = np.random.default_rng(chance.randrange(1 << 30))
    if how == "dense":
        return shapely.segmentize(ring, 0.03)
    if how == "sparse":
        return shapely.simplify(ring, 0.05)
    if how == "noisy":
        xy = shapely.get_coordinates(ring.segmentize(0.6))
        xy[1:-1] += noise.normal(0, 0.01, (len(xy) - 2, 2))
        return LineString(xy)
    if how == "three points":
        return shapely.simplify(ring, 0.08 * radius_m)
    if how == "repeated":
        return LineString(np.repeat(shapely.get_coordinates(ring), 2, axis=0))
    if how == "open":
        gap_m = chance.choice([0.05, 0.15, 0.5, 0.9])
        return shapely.ops.substring(ring, 0, ring.length - gap_m)
    return ring.reverse() if how == "backwards" else ring


def _leads(made: Property, rings: list[LineString], *, chance: random.Random) -> list[LineString]:
    if made.transmitter is None or chance.random() < 0.15:
        return []
    leads = []
    start = made.transmitter
    for ring in rings:
        if chance.random() < 0.15:
            continue  # forgotten
        end = ring.interpolate(ring.project(start))
        line = LineString([start, end])
        gap_m = chance.choice([0.0, 0.0, 0.0, 0.03, 0.3, 0.8])
        if line.length > gap_m + 0.5:
            leads.append(shapely.ops.substring(line, 0, line.length - gap_m))
    if leads and chance.random() < 0.08:
        outside = made.parcel.exterior.interpolate(made.parcel.exterior.project(start))
        x, y = 2 * outside.x - start.x, 2 * outside.y - start.y
        leads[0] = LineString([start, (x, y), leads[0].coords[-1]])
    return leads
