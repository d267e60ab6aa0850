"""Bends: a ring of straight legs, drawn with an arc that touches both legs at every corner."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from shapely import LineString

from parcelfence.layout.rounding import FOR_CHORDS, QUAD_SEGS
from parcelfence.lines import distinct, turn_angles

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["with_arcs"]

_STRAIGHT: Final = math.radians(0.05)
"""A turn that moves the end of a leg of ten metres by less than a centimetre is none."""
_SHARPEST: Final = math.radians(150)
"""Two bends become one only up to this turn: beyond, its tangents are longer than the legs that it would save."""
_MOST_ASLANT: Final = 4.0
"""Radii by which a leg is led aslant at most: at forty-five degrees it then spans three of them."""
_TRIES: Final = 17
_FITS: Final = 1.0 - 1e-9
_NO_LEG_M: Final = 0.005
"""Half a centimetre between two lines that mean the same is no leg."""
_EXACT_M: Final = 1e-6


def with_arcs(corners: Floats, *, radius_m: float, eased: bool = True) -> LineString:
    """Draw the bends of a ring.

    Arcs have the bend radius, a little more for the chords that stand for them.  Where a leg is too short for the arcs
    at both of its ends and turns left at both, one arc takes their place: it lies on the inner side of the leg.  Where
    it turns left and right, it is led aslant on the inner side if there is room for that.  Else arcs become smaller,
    and the rules will say so.

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        Counter-clockwise, not closed.
    radius_m : float
        Of the bends.
    eased : bool, optional
        Whether short legs may be led aslant.

    Returns
    -------
    LineString
        Closed, counter-clockwise; it begins in the middle of the longest leg.
    """
    radius_m *= FOR_CHORDS
    corners = _joined(_turning(corners), radius_m=radius_m)
    if eased:
        corners = _eased(corners, radius_m=radius_m)
    turns, share = _turns(corners), _shares(corners, radius_m=radius_m)
    drawn = []
    for corner, (before, behind), turn, part in zip(corners, _directions(corners), turns, share, strict=True):
        drawn.append(_arc(corner, (before, behind), turn=float(turn), radius_m=radius_m * float(part)))
    lengths = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    longest = int(np.argmax(np.round(lengths, 3)))
    middle = (corners[longest] + corners[(longest + 1) % len(corners)]) / 2
    order = [(longest + 1 + k) % len(corners) for k in range(len(corners))]
    return LineString(distinct(np.vstack([middle, *(drawn[k] for k in order), middle])))


def _turning(corners: Floats) -> Floats:
    """Drop corners at which the ring does not turn, and legs so short that nobody would lay them."""
    kept: Floats = corners[np.hypot(*(corners - np.roll(corners, 1, axis=0)).T) > _NO_LEG_M]
    while len(kept) > 3:  # noqa: PLR2004  (a ring has three corners)
        turns = np.abs(_turns(kept))
        least = int(np.argmin(turns))
        if turns[least] > _STRAIGHT:
            break
        kept = np.delete(kept, least, axis=0)
    return kept


def _directions(corners: Floats) -> list[tuple[Floats, Floats]]:
    """Give the unit vectors into and out of every corner."""
    step = np.roll(corners, -1, axis=0) - corners
    unit = step / np.hypot(*step.T)[:, None]
    return list(zip(np.roll(unit, 1, axis=0), unit, strict=True))


def _turns(corners: Floats) -> Floats:
    return turn_angles(corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners)


def _shares(corners: Floats, *, radius_m: float) -> Floats:
    """Give the share of the radius that there is room for at every corner."""
    ahead = _room_ahead(corners, radius_m=radius_m)
    shares: Floats = np.minimum(1.0, np.minimum(ahead, np.roll(ahead, 1)))
    return shares


def _room_ahead(corners: Floats, *, radius_m: float) -> Floats:
    """Give for the leg that leaves every corner the share of the radius that the arcs at both of its ends can have."""
    tangent = radius_m * np.tan(np.abs(_turns(corners)) / 2)
    length = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    room: Floats = length / np.maximum(tangent + np.roll(tangent, -1), _EXACT_M)
    return room


def _joined(corners: Floats, *, radius_m: float) -> Floats:
    """Let one corner take the place of two left turns whose leg is too short for both."""
    refused: set[tuple[float, float]] = set()
    while len(corners) > 3:  # noqa: PLR2004  (a ring has three corners)
        turns, shares = _turns(corners), _shares(corners, radius_m=radius_m)
        room = _room_ahead(corners, radius_m=radius_m)
        tight = [
            k
            for k in range(len(corners))
            if room[k] < _FITS
            and turns[k] > 0
            and turns[(k + 1) % len(corners)] > 0
            and turns[k] + turns[(k + 1) % len(corners)] < _SHARPEST
            and tuple(corners[k]) not in refused
        ]
        if not tight:
            break
        worst = min(tight, key=lambda k: (round(float(room[k]), 6), k))
        other = _without_the_leg(corners, worst)
        if _shares(other, radius_m=radius_m).min() > shares[[worst, (worst + 1) % len(corners)]].min() + _EXACT_M:
            corners = other
        else:
            refused.add(tuple(corners[worst]))
    return corners


def _eased(corners: Floats, *, radius_m: float) -> Floats:
    """Lead legs that are too short for a left and a right turn aslant: about the right turn, on the inner side."""
    for k in np.flatnonzero((_room_ahead(corners, radius_m=radius_m) < _FITS) & _opposite(_turns(corners))):
        turns = _turns(corners)
        left = k if turns[k] > 0 else (k + 1) % len(corners)
        beyond = (left - 1 if left == k else left + 1) % len(corners)
        way = corners[beyond] - corners[left]
        length_m = float(np.hypot(*way))
        for aslant_m in np.linspace(0.0, min(length_m, _MOST_ASLANT * radius_m), _TRIES)[1:]:
            tried = corners.copy()
            tried[left] += way * (aslant_m / length_m)
            near = [k, (k - 1) % len(corners), (k + 1) % len(corners)]
            if (_room_ahead(tried, radius_m=radius_m)[near] >= _FITS).all():
                corners = tried
                break
    return corners


def _opposite(turns: Floats) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = turns * np.roll(turns, -1) < 0
    return found


def _without_the_leg(corners: Floats, first: int) -> Floats:
    """Let the legs before and behind a leg meet."""
    order = np.roll(corners, -first, axis=0)
    (_, ahead), (back, _) = _directions(order)[-1], _directions(order)[2 % len(order)]
    cross = ahead[0] * back[1] - ahead[1] * back[0]
    along = ((order[1] - order[0])[0] * back[1] - (order[1] - order[0])[1] * back[0]) / cross
    return np.vstack([order[0] + along * ahead, order[2:]])


def _arc(corner: Floats, ways: tuple[Floats, Floats], *, turn: float, radius_m: float) -> Floats:
    """Draw the arc at a corner, from where it leaves one leg to where it meets the other."""
    before, behind = ways
    tangent = radius_m * math.tan(abs(turn) / 2)
    steps = max(1, math.ceil(abs(turn) / (math.pi / 2 / QUAD_SEGS)))
    left = np.array([-before[1], before[0]]) * math.copysign(1.0, turn)
    start = corner - tangent * before
    at = np.linspace(0.0, abs(turn), steps + 1)[:, None]
    arc = start + radius_m * (np.sin(at) * before + (1 - np.cos(at)) * left)
    arc[-1] = corner + tangent * behind
    return arc
