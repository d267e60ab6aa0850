"""The plane graph of straight segments: where they meet, which edges lie between, which faces on either side.

Points are never snapped to a grid, so the graph turns with its input.  Segments on one line (within a millimetre)
become one line; points within half a millimetre become one node; an end that misses another segment by less than
:data:`_END_M` meets it.  Edges that end in nothing are dropped: no loop can use them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["PlaneGraph", "plane_graph"]

_SAME_LINE_M: Final = 0.001
"""Wire cannot be laid more exactly; lines that are nearer would meet at angles that no arithmetic can hold."""
_SAME_POINT_M: Final = 0.0005
_END_M: Final = 0.004
"""More than the tolerance of lines that become one, so that what met before does so afterwards."""
_PARALLEL: Final = 1e-9


@dataclass(frozen=True, kw_only=True)
class PlaneGraph:
    """Nodes, edges and faces.

    Parameters
    ----------
    nodes : ndarray, shape (n, 2)
        In metres.
    tail, head : ndarray, shape (m,)
        Nodes of every edge.
    line : ndarray, shape (m,)
        Number of the straight line that the edge is a piece of.
    left, right : ndarray, shape (m,)
        Faces on its sides; face 0 is the outside.
    face_area_m2 : ndarray, shape (f,)
        0 for the outside.
    face_points : ndarray, shape (f, 2)
        A point inside each face, beside the middle of its longest edge; meaningless for the outside.
    line_of_segment : ndarray, shape (s,)
        The line that each given segment became part of.
    direction : ndarray, shape (l, 2)
        Unit vector along every line.
    """

    nodes: Floats
    tail: Indices
    head: Indices
    line: Indices
    left: Indices
    right: Indices
    face_area_m2: Floats
    face_points: Floats
    line_of_segment: Indices
    direction: Floats


def plane_graph(segments: Floats, *, outline: Floats) -> PlaneGraph:
    """Make the graph of segments.

    Parameters
    ----------
    segments : ndarray, shape (s, 4)
        Ends x1, y1, x2, y2 in metres, near the origin.
    outline : ndarray, shape (2,)
        A point on a segment: of graphs that do not hang together the one next to it is kept.

    Returns
    -------
    PlaneGraph
        Its order follows from the coordinates' own order only through the numbering.
    """
    line_of_segment, origin, direction = _lines(segments)
    normal = np.column_stack([-direction[:, 1], direction[:, 0]])
    pieces, line = _pieces(segments, line_of_segment, origin=origin, direction=direction)
    on_line, at_m, xy = _meetings(pieces, line, origin=origin, direction=direction, normal=normal)
    nodes, node = _merged(xy)
    tail, head, edge_line = _edges(node, (on_line, at_m), pieces=pieces, line=line, nodes=nodes)
    keep = _useful(tail, head, nodes=nodes, outline=outline)
    tail, head, edge_line = tail[keep], head[keep], edge_line[keep]
    used, renumbered = np.unique(np.concatenate([tail, head]), return_inverse=True)
    nodes, (tail, head) = nodes[used], renumbered.reshape(2, -1)
    left, right, areas, points = _faces(nodes, (tail, head))
    return PlaneGraph(
        nodes=nodes,
        tail=tail.astype(np.int64),
        head=head.astype(np.int64),
        line=edge_line,
        left=left,
        right=right,
        face_area_m2=areas,
        face_points=points,
        line_of_segment=line_of_segment,
        direction=direction,
    )


def _lines(segments: Floats) -> tuple[Indices, Floats, Floats]:
    """Find the straight line of each segment: its number, and origin and direction of every line."""
    start, step = segments[:, :2], segments[:, 2:] - segments[:, :2]
    length = np.hypot(*step.T)
    unit = step / length[:, None]
    shapes = np.asarray(shapely.linestrings(segments.reshape(-1, 2, 2)))
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_SAME_LINE_M)
    longer = (length[one] > length[other]) | ((length[one] == length[other]) & (one < other))
    one, other = one[longer], other[longer]
    normal = np.column_stack([-unit[one, 1], unit[one, 0]])
    away = [np.abs(np.einsum("ij,ij->i", segments[other, k : k + 2] - start[one], normal)) for k in (0, 2)]
    same = np.maximum(*away) <= _SAME_LINE_M
    one, other = one[same], other[same]
    count, group = connected_components(coo_matrix((np.ones(len(one)), (one, other)), shape=(len(segments),) * 2))
    longest = np.full(count, -1)
    order = np.argsort(length, kind="stable")
    longest[group[order]] = order
    return group.astype(np.int64), start[longest], unit[longest]


def _pieces(segments: Floats, line: Indices, *, origin: Floats, direction: Floats) -> tuple[Floats, Indices]:
    """Join what overlaps on one line: stretches from and to, with the number of the line."""
    ends = np.column_stack([
        np.einsum("ij,ij->i", segments[:, k : k + 2] - origin[line], direction[line]) for k in (0, 2)
    ])
    ends.sort(axis=1)
    order = np.lexsort((ends[:, 0], line))
    ends, line = ends[order], line[order]
    reach = np.maximum.accumulate(ends[:, 1] + line * _LINE_APART_M) - line * _LINE_APART_M
    fresh = np.ones(len(line), dtype=bool)
    fresh[1:] = (line[1:] != line[:-1]) | (ends[1:, 0] > reach[:-1] + _END_M)
    first = np.flatnonzero(fresh)
    last = np.append(first[1:], len(line)) - 1
    return np.column_stack([ends[first, 0], reach[last]]), line[first]


_LINE_APART_M: Final = 1e7
"""Far more than any property measures: the offsets of different lines never mix when they are sorted as one."""


def _meetings(
    pieces: Floats, line: Indices, *, origin: Floats, direction: Floats, normal: Floats
) -> tuple[Indices, Floats, Floats]:
    """Find where pieces meet: for each meeting and either piece its number, the offset along it, and the place."""
    base, along = origin[line], direction[line]
    ends = np.stack([base + pieces[:, :1] * along, base + pieces[:, 1:] * along], axis=1)
    shapes = np.asarray(shapely.linestrings(ends))
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_END_M)
    pair = (one < other) & (line[one] != line[other])
    one, other = one[pair], other[pair]
    sine = np.einsum("ij,ij->i", along[one], normal[line[other]])
    apart = np.abs(sine) > _PARALLEL
    one, other, sine = one[apart], other[apart], sine[apart]
    gap = base[other] - base[one]
    at_one = np.einsum("ij,ij->i", gap, normal[line[other]]) / sine
    at_other = np.einsum("ij,ij->i", gap, normal[line[one]]) / sine
    met = np.ones(len(one), dtype=bool)
    for piece, at in ((one, at_one), (other, at_other)):
        met &= (at >= pieces[piece, 0] - _END_M) & (at <= pieces[piece, 1] + _END_M)
    one, other, at_one, at_other = one[met], other[met], at_one[met], at_other[met]
    xy = base[one] + at_one[:, None] * along[one]
    return np.concatenate([one, other]), np.concatenate([at_one, at_other]), np.concatenate([xy, xy])


def _merged(xy: Floats) -> tuple[Floats, Indices]:
    """Make one node of points that lie together."""
    pairs = cKDTree(xy).query_pairs(_SAME_POINT_M, output_type="ndarray")
    count, node = connected_components(coo_matrix((np.ones(len(pairs)), pairs.T), shape=(len(xy),) * 2))
    size = np.bincount(node, minlength=count)
    nodes = np.column_stack([np.bincount(node, weights=xy[:, axis], minlength=count) / size for axis in (0, 1)])
    return nodes, node.astype(np.int64)


def _edges(
    node: Indices, place: tuple[Indices, Floats], *, pieces: Floats, line: Indices, nodes: Floats
) -> tuple[Indices, Indices, Indices]:
    """Join neighbours along every piece; of two edges between the same nodes that of the longer piece stays."""
    piece, at_m = place
    order = np.lexsort((at_m, piece))
    node, piece = node[order], piece[order]
    follows = (piece[1:] == piece[:-1]) & (node[1:] != node[:-1])
    tail, head, of_piece = node[:-1][follows], node[1:][follows], piece[1:][follows]
    longest_first = np.argsort(-(pieces[of_piece, 1] - pieces[of_piece, 0]), kind="stable")
    low, high = np.minimum(tail, head)[longest_first], np.maximum(tail, head)[longest_first]
    _, first = np.unique(low * np.int64(len(nodes)) + high, return_index=True)
    kept = np.sort(longest_first[first])
    return tail[kept], head[kept], line[of_piece[kept]]


def _useful(tail: Indices, head: Indices, *, nodes: Floats, outline: Floats) -> NDArray[np.bool_]:
    """Leave out what no loop can use: edges that end in nothing, and what does not hang together with the outline."""
    keep = np.ones(len(tail), dtype=bool)
    while True:
        degree = np.bincount(np.concatenate([tail[keep], head[keep]]), minlength=len(nodes))
        loose = keep & ((degree[tail] == 1) | (degree[head] == 1))
        if not loose.any():
            break
        keep &= ~loose
    if not keep.any():
        return keep
    ends = (tail[keep], head[keep])
    _, part = connected_components(coo_matrix((np.ones(keep.sum()), ends), shape=(len(nodes),) * 2))
    edges = np.stack([nodes[tail], nodes[head]], axis=1)[keep]
    nearest = np.flatnonzero(keep)[np.argmin(shapely.distance(shapely.linestrings(edges), shapely.Point(outline)))]
    kept: NDArray[np.bool_] = keep & (part[tail] == part[tail[nearest]])
    return kept


def _faces(nodes: Floats, edges: tuple[Indices, Indices]) -> tuple[Indices, Indices, Floats, Floats]:
    """Walk round every face: faces to the left and right of each edge, their areas, a point in each."""
    tail, head = edges
    count = len(tail)
    start, end = np.concatenate([tail, head]), np.concatenate([head, tail])
    step = nodes[end] - nodes[start]
    angle = np.arctan2(step[:, 1], step[:, 0])
    order = np.lexsort((angle, start))
    first = np.searchsorted(start[order], start)
    last = np.searchsorted(start[order], start, side="right")
    place = np.empty(2 * count, dtype=np.int64)
    place[order] = np.arange(2 * count)
    twin = np.concatenate([np.arange(count, 2 * count), np.arange(count)])
    at = place[twin]  # turning clockwise from the way back, the next edge keeps the face on its left
    before = np.where(at == first[twin], last[twin] - 1, at - 1)
    following = order[before]
    cycles, face = connected_components(
        coo_matrix((np.ones(2 * count), (np.arange(2 * count), following)), shape=(2 * count,) * 2)
    )
    cross = nodes[start, 0] * nodes[end, 1] - nodes[end, 0] * nodes[start, 1]
    areas = np.bincount(face, weights=cross, minlength=cycles) / 2.0
    outside = int(areas.argmin())
    number = np.where(np.arange(cycles) == outside, 0, np.arange(cycles) + (np.arange(cycles) < outside))
    face = number[face]
    face_areas = np.empty(cycles)
    face_areas[number] = areas
    face_areas[0] = 0.0
    length = np.hypot(*step.T)
    by_length = np.argsort(length, kind="stable")
    longest = np.zeros(cycles, dtype=np.int64)
    longest[face[by_length]] = by_length
    inward = np.column_stack([-step[longest, 1], step[longest, 0]]) / length[longest, None]
    aside = np.minimum(0.05, face_areas / length[longest] / 4.0)
    points = (nodes[start[longest]] + nodes[end[longest]]) / 2.0 + aside[:, None] * inward
    return face[:count].astype(np.int64), face[count:].astype(np.int64), face_areas, points
