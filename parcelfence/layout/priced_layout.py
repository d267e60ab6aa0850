"""The layout as one priced optimum: ground, obstacles and prices of a site, and the outline that costs least."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import translate

from parcelfence.layout.buried import BuriedLine, buried
from parcelfence.layout.candidates import Obstacles
from parcelfence.layout.edge_prices import LandValue, PricedArea, priced_graph
from parcelfence.layout.priced_graph import TurnPrices
from parcelfence.layout.prices import (
    BEND,
    BEND_PER_90,
    BESIDE,
    CORNER,
    COURSE,
    CUT,
    EASEMENT,
    EASEMENT_ALONG,
    FREE_GROUND,
    INNER_LOOP,
    PEGLESS,
    ROOTS,
    SHORT_LEG,
    SHORT_LEG_PER_M,
)
from parcelfence.layout.rounding import FOR_CHORDS, parts
from parcelfence.site.meaning import surface

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.priced_graph import PricedGraph
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["Question", "question", "turn_prices"]

_Shape = TypeVar("_Shape", bound="BaseGeometry")
_SMALL_LOT: Final = 1.3
_END_OF_A_LOT_M: Final = 12.0
_AROUND_M: Final = 5.0
"""So far beyond a separation a bend may begin, and a crossing end."""
_LEAST_SHARE: Final = 0.15
"""On small lots a square metre is worth so much that a loop round most of the lot pays; else none would be laid."""


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
    walls = [part for building in site.buildings for part in parts(building.geometry) if ground.contains(part)]
    ponds = [part for water in site.water for part in parts(water.geometry) if ground.intersects(part)]
    holes = [Polygon(ring) for ring in ground.interiors]
    graph = priced_graph(
        _moved(ground, origin),
        _obstacles(ground, walls, site=site, settings=settings, near=near, origin=origin),
        areas=[
            PricedArea(area=_moved(area, origin), per_m=per_m, along=along)
            for area, per_m, along in _dear(site)
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
    ground: Polygon,
    walls: list[Polygon],
    *,
    site: Site,
    settings: Settings,
    near: BaseGeometry,
    origin: tuple[float, float],
) -> Obstacles:
    """Collect what candidate lines meet near a piece of ground."""
    lines = buried(site.utilities, near=ground, settings=settings)
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
            _moved(feature.geometry.intersection(near), origin)
            for feature in (*site.easements, *site.hardscape)
            if feature.geometry.intersects(near)
        ),
    )


def _dear(site: Site) -> list[tuple[BaseGeometry, float, float]]:
    """List the areas in which wire is dear, with the price of a metre and that of following them."""
    return [
        *((each.geometry, EASEMENT, EASEMENT_ALONG) for each in site.easements),
        *((each.geometry, CUT[surface(each)], 0.0) for each in site.hardscape),
        *((each.geometry, COURSE, 0.0) for each in site.watercourses),
        *((each.geometry, ROOTS, 0.0) for each in site.trees),
    ]


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
