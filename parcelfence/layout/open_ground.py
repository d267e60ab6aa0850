"""The ground that doubled-back wire contains, found from the wire as it lies: of a design and a drawn wire alike."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from shapely import LineString, Point, Polygon

from parcelfence.layout.rounding import parts, whole
from parcelfence.lines import gather

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from scipy.sparse import csr_matrix
    from shapely import LinearRing, MultiPolygon
    from shapely.geometry.base import BaseGeometry

    from parcelfence.site.site import Site

__all__ = ["AT_A_BARRIER_M", "contained_ground"]

AT_A_BARRIER_M: Final = 0.5
"""An open side that lies so near to water or a wall is that water or wall."""
_SAMPLE_M: Final = 0.1
_TOUCH_M: Final = 0.01
_FEWEST_SAMPLES: Final = 400
_AT_THE_END: Final = 0.9
"""From the middle line of a band short ways lead into its rounded ends, towards the wire; they do not count."""
_LEAST_GROUND_M2: Final = 1.0
_OPEN_SHARE: Final = 0.2
"""Ground that is bounded for more than this by nothing but the lot line is not contained by the wire."""


def contained_ground(bands: Sequence[Polygon], *, site: Site) -> Polygon | MultiPolygon | None:
    """Give the ground that doubled-back wire contains: up to the open sides, and across the gaps of passages.

    It is measured from the bands as they lie, so that a wire read from a file has the ground of its plan.

    Parameters
    ----------
    bands : sequence of Polygon
        Between an active run and its return run.
    site : Site
        Its open sides; ground beyond the wall or water along one is not contained.

    Returns
    -------
    Polygon or MultiPolygon or None
        With the bands; None where nothing is parted from the rest: the wire and the sides close round no ground.
    """
    closing = _closing_lines(bands, site=site)
    lines = [site.parcel.boundary, *(band.exterior for band in bands), *closing]
    lines += [side.geometry for side in site.open_sides]
    barrier = _barrier_at_sides(site)
    strips = shapely.union_all(bands)
    faces = [
        piece
        for face in shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.node(gather(lines)))))
        if site.parcel.covers(face.representative_point()) and not strips.covers(face.representative_point())
        for piece in parts(face.difference(barrier))
    ]
    wanted = strips.convex_hull if site.wanted_area is None else strips.convex_hull.intersection(site.wanted_area)
    within_m2 = [face.intersection(wanted).area for face in faces]
    if not faces or max(within_m2) < _LEAST_GROUND_M2:
        return None
    inner = faces[int(np.argmax(within_m2))]
    if not _is_parted(inner, strips, closing=closing, site=site):
        return None
    ground = whole(shapely.union_all([strips, inner]))
    return ground.geoms[0] if len(ground.geoms) == 1 else ground


def _is_parted(inner: Polygon, strips: BaseGeometry, *, closing: Sequence[LineString], site: Site) -> bool:
    """Whether wire, closing lines and sides bound some ground, and not the lot line beyond where a side lies on it."""
    stops = shapely.union_all([
        strips,
        *(line.buffer(_TOUCH_M) for line in closing),
        *(side.geometry.buffer(AT_A_BARRIER_M) for side in site.open_sides),
        _barrier_at_sides(site).buffer(AT_A_BARRIER_M),
    ]).buffer(_TOUCH_M)
    return bool(inner.exterior.difference(stops).length < _OPEN_SHARE * inner.exterior.length)


def _closing_lines(bands: Sequence[Polygon], *, site: Site) -> list[LineString]:
    """Lead each end of the bands straight to the open side it ends at, or across a passage if that is nearer."""
    tips = [tip for band in bands for tip in _tips(band)]
    sides = shapely.union_all([side.geometry for side in site.open_sides])
    ways = shapely.union_all([passage.geometry for passage in site.passages])
    lines = []
    for number, tip in enumerate(tips):
        found = [LineString([tip, other]) for place, other in enumerate(tips) if place != number]
        found = [line for line in found if line.intersects(ways)]
        if not sides.is_empty:
            found.append(shapely.shortest_line(tip, sides))
        nearest = min(found, key=lambda line: float(line.length), default=None)
        if nearest is not None and nearest.length > _TOUCH_M:
            lines.append(_led_on(nearest))
    return lines


def _led_on(line: LineString) -> LineString:
    """Lead a line on at both ends, so that it surely crosses what it leads to."""
    start, end = shapely.get_coordinates(line)
    on = _TOUCH_M * (end - start) / line.length
    return LineString([start - on, end + on])


def _tips(band: Polygon) -> tuple[Point, Point]:
    """Find both ends of a band, where its wire turns back: those of the longest way along its middle."""
    ring = shapely.normalize(band).exterior  # the same, wherever the wire begins
    places, graph = _middle(band, ring=ring)
    _, piece = connected_components(graph, directed=False)
    far = int(np.flatnonzero(piece == np.bincount(piece).argmax())[0])
    for _ in range(3):
        start = far
        away_m, before = dijkstra(graph, directed=False, indices=[start], return_predecessors=True)
        far = int(np.where(np.isfinite(away_m[0]), away_m[0], -1.0).argmax())
    way = [far]
    while way[-1] != start:
        way.append(int(before[0, way[-1]]))
    room_m = shapely.distance(shapely.points(places[way]), ring)
    roomy = np.flatnonzero(room_m > _AT_THE_END * np.median(room_m))
    return Point(places[way[roomy[0]]]), Point(places[way[roomy[-1]]])


def _middle(band: Polygon, *, ring: LinearRing) -> tuple[npt.NDArray[np.float64], csr_matrix]:
    """Give the middle lines of a band, from cells around points of its outline: places, and how far apart they are."""
    step_m = max(_SAMPLE_M, min(band.area / ring.length, ring.length / _FEWEST_SAMPLES))
    around = shapely.line_interpolate_point(ring, np.arange(0.0, ring.length, step_m))
    edges = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(around), only_edges=True))
    ends = shapely.get_coordinates(edges[shapely.covers(band, edges)]).reshape(-1, 2, 2)
    places, numbers = np.unique(np.round(ends.reshape(-1, 2), 6), axis=0, return_inverse=True)
    length_m = np.hypot(*(ends[:, 0] - ends[:, 1]).T) + 1e-9  # no length of 0: that would be no edge
    return places, coo_matrix((length_m, numbers.reshape(-1, 2).T), shape=(len(places),) * 2).tocsr()


def _barrier_at_sides(site: Site) -> BaseGeometry:
    """Give the walls and the water that open sides lie along."""
    return shapely.union_all([
        feature.geometry
        for feature in (*site.buildings, *site.water)
        if any(feature.geometry.dwithin(side.geometry, AT_A_BARRIER_M) for side in site.open_sides)
    ])
