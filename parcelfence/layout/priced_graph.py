"""The plane graph of all lines on which wire could lie, with the price of every edge and the worth of every face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Indices = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["PricedGraph", "TurnPrices"]


@dataclass(frozen=True, kw_only=True)
class PricedGraph:
    """What a loop can be made of.

    Every price is in metres of plain wire.  An edge runs from its tail to its head with one face on either side; face
    0 is all ground outside.

    Parameters
    ----------
    nodes : ndarray, shape (n, 2)
        In metres.
    tail, head, line, left, right : ndarray, shape (m,)
        Of every edge: its end nodes, the candidate line that it is a piece of, the faces on its sides.
    price : ndarray, shape (m,)
        Of wire along the whole edge, with all that is dear there and the free ground that its own signal takes.
    face_area_m2 : ndarray, shape (f,)
        0 for face 0.
    worth : ndarray, shape (f,)
        Of a face inside the loop; 0 for buildings, ponds and keep-outs.
    must_be_in, must_be_out : ndarray of bool, shape (f,)
        Faces that are not weighed.
    solid : ndarray, shape (f,)
        Number of the keep-out, pond or building that a face belongs to, -1 elsewhere.
    solid_price : ndarray, shape (k,)
        Of the inner loop that a solid needs where it lies inside; 0 where it needs none.
    direction : ndarray, shape (l, 2)
        Unit vector along every candidate line.
    pegless : ndarray of bool, shape (l,)
        Lines that are neither along nor square to anything that one could peg from.
    square_first : ndarray, shape (l + 1,)
        Where the intervals of every line begin in `square_from` and `square_to`.
    square_from, square_to : ndarray, shape (s,)
        Stretches in which a line crosses the separation of a buried line square, as offsets along its direction from
        the origin, in metres.
    corners : ndarray, shape (c, 2)
        Corners of walls that the signal of a bend could reach.
    """

    nodes: Floats
    tail: Indices
    head: Indices
    line: Indices
    left: Indices
    right: Indices
    price: Floats
    face_area_m2: Floats
    worth: Floats
    must_be_in: Flags
    must_be_out: Flags
    solid: Indices
    solid_price: Floats
    direction: Floats
    pegless: Flags
    square_first: Indices
    square_from: Floats
    square_to: Floats
    corners: Floats


@dataclass(frozen=True, kw_only=True)
class TurnPrices:
    """What a bend and a leg cost besides the wire, in metres of plain wire.

    Parameters
    ----------
    bend_radius_m : float
        Of the arcs that are drawn.
    reach_m : float
        Of the signal.
    worth_per_m2 : float
        Of free ground.
    bend_fixed, bend_per_90 : float
        Of a bend, whatever its angle, and for every right angle that it turns.
    short_leg, short_leg_per_m : float
        Of a leg that has no room for its two bends, and for every metre that it lacks.
    pegless_leg : float
        Of a leg that no line can be pegged from.
    beside_per_m : float
        Of an arc within the separation of a buried line.
    corner : float
        Of a bend whose signal at the corner of a wall is twice what the receiver reacts to.
    """

    bend_radius_m: float
    reach_m: float
    worth_per_m2: float
    bend_fixed: float
    bend_per_90: float
    short_leg: float
    short_leg_per_m: float
    pegless_leg: float
    beside_per_m: float
    corner: float
