"""The layout as one priced optimum: ground, obstacles and prices of a site, and the outline that costs least."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
import shapely
from shapely import Polygon, box
from shapely.affinity import rotate, translate

from parcelfence.layout.appraisal import appraise, dear_ground
from parcelfence.layout.arcs import with_arcs
from parcelfence.layout.buried import BuriedLine, buried
from parcelfence.layout.candidates import Obstacles
from parcelfence.layout.cheapest_loop import cheapest_loop
from parcelfence.layout.edge_prices import LandValue, PricedArea, priced_graph
from parcelfence.layout.priced_graph import TurnPrices
from parcelfence.layout.prices import (
    BEND,
    BEND_PER_90,
    BESIDE,
    CORNER,
    FORBIDDEN,
    FREE_GROUND,
    INNER_LOOP,
    PEGLESS,
    SHORT_LEG,
    SHORT_LEG_PER_M,
)
from parcelfence.layout.rounding import FOR_CHORDS, parts

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.buried import Buried
    from parcelfence.layout.priced_graph import PricedGraph
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Question", "cheapest_outline", "question", "turn_prices", "value_per_m2"]

_Shape = TypeVar("_Shape", bound="BaseGeometry")
_SMALL_LOT: Final = 1.3
_END_OF_A_LOT_M: Final = 12.0
_ASIDE_M: Final = 0.03
"""Lines beside what must not be met keep this much off it."""
_AROUND_M: Final = 5.0
"""So far beyond a separation a bend may begin, and a crossing end."""
_LEAST_SHARE: Final = 0.15
"""On small lots a square metre is worth so much that a loop round most of the lot pays; else none would be laid."""
_ASIDE_OF_M: Final = 1.0
_WIDER_M: Final = (0.3, 0.6, 1.0, 1.5, 2.0, 3.0, 4.0)
"""By which a square-cornered ring round a keep-out is wider, so that its bends lie off a line that it crosses."""
_RAISED: Final = (1.0, 1.7, 2.9, 4.9)
"""Where no ground pays, it is valued higher; beyond some five times its worth nobody would buy it."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked of the optimiser.

    Parameters
    ----------
    graph : PricedGraph
        In coordinates relative to `origin`.
    prices : TurnPrices
        Of bends and legs.
    origin : tuple of float
        In the working CRS, in metres.
    """

    graph: PricedGraph
    prices: TurnPrices
    origin: tuple[float, float]

    def raised(self, factor: float) -> Question:
        """Value the ground higher: wire takes more from it, too."""
        graph, prices = self.graph, self.prices
        length_m = np.hypot(*(graph.nodes[graph.head] - graph.nodes[graph.tail]).T)
        more = (factor - 1.0) * prices.worth_per_m2 * prices.reach_m * length_m
        return replace(
            self,
            graph=replace(graph, price=graph.price + more, worth=factor * graph.worth),
            prices=replace(prices, worth_per_m2=factor * prices.worth_per_m2),
        )


def cheapest_outline(ground: Polygon, *, site: Site, settings: Settings) -> Polygon | None:
    """Lay the cheapest loop on a piece of ground, with its bends drawn.

    Parameters
    ----------
    ground : Polygon
        What may be enclosed at most; its holes are what is kept out.
    site : Site
        What lies on it.
    settings : Settings
        Clearances, reach, radius.

    Returns
    -------
    Polygon or None
        Its holes are the inner loops; None where no ground pays for its wire.
    """
    asked = question(ground, site=site, settings=settings)
    for factor in _RAISED:
        put = asked.raised(factor)
        chosen = cheapest_loop(put.graph, put.prices)
        if chosen is None:
            continue
        corners = put.graph.nodes[chosen.turns] + np.array(put.origin)
        drawn = [Polygon(with_arcs(corners, radius_m=settings.bend_radius_m, eased=eased)) for eased in (True, False)]
        lines = buried(site.utilities, near=ground, settings=settings)

        def total(area: Polygon, lines: Buried = lines) -> float:
            worth = asked.prices.worth_per_m2
            return appraise(area, lines=lines, site=site, settings=settings, worth_per_m2=worth).total

        outline = min(drawn, key=total) if drawn[0] != drawn[1] else drawn[0]
        for hole in (Polygon(ring) for ring in ground.interiors if outline.contains(Polygon(ring))):
            holes = list(outline.interiors)
            rings = _rings_round(hole, lines=lines, within=outline, settings=settings)
            outline = min((Polygon(outline.exterior, [*holes, ring.exterior]) for ring in rings), key=total)
        return outline if total(outline) < 0.0 else None
    return None


def _rings_round(hole: Polygon, *, lines: Buried, within: Polygon, settings: Settings) -> list[Polygon]:
    """Give the rings that could be laid round a keep-out: beside it, or square to a buried line that this one meets."""
    plain = shapely.get_coordinates(shapely.orient_polygons(hole).exterior)[:-1]
    rings = [Polygon(with_arcs(plain, radius_m=settings.bend_radius_m))]
    near = [line for line in lines.lines if line.line.dwithin(hole, line.separation_m)]
    for line in near:
        at = line.line.project(hole.centroid)
        here, there = (line.line.interpolate(at + step_m) for step_m in (-_ASIDE_OF_M, _ASIDE_OF_M))
        angle = math.degrees(math.atan2(there.y - here.y, there.x - here.x))
        upright = rotate(hole, -angle, origin=hole.centroid)
        for more_m in _WIDER_M:
            corners = box(*upright.buffer(more_m).bounds)
            turned = shapely.get_coordinates(rotate(corners, angle, origin=hole.centroid))[:-1]
            ring = Polygon(with_arcs(turned, radius_m=settings.bend_radius_m))
            if ring.contains(hole) and within.contains(ring):
                rings.append(ring)
    return rings


def question(ground: Polygon, *, site: Site, settings: Settings) -> Question:
    """Put the question for one piece of ground.

    Parameters
    ----------
    ground : Polygon
        What may be enclosed at most; its holes are what is kept out.
    site : Site
        What lies on it.
    settings : Settings
        Clearances, reach, radius.
    """
    x, y = (round(value) for value in ground.centroid.coords[0])
    origin = float(x), float(y)
    worth = value_per_m2(ground, settings=settings)
    near = ground.buffer(settings.utility_separation_m + _AROUND_M)
    lines = buried(site.utilities, near=ground, settings=settings)
    walls = [part for building in site.buildings for part in parts(building.geometry) if ground.contains(part)]
    ponds = [part for water in site.water for part in parts(water.geometry) if ground.intersects(part)]
    holes = [Polygon(ring) for ring in ground.interiors]
    graph = priced_graph(
        _moved(ground, origin),
        _obstacles(walls, lines, site=site, settings=settings, near=near, origin=origin),
        areas=[
            PricedArea(area=_moved(area, origin), per_m=per_m, along=along)
            for area, per_m, along in (
                *dear_ground(site),
                *((mark.area.buffer(mark.separation_m), FORBIDDEN, 0.0) for mark in lines.areas),
            )
            if area.intersects(near)
        ],
        tolerance_zones=_moved(_tolerance_zones(site, around=near), origin),
        value=LandValue(
            per_m2=worth,
            worthless=tuple(_moved(part, origin) for part in (*walls, *ponds)),
            kept_out=tuple(
                (_moved(hole, origin), _inner_loop_price(hole, settings=settings, worth=worth)) for hole in holes
            ),
            seed=tuple(_moved(wall, origin) for wall in _house(walls)),
        ),
        settings=settings,
    )
    return Question(graph=graph, prices=turn_prices(settings, worth=worth), origin=origin)


def _obstacles(
    walls: list[Polygon],
    lines: Buried,
    *,
    site: Site,
    settings: Settings,
    near: BaseGeometry,
    origin: tuple[float, float],
) -> Obstacles:
    """Collect what candidate lines meet near a piece of ground."""
    no_wire = shapely.union_all([
        *(water.geometry.buffer(settings.water_clearance_m) for water in site.water),
        *(road.geometry.buffer(settings.road_clearance_m) for road in site.roads),
        *(feature.geometry for feature in site.no_dig),
        *(building.geometry.buffer(settings.building_clearance_m) for building in site.buildings),
        *(mark.area.buffer(mark.separation_m) for mark in lines.areas),
    ])
    return Obstacles(
        lines=tuple(
            BuriedLine(line=_moved(line.line, origin), separation_m=line.separation_m, names=line.names)
            for line in lines.lines
            if line.line.intersects(near)
        ),
        no_wire=_moved(no_wire.intersection(near), origin),
        walls=tuple(_moved(wall, origin) for wall in walls),
        across=tuple(
            _moved(feature.geometry.buffer(_ASIDE_M, join_style="mitre").intersection(near), origin)
            for feature in (*site.easements, *site.hardscape, *site.watercourses, *site.trees)
            if feature.geometry.intersects(near)
        )
        + tuple(
            _moved(shape.buffer(apart_m + _ASIDE_M, join_style="mitre"), origin)
            for shape, apart_m in (
                *((feature.geometry, 0.0) for feature in site.no_dig),
                *((mark.area, mark.separation_m) for mark in lines.areas),
            )
            if shape.dwithin(near, apart_m)
        ),
    )


def _moved(shape: _Shape, origin: tuple[float, float]) -> _Shape:
    moved: _Shape = translate(shape, -origin[0], -origin[1])
    return moved


def turn_prices(settings: Settings, *, worth: float) -> TurnPrices:
    """Give the prices of bends and legs.

    Parameters
    ----------
    settings : Settings
        Bend radius and reach.
    worth : float
        Of a square metre of free ground.
    """
    return TurnPrices(
        bend_radius_m=FOR_CHORDS * settings.bend_radius_m,
        reach_m=settings.reach_m,
        worth_per_m2=worth,
        bend_fixed=BEND,
        bend_per_90=BEND_PER_90,
        short_leg=SHORT_LEG,
        short_leg_per_m=SHORT_LEG_PER_M,
        pegless_leg=PEGLESS,
        beside_per_m=BESIDE,
        corner=CORNER,
    )


def value_per_m2(ground: Polygon, *, settings: Settings) -> float:
    """Give the worth of a square metre of free ground: on small lots so much that a loop round most of the lot pays."""
    free_m2 = max(ground.area - settings.reach_m * ground.length, _LEAST_SHARE * ground.area)
    return max(FREE_GROUND, _SMALL_LOT * (ground.length + _END_OF_A_LOT_M) / free_m2)


def _inner_loop_price(hole: Polygon, *, settings: Settings, worth: float) -> float:
    wire_m = hole.length * (1.0 + worth * settings.reach_m)
    return wire_m + 4.0 * (BEND + BEND_PER_90) + INNER_LOOP


def _house(walls: list[Polygon]) -> list[Polygon]:
    return [max(walls, key=lambda wall: round(wall.area, 2))] if walls else []


def _tolerance_zones(site: Site, *, around: BaseGeometry) -> BaseGeometry:
    return shapely.union_all([
        utility.geometry.buffer(utility.tolerance_m, quad_segs=8)
        for utility in site.utilities
        if utility.geometry.intersects(around)
    ])
