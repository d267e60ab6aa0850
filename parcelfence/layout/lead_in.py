"""Lead-ins: twisted pairs from the transmitter to every loop, along a short tree."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.ops import nearest_points, substring

from parcelfence.conflict import Conflict
from parcelfence.layout.loop import Run, Transmitter
from parcelfence.layout.routing import FreeGround
from parcelfence.layout.square import squared
from parcelfence.layout.transmitter_place import transmitter_place
from parcelfence.lines import started_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Part
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["lay_out"]

_SAMPLE_M: Final = 1.0
_FROM_WALL_M: Final = 0.1
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
    transmitter = transmitter_place(next(iter(outer.values())), site=site, settings=settings)
    if transmitter is None:
        return _unfed(rings, centre=area.centroid), None, (_no_place(site),)
    tree = _Tree(transmitter.point, area=outline, rings=rings, site=site, settings=settings)
    waiting = dict(rings)
    while waiting:
        waiting.pop(tree.grow(waiting))
    loops = [_loop(name, started_at(ring, tree.fed[name])) for name, ring in rings.items()]
    pairs = [Run(part="lead_in", loop_id=f"T{n}", line=line, current=0.0) for n, line in enumerate(tree.lines, start=1)]
    return (*loops, *pairs), transmitter, ()


def _ring(area: Polygon) -> LineString:
    return LineString(shapely.orient_polygons(area).exterior)


def _loop(name: str, line: LineString) -> Run:
    return Run(part=_PARTS[name[0]], loop_id=name, line=line, current=1.0)


class _Tree:
    """Pairs laid so far, and the ground on which others can be laid."""

    def __init__(
        self, root: Point, *, area: Polygon, rings: dict[str, LineString], site: Site, settings: Settings
    ) -> None:
        self.lines: list[LineString] = []
        self.fed: dict[str, Point] = {}
        self._site, self._settings = site, settings
        self._avoided = _bad_for_joints(site, settings=settings)
        outer = Polygon(area.exterior)
        within = outer if outer.covers(root) else _simple(site.parcel)
        obstacles = [
            *(building.geometry for building in site.buildings),
            *(Polygon(ring).buffer(-_INTO_RING_M) for name, ring in rings.items() if name[0] == "K"),
        ]
        self._ground = FreeGround(within, obstacles)
        self._root = _way_out(root, site=site)
        self._targets = {name: self._places(ring) for name, ring in rings.items()}

    def grow(self, waiting: dict[str, LineString]) -> str:
        """Feed the loop that is nearest to what is laid, and give its name."""
        sources = self._sources()
        names = [name for name in waiting for _ in self._targets[name]]
        way = self._ground.way(sources, np.vstack([self._targets[name] for name in waiting]))
        if way is None:  # the ground is cut in two: go straight, and let the rules say what is in the way
            name = next(iter(waiting))
            line = LineString(nearest_points(Point(sources[0]), waiting[name]))
        else:
            name = names[way.target]
            line = squared(self._ended_on(way.line, waiting[name]), self._site.utilities, settings=self._settings)
        self._branch(line)
        self.fed[name] = Point(line.coords[-1])
        return name

    def _sources(self) -> npt.NDArray[np.float64]:
        if not self.lines:
            return self._root[-1:]
        return np.vstack([_sampled(line) for line in self.lines])

    def _places(self, ring: LineString) -> npt.NDArray[np.float64]:
        """Places on a loop where it may be fed: away from crossings and hard surfaces, if there are any."""
        samples = _sampled(ring)[:-1]
        good = ~shapely.intersects(self._avoided, shapely.points(samples))
        return samples[good] if good.any() else samples

    def _ended_on(self, line: LineString, ring: LineString) -> LineString:
        """Let a way meet a loop at its nearest point, where only samples of the loop were looked at."""
        xy = shapely.get_coordinates(line)
        foot = nearest_points(Point(xy[-2]), substring(ring, *_about(ring, Point(xy[-1]))))[1]
        if not foot.intersects(self._avoided):
            xy[-1] = foot.x, foot.y
        return LineString(xy)

    def _branch(self, line: LineString) -> None:
        """Add a pair; where it leaves another one on its way, that one is parted there."""
        start = Point(line.coords[0])
        if not self.lines:
            line = LineString(np.vstack([self._root[:-1], shapely.get_coordinates(line)]))
        for index, other in enumerate(self.lines):
            at = other.project(start)
            if other.dwithin(start, _SAME_M) and _SAME_M < at < other.length - _SAME_M:
                self.lines[index : index + 1] = [
                    LineString(substring(other, first, last).coords) for first, last in ((0.0, at), (at, other.length))
                ]
                break
        self.lines.append(line)


def _way_out(root: Point, *, site: Site) -> npt.NDArray[np.float64]:
    """From a place in or at a building straight through the nearest wall."""
    inside = [b.geometry for b in site.buildings if b.geometry.dwithin(root, _FROM_WALL_M)]
    here = np.array([[root.x, root.y]])
    if not inside:
        return here
    building = min(inside, key=lambda shape: shape.boundary.distance(root))
    wall = nearest_points(root, building.boundary)[1]
    ring = building.buffer(_FROM_WALL_M, join_style="mitre").boundary
    outside = nearest_points(wall, ring)[1]
    points = [here[0]] + ([np.array([wall.x, wall.y])] if wall.distance(root) > _SAME_M else [])
    return np.array([*points, [outside.x, outside.y]])


def _about(ring: LineString, point: Point) -> tuple[float, float]:
    at = ring.project(point)
    return max(0.0, at - _SAMPLE_M / 2), min(ring.length, at + _SAMPLE_M / 2)


def _sampled(line: LineString) -> npt.NDArray[np.float64]:
    count = max(2, int(np.ceil(line.length / _SAMPLE_M)) + 1)
    places = shapely.line_interpolate_point(line, np.linspace(0, line.length, count))
    samples: npt.NDArray[np.float64] = shapely.get_coordinates(places)
    return samples


def _bad_for_joints(site: Site, *, settings: Settings) -> BaseGeometry:
    return shapely.union_all([
        *(utility.geometry.buffer(settings.utility_separation_m) for utility in site.utilities),
        *(surface.geometry.buffer(0.5) for surface in site.hardscape),
    ])


def _simple(parcel: BaseGeometry) -> BaseGeometry:
    return parcel.buffer(-0.2).simplify(0.1)


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
