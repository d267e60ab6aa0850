"""Ground for lead-ins: where they may lie, what it costs there, and gates by which they cross buried lines square."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from parcelfence.layout.prices import BESIDE, COURSE, CUT, HAND_DUG, ROOTS
from parcelfence.layout.routing import FreeGround, Gate, PricedZone
from parcelfence.site.meaning import surface

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.routing import Useful
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

    Points = npt.NDArray[np.float64]

__all__ = ["bad_for_joints", "lead_in_ground"]

_EASEMENT: Final = 2.0
"""A metre in an easement: a lead-in is led where it is shortest, and is not weighed by how it lies to the axis."""
_FORBIDDEN: Final = 1000.0
"""In metres of plain way for a metre: roads, open water and ground not to be dug are crossed only where the land leaves
no other way."""
_EVERY_M: Final = 1.0
"""Gates are tried so often along a buried line."""
_WIDEST_GATE_M: Final = 8.0
"""No bundle of lines is crossed by a longer stretch without a turn; it would lie beside one of them."""
_THINNED_M: Final = 0.05
"""The edge of ground with a price is known no better, and is looked at some thousand times."""
_OUT_M: Final = 0.03
_DRIVE_M: Final = 0.5


def lead_in_ground(
    domain: BaseGeometry, obstacles: Sequence[BaseGeometry], *, site: Site, settings: Settings
) -> FreeGround:
    """Give the ground on which lead-ins are led.

    Parameters
    ----------
    domain : BaseGeometry
        They stay within it.
    obstacles : sequence of BaseGeometry
        They lead round these.
    site : Site
        What lies on the ground and in it.
    settings : Settings
        Separation from buried lines, tolerance of crossings.
    """
    near = domain.buffer(settings.utility_separation_m)
    lines = [line.geometry for line in site.buried_lines if line.geometry.intersects(near)]
    beside = shapely.union_all([line.buffer(settings.utility_separation_m, quad_segs=4) for line in lines])
    by_hand = shapely.union_all([
        utility.geometry.buffer(utility.tolerance_m or settings.tolerance_zone_m, quad_segs=4)
        for utility in site.utilities
        if utility.geometry.intersects(near)
    ])
    forbidden = [feature.geometry for feature in (*site.roads, *site.water, *site.no_dig)]
    zones = [
        PricedZone(area=beside, per_m=BESIDE),
        PricedZone(area=by_hand, per_m=HAND_DUG),
        PricedZone(area=shapely.union_all([area for area in forbidden if area.intersects(near)]), per_m=_FORBIDDEN),
        PricedZone(area=shapely.union_all([tree.geometry for tree in site.trees]), per_m=ROOTS),
        PricedZone(area=shapely.union_all([course.geometry for course in site.watercourses]), per_m=COURSE),
        PricedZone(area=shapely.union_all([strip.geometry for strip in site.easements]), per_m=_EASEMENT),
        *(PricedZone(area=each.geometry, per_m=CUT[surface(each)]) for each in site.hardscape),
    ]
    window = domain.bounds
    kept = [replace(zone, area=shapely.clip_by_rect(zone.area, *window).simplify(_THINNED_M)) for zone in zones]
    plain = FreeGround(domain, (), zones=kept[1:])
    gates = _Gates(lines, beside=beside, plain=plain, settings=settings)
    return FreeGround(domain, obstacles, zones=kept, gates=gates.where)


def bad_for_joints(site: Site, *, settings: Settings) -> BaseGeometry:
    """Give the ground on which no loop is fed: beside buried lines, and under what is paved."""
    return shapely.union_all([
        *(utility.geometry.buffer(settings.utility_separation_m) for utility in site.utilities),
        *(each.geometry.buffer(_DRIVE_M) for each in site.hardscape),
        *(each.geometry for each in (*site.no_dig, *site.watercourses, *site.trees, *site.easements, *site.roads)),
    ])


class _Gates:
    """Square ways across the buried lines, from one side of their separations to the other."""

    def __init__(
        self, lines: Sequence[BaseGeometry], *, beside: BaseGeometry, plain: FreeGround, settings: Settings
    ) -> None:
        self._lines, self._beside, self._plain, self._settings = lines, beside, plain, settings
        self._made: dict[tuple[int, bytes], Gate | None] = {}

    def where(self, useful: Useful) -> list[Gate]:
        """Give the gates at useful places."""
        found = []
        for number, line in enumerate(self._lines):
            for part in shapely.get_parts(line):
                if isinstance(part, LineString) and part.length > 0:
                    found += [gate for gate in self._along(part, number=number, useful=useful) if gate is not None]
        return found

    def _along(self, part: LineString, *, number: int, useful: Useful) -> Iterator[Gate | None]:
        count = max(1, math.ceil(part.length / _EVERY_M))
        places = (np.arange(count) + 0.5) * part.length / count
        before = shapely.get_coordinates(shapely.line_interpolate_point(part, np.maximum(places - 0.3, 0.0)))
        after = shapely.get_coordinates(shapely.line_interpolate_point(part, np.minimum(places + 0.3, part.length)))
        on = shapely.get_coordinates(shapely.line_interpolate_point(part, places))
        ahead = (after - before) / np.maximum(np.hypot(*(after - before).T), 1e-9)[:, None]
        for index in np.flatnonzero(useful(on)):
            key = number, on[index].tobytes()
            if key not in self._made:
                across = np.array([-ahead[index, 1], ahead[index, 0]])
                self._made[key] = self._gate(on[index], across, number=number)
            yield self._made[key]

    def _gate(self, place: Points, across: Points, *, number: int) -> Gate | None:
        """Give the way across at a place; None where it would not come out, or run beside another line."""
        whole = LineString([place - across * _WIDEST_GATE_M, place + across * _WIDEST_GATE_M])
        within = [
            part
            for part in shapely.get_parts(whole.intersection(self._beside))
            if part.distance(shapely.Point(place)) < _OUT_M
        ]
        if not within or not isinstance(within[0], LineString):
            return None
        reached = [whole.project(shapely.Point(xy)) for xy in within[0].coords]
        first_m, last_m = min(reached), max(reached)
        if first_m <= _OUT_M or last_m >= whole.length - _OUT_M or last_m - first_m > _WIDEST_GATE_M:
            return None
        ends = shapely.get_coordinates(shapely.line_interpolate_point(whole, [first_m - _OUT_M, last_m + _OUT_M]))
        if not all(self._is_square(LineString(ends), line) for n, line in enumerate(self._lines) if n != number):
            return None
        return Gate(ends=ends, price_m=float(self._plain.prices_m(ends[:1], ends[1:])[0]))

    def _is_square(self, gate: LineString, line: BaseGeometry) -> bool:
        """Tell whether a gate crosses another line square, or keeps the separation from it."""
        if not gate.dwithin(line, self._settings.utility_separation_m - _OUT_M):
            return True
        for part in shapely.get_parts(gate.intersection(line)):
            around = shapely.get_parts(line.intersection(part.buffer(0.3)))
            course = shapely.get_coordinates(around[0]) if len(around) else np.empty((0, 2))
            if part.geom_type != "Point" or isinstance(line, Polygon) or len(course) < 2:  # noqa: PLR2004
                return False
            along, ahead = course[-1] - course[0], np.diff(shapely.get_coordinates(gate), axis=0)[0]
            off = abs(float(along @ ahead)) / max(float(np.hypot(*along) * np.hypot(*ahead)), 1e-9)
            if math.degrees(math.asin(min(off, 1.0))) > self._settings.crossing_tolerance_deg:
                return False
        return bool(gate.intersects(line))
