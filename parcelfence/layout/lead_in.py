"""Lead-ins: twisted pairs from the transmitter to every loop, along a short tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import nearest_points, substring

from parcelfence.conflict import Conflict
from parcelfence.layout.lead_in_ground import bad_for_joints, lead_in_ground
from parcelfence.layout.loop import Run, Transmitter
from parcelfence.layout.routing import TOUCH_M
from parcelfence.layout.transmitter_place import FROM_WALL_M, wall_places
from parcelfence.lines import distinct, started_at

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from parcelfence.layout.loop import Part
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

    Points = npt.NDArray[np.float64]

__all__ = ["lay_out"]

_SAMPLE_M: Final = 1.0
_INTO_RING_M: Final = 0.1
_SAME_M: Final = 1e-6
_PARTS: Final[dict[str, Part]] = {"L": "loop", "R": "return_run", "K": "inner_loop"}


def lay_out(
    area: Polygon, *, doubled: Sequence[Polygon] = (), site: Site, settings: Settings
) -> tuple[tuple[Run, ...], Transmitter | None, tuple[Conflict, ...]]:
    """Make the runs of a design: loops that begin where they are fed, and the twisted pairs that feed them.

    Parameters
    ----------
    area : Polygon
        Contained area; its holes are the inner loops.
    doubled : sequence of Polygon
        With open sides, the bands between active and return runs; their outlines then stand for the outer loop.
    site : Site
        Buildings and keep-outs that lead-ins go round, utilities that they cross square.
    settings : Settings
        Separation from utilities, distance from metal.

    Returns
    -------
    runs : tuple of Run
        The outer loop L1, counter-clockwise, or doubled-back loops R1, R2...; inner loops K1, K2... by size,
        clockwise; pairs T1, T2... from the transmitter outwards.  With these senses
        currents run against each other in any two loops that face each other, and their fields between them add: no
        gap opens in the signal.
    transmitter : Transmitter or None
        None if nothing tells where it could hang.
    remarks : tuple of Conflict
        What could not be done.
    """
    outline = shapely.orient_polygons(area)
    inner = sorted(outline.interiors, key=lambda ring: (-round(Polygon(ring).area, 2), ring.bounds))
    outer = {f"R{n}": _ring(band) for n, band in enumerate(doubled, start=1)} or {"L1": _ring(outline)}
    rings = outer | {f"K{n}": LineString(ring) for n, ring in enumerate(inner, start=1)}
    tree = _Tree(area=outline, rings=rings, site=site, settings=settings)
    if not tree.has_a_root:
        return _unfed(rings, centre=area.centroid), None, (_no_place(site),)
    waiting = dict(rings)
    while waiting:
        fed = tree.grow(waiting)
        if fed is None:
            given = None if site.transmitter is None else Transmitter.as_given(site.transmitter)
            return _unfed(rings, centre=area.centroid), given, (_no_way(site, next(iter(waiting))),)
        waiting.pop(fed)
    loops = [_loop(name, started_at(ring, tree.fed[name])) for name, ring in rings.items()]
    pairs = [Run(part="lead_in", loop_id=f"T{n}", line=line, current=0.0) for n, line in enumerate(tree.lines, start=1)]
    return (*loops, *pairs), tree.transmitter, ()


def _ring(area: Polygon) -> LineString:
    return LineString(shapely.orient_polygons(area).exterior)


def _loop(name: str, line: LineString) -> Run:
    return Run(part=_PARTS[name[0]], loop_id=name, line=line, current=1.0)


class _Tree:
    """Pairs laid so far, and the ground on which others can be laid."""

    def __init__(self, *, area: Polygon, rings: dict[str, LineString], site: Site, settings: Settings) -> None:
        self.lines: list[LineString] = []
        self.fed: dict[str, Point] = {}
        self.transmitter: Transmitter | None = None
        self._avoided = bad_for_joints(site, settings=settings)
        self._roots = _roots(site, settings=settings)
        outer = Polygon(area.exterior)
        indoors = self._roots is not None and outer.covers(shapely.multipoints(self._roots.ways[:, -1]))
        obstacles = [
            *(building.geometry for building in site.buildings),
            *(Polygon(ring).buffer(-_INTO_RING_M) for name, ring in rings.items() if name[0] == "K"),
        ]
        domain = outer if indoors else site.parcel.buffer(-TOUCH_M)
        self._ground = lead_in_ground(domain, obstacles, site=site, settings=settings)
        self._targets = {name: self._places(ring) for name, ring in rings.items()}

    @property
    def has_a_root(self) -> bool:
        """Whether anything tells where a transmitter could hang."""
        return self._roots is not None

    def grow(self, waiting: dict[str, LineString]) -> str | None:
        """Feed the loop to which the way is cheapest from what is laid, and give its name; None where none leads."""
        names = [name for name in waiting for _ in self._targets[name]]
        targets = np.vstack([self._targets[name] for name in waiting])
        first = self._roots if not self.lines else None
        if first is None:
            way = self._ground.way(np.vstack([_sampled(line) for line in self.lines]), targets)
        else:
            way = self._ground.way(first.ways[:, -1], targets, at_start=first.price_m)
        if way is None:
            return None
        name = names[way.target]
        points = self._ended_on(way.points, waiting[name])
        if first is not None:
            self.transmitter = first.transmitter(way.source)
            points = np.vstack([first.ways[way.source], points[1:]])
        self._branch(LineString(distinct(points)))
        self.fed[name] = Point(points[-1])
        return name

    def _places(self, ring: LineString) -> Points:
        """Places on a loop where it may be fed: away from crossings and hard surfaces, if there are any."""
        samples = _sampled(ring)[:-1]
        good = ~shapely.intersects(self._avoided, shapely.points(samples))
        return samples[good] if good.any() else samples

    def _ended_on(self, points: Points, ring: LineString) -> Points:
        """Let a way meet a loop where that is cheapest, where only samples of the loop were looked at."""
        foot = nearest_points(Point(points[-2]), substring(ring, *_about(ring, Point(points[-1]))))[1]
        if foot.intersects(self._avoided):
            return points
        last, other = points[-2:-1], np.array([[foot.x, foot.y]])
        there, here = (float(self._ground.prices_m(last, end)[0]) for end in (other, points[-1:]))
        if there > here or not self._ground.seen(last, other)[0]:
            return points
        return np.vstack([points[:-1], other])

    def _branch(self, line: LineString) -> None:
        """Add a pair; where it leaves another one on its way, that one is parted there."""
        start = Point(line.coords[0])
        for index, other in enumerate(self.lines):
            at = other.project(start)
            if other.dwithin(start, _SAME_M) and _SAME_M < at < other.length - _SAME_M:
                self.lines[index : index + 1] = [
                    LineString(substring(other, first, last).coords) for first, last in ((0.0, at), (at, other.length))
                ]
                break
        self.lines.append(line)


@dataclass(frozen=True, kw_only=True)
class _Roots:
    """Where the first pair may begin: ways out of a wall, shape (n, k, 2), each with its price and its transmitter."""

    ways: Points
    price_m: Points
    transmitter: Callable[[int], Transmitter]


def _roots(site: Site, *, settings: Settings) -> _Roots | None:
    if site.transmitter is not None:
        given = Transmitter.as_given(site.transmitter)
        way = _way_out(site.transmitter, site=site)
        return _Roots(ways=way[None], price_m=np.zeros(1), transmitter=lambda _: given)
    places = wall_places(site, settings=settings)
    if places is None:
        return None
    ways = np.stack([places.points, places.outside], axis=1)
    return _Roots(ways=ways, price_m=places.price_m, transmitter=places.transmitter)


def _way_out(root: Point, *, site: Site) -> Points:
    """From a place in or at a building straight through the nearest wall."""
    inside = [b.geometry for b in site.buildings if b.geometry.dwithin(root, FROM_WALL_M)]
    here = np.array([[root.x, root.y]])
    if not inside:
        return here
    building = min(inside, key=lambda shape: shape.boundary.distance(root))
    ring = building.buffer(FROM_WALL_M, join_style="mitre").boundary
    on_it = ring.intersection(site.parcel)  # not through a wall on the lot line, if there is another one
    outside = nearest_points(root, ring if on_it.is_empty else on_it)[1]
    wall = nearest_points(outside, building.boundary)[1]
    points = [here[0]] + ([np.array([wall.x, wall.y])] if wall.distance(root) > _SAME_M else [])
    return np.array([*points, [outside.x, outside.y]])


def _about(ring: LineString, point: Point) -> tuple[float, float]:
    at = ring.project(point)
    return max(0.0, at - _SAMPLE_M / 2), min(ring.length, at + _SAMPLE_M / 2)


def _sampled(line: LineString) -> Points:
    count = max(2, int(np.ceil(line.length / _SAMPLE_M)) + 1)
    places = shapely.line_interpolate_point(line, np.linspace(0, line.length, count))
    samples: Points = shapely.get_coordinates(places)
    return samples


def _unfed(rings: dict[str, LineString], *, centre: Point) -> tuple[Run, ...]:
    """Without a transmitter each loop begins where it is nearest to the middle of the land."""
    return tuple(_loop(name, started_at(ring, nearest_points(ring, centre)[0])) for name, ring in rings.items())


def _no_place(site: Site) -> Conflict:
    return Conflict(
        rule="transmitter-place",
        severity="note",
        message="No place for the transmitter is known: none was given, and no building stands on the property; the "
        "plan has no lead-in",
        remedy="give the layer transmitter, or buildings",
        geometry=site.parcel.representative_point(),
        layer="transmitter",
    )


def _no_way(site: Site, name: str) -> Conflict:
    return Conflict(
        rule="transmitter-place",
        severity="must_fix",
        message=f"No lead-in within the property reaches loop {name} from the transmitter; the plan has no lead-in",
        remedy="give a transmitter on the same part of the property as the loop, or plan the part where it is",
        geometry=site.parcel.representative_point() if site.transmitter is None else site.transmitter,
        layer="transmitter",
    )
