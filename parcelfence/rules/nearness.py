"""Which pieces of the wire come near which features, and how near: measured once, asked by several rules."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.rules.wire import Stretch, Wire

__all__ = ["Nearness", "near_stretches"]

_SEGMENT_M: Final = 10.0
"""Long lines are cut into segments: the bounding box of a diagonal one would hold half of the site."""


@dataclass(frozen=True, eq=False)
class Nearness:
    """Distances between features and pieces of the wire, as far as they are small.

    Parameters
    ----------
    wire : Wire
        The wire.
    count : int
        Number of features.
    feature, piece : ndarray of int, shape (n,)
        Positions of each pair.
    distance_m : ndarray, shape (n,)
        Its distance; zero inside a polygon.
    """

    wire: Wire
    count: int
    feature: NDArray[np.int64]
    piece: NDArray[np.int64]
    distance_m: NDArray[np.float64]

    @classmethod
    def of(cls, wire: Wire, features: Sequence[BaseGeometry], *, within_m: float) -> Nearness:
        """Measure all pairs that are nearer than a distance."""
        parts, owners = _parts(features)
        if not len(parts) or not len(wire.pieces):
            nobody = np.empty(0, dtype=np.int64)
            return cls(wire, len(features), nobody, nobody, np.empty(0))
        number, piece = wire.tree.query(parts, predicate="dwithin", distance=within_m)
        distance_m = shapely.distance(parts[number], wire.pieces[piece])
        return cls(wire, len(features), *_least(owners[number], piece, distance_m=distance_m, pieces=len(wire.pieces)))

    def stretches(
        self,
        limits_m: ArrayLike,
        *,
        among: NDArray[np.bool_] | None = None,
        together: NDArray[np.int64] | None = None,
    ) -> tuple[tuple[Stretch, ...], ...]:
        """Gather the pieces nearer than a limit into stretches.

        Parameters
        ----------
        limits_m : float or array_like
            Limit for all features, or for each; not above the distance up to which was measured.
        among : ndarray of bool, optional
            Pieces of the wire that count; all by default.
        together : ndarray of int, shape (count,), optional
            The group that each feature belongs to; a stretch near several features of one group is one stretch.

        Returns
        -------
        tuple of tuple of Stretch
            For each feature, or for each group.
        """
        limits = np.broadcast_to(np.asarray(limits_m, dtype=np.float64), self.count)
        kept = self.distance_m < limits[self.feature]
        if among is not None:
            kept &= among[self.piece]
        feature, piece, distance_m = self.feature[kept], self.piece[kept], self.distance_m[kept]
        count = self.count
        if together is not None:
            count = int(together.max(initial=-1)) + 1
            feature, piece, distance_m = _least(
                together[feature], piece, distance_m=distance_m, pieces=len(self.wire.pieces)
            )
        bounds = np.searchsorted(feature, np.arange(count + 1))
        return tuple(
            self.wire.stretches(piece[low:high], values=distance_m[low:high]) for low, high in pairwise(bounds)
        )


def _least(
    feature: NDArray[np.int64], piece: NDArray[np.int64], *, distance_m: NDArray[np.float64], pieces: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Keep each pair once, with its least distance; sorted by feature, then by piece."""
    pairs, position = np.unique(feature * pieces + piece, return_inverse=True)
    least_m = np.full(len(pairs), np.inf)
    np.minimum.at(least_m, position, distance_m)
    own, near = np.divmod(pairs, max(pieces, 1))
    return own, near, least_m


def _parts(features: Sequence[BaseGeometry]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Cut the lines among the features into segments; each part with the position of its feature."""
    geometries = np.array(features, dtype=object)
    single, owners = shapely.get_parts(geometries, return_index=True)
    is_line = shapely.get_dimensions(single) == 1
    parts, of_part = [single[~is_line]], [owners[~is_line]]
    for line, owner in zip(single[is_line], owners[is_line], strict=True):
        xy = shapely.get_coordinates(shapely.segmentize(line, _SEGMENT_M))
        segments = np.asarray(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)), dtype=object)
        parts.append(segments)
        of_part.append(np.full(len(segments), owner))
    return np.concatenate(parts), np.concatenate(of_part)


def near_stretches(
    wire: Wire,
    obstacles: Sequence[BaseGeometry],
    *,
    within_m: float | Sequence[float],
    among: NDArray[np.bool_] | None = None,
) -> tuple[tuple[Stretch, ...], ...]:
    """Find where the wire comes nearer to each obstacle than a distance.

    Parameters
    ----------
    wire : Wire
        The wire.
    obstacles : sequence of BaseGeometry
        A polygon counts with its inside.
    within_m : float or sequence of float
        Distance, one for all or one for each.
    among : ndarray of bool, optional
        Pieces to look at; all by default.

    Returns
    -------
    tuple of tuple of Stretch
        For each obstacle its stretches, with the least distance measured.
    """
    limits_m = np.broadcast_to(np.asarray(within_m, dtype=np.float64), len(obstacles))
    nearness = Nearness.of(wire, obstacles, within_m=float(limits_m.max(initial=0.0)))
    return nearness.stretches(limits_m, among=among)
