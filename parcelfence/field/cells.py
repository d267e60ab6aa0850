"""Where a contour of the field can run at all: a search that is proven to miss nothing.

Square blocks of ground are halved again and again.  A block is dropped only if the field is proven to stay on one
side of every wanted level all over it: from its centre, where B and the sum G of |I| dl / r^3 over the wire are
known, the field changes over a distance s by no more than G D / 2 ((1 - s / D)^-2 - 1), with D the distance from
the centre to the nearest wire.  (The gradient of the field of a wire element is at most |I| dl / r^3, and r shrinks
by at most s.)  So also parts of a zone that lie far from any wire are found, and the ground in between costs nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.field.flux import field_slope, normalised_field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.field.current import Chain, Receiver

__all__ = ["Lattice", "sampled_lattice"]

_BLOCK_CELLS: Final = 4
_MOST_FIRST_BLOCKS: Final = 2_000


@dataclass(frozen=True, eq=False)
class Lattice:
    """The field at the corners of the small square cells that a contour may cross.

    Parameters
    ----------
    nodes : ndarray, shape (n, 2)
        Corner points in metres, each once.
    field : ndarray, shape (n,)
        Normalised field there.
    cells : ndarray of int, shape (m, 4)
        Nodes of each cell: south-west, south-east, north-east, north-west.
    step_m : float
        Side of a cell.
    """

    nodes: NDArray[np.float64]
    field: NDArray[np.float64]
    cells: NDArray[np.intp]
    step_m: float


def sampled_lattice(chain: Chain, *, receiver: Receiver, levels: Sequence[float], step_m: float) -> Lattice:
    """Sample the field wherever it may cross one of the levels.

    Parameters
    ----------
    chain : Chain
        All wires.
    receiver : Receiver
        Reach and height.
    levels : sequence of float
        Values of f whose contours are wanted.
    step_m : float
        Side of the smallest cells.  Parts of a zone, and gaps in it, that are narrower than that may be missed.

    Returns
    -------
    Lattice
        Cells outside it are proven to lie on one side of each level.
    """
    origin, blocks, size = _first_blocks(chain, receiver=receiver, lowest=min(levels), step_m=step_m)
    while True:
        side_m = size * step_m
        crossed = _may_cross(origin + (blocks + 0.5) * side_m, chain, receiver=receiver, levels=levels, side_m=side_m)
        blocks = blocks[crossed]
        if size == _BLOCK_CELLS:
            break
        blocks = (2 * blocks[:, None, :] + _CORNERS).reshape(-1, 2)
        size //= 2
    corners = (_BLOCK_CELLS * blocks[:, None, :] + _CELLS).reshape(-1, 2)
    return _with_field(corners, chain, receiver=receiver, origin=origin, step_m=step_m)


_CORNERS: Final = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
_CELLS: Final = np.stack(np.meshgrid(np.arange(_BLOCK_CELLS), np.arange(_BLOCK_CELLS)), axis=-1).reshape(-1, 2)


def _first_blocks(
    chain: Chain, *, receiver: Receiver, lowest: float, step_m: float
) -> tuple[NDArray[np.float64], NDArray[np.int64], int]:
    """Cover all ground where the field can reach the lowest level, with a bounded number of blocks.

    At distance r from all wires f < slant / 2 times the sum of |I| dl / r^2, which bounds the ground.
    """
    margin_m = math.sqrt(receiver.slant_m * chain.strength_m / (2.0 * lowest)) + step_m
    low, high = chain.vertices.min(axis=0) - margin_m, chain.vertices.max(axis=0) + margin_m
    size = _BLOCK_CELLS
    while np.prod(np.ceil((high - low) / (size * step_m))) > _MOST_FIRST_BLOCKS:
        size *= 2
    columns, rows = np.ceil((high - low) / (size * step_m)).astype(np.int64)
    return low, np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2), size


def _may_cross(
    centres: NDArray[np.float64], chain: Chain, *, receiver: Receiver, levels: Sequence[float], side_m: float
) -> NDArray[np.bool_]:
    """Tell which blocks cannot be proven to lie on one side of every level."""
    sums = field_slope(np.column_stack([centres, np.full(len(centres), receiver.height_m)]), chain)
    size = np.sqrt(np.einsum("ij,ij->i", sums[:, :3], sums[:, :3]))
    nearest, way = np.sqrt(sums[:, 10]), side_m / math.sqrt(2.0)
    near = nearest <= way
    with np.errstate(divide="ignore", invalid="ignore"):
        change = sums[:, 9] * nearest / 2.0 * ((1.0 - way / nearest) ** -2 - 1.0)
    low, high = receiver.slant_m * (size - change), receiver.slant_m * (size + change)
    for level in levels:
        near |= (low < level) & (high >= level)
    return near


def _with_field(
    corners: NDArray[np.int64], chain: Chain, *, receiver: Receiver, origin: NDArray[np.float64], step_m: float
) -> Lattice:
    width = int(corners[:, 0].max(initial=0)) + 2
    keys = (corners[:, None, :] + _CORNERS) @ np.array([1, width])
    found, cells = np.unique(keys, return_inverse=True)
    nodes = origin + np.column_stack([found % width, found // width]) * step_m
    field = normalised_field(nodes, chain, receiver=receiver)
    return Lattice(nodes=nodes, field=field, cells=cells.reshape(-1, 4), step_m=step_m)
