"""The antimeridian: what lies across longitude 180 is joined where it is read, and cut where a standard asks for it.

RFC 7946 (section 3.1.9) cuts such a geometry in two; other files jump from 180 to -180 between two vertices, or count
on beyond 180.  Inside the package a geometry is of one piece: its longitudes go on beyond 180.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely.affinity import translate

from parcelfence.lines import gather

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

__all__ = ["NEAR_DEG", "TURN_DEG", "continue_beyond", "cut_in_two", "join_across", "lies_beyond", "near_turn"]

HALF_TURN_DEG, TURN_DEG = 180.0, 360.0
NEAR_DEG: Final = 1.0
"""No lot, building or locate mark is a degree (some 100 km) across, so one that lies across 180 is all this near."""


def lies_beyond(bounds: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which geometries have longitudes beyond 180 because their layer lies across it; (n,), from (n, 4) degrees.

    Numbers beyond 180 alone are no longitudes: a local drawing has them too.  Beside something that lies across 180
    they are.
    """
    west, east = bounds[:, 0], bounds[:, 2]
    beyond = (west >= HALF_TURN_DEG - NEAR_DEG) & (east > HALF_TURN_DEG) & (east <= HALF_TURN_DEG + NEAR_DEG)
    across: NDArray[np.bool_] = beyond & bool((beyond & (west < HALF_TURN_DEG)).any())
    return across


def join_across(geometry: BaseGeometry) -> BaseGeometry | None:
    """Make one piece of a geometry in degrees that lies on both sides of longitude 180; None if it does not.

    Parameters
    ----------
    geometry : BaseGeometry
        Cut in two at 180, jumping from 180 to -180 between vertices, or counting on beyond 180.

    Returns
    -------
    BaseGeometry or None
        With longitudes that go on beyond 180; parts that touched at the cut are one.
    """
    longitudes = shapely.get_coordinates(geometry)[:, 0]
    if not len(longitudes) or not (np.abs(np.abs(longitudes) - HALF_TURN_DEG) <= NEAR_DEG).all():
        return None
    on_west = (longitudes > 0) & (longitudes < HALF_TURN_DEG)
    on_east = (longitudes > HALF_TURN_DEG) | ((longitudes < 0) & (longitudes > -HALF_TURN_DEG))
    if not (on_west.any() and on_east.any()):
        return None
    whole = continue_beyond(geometry, about=HALF_TURN_DEG)
    parts = shapely.get_parts(whole)
    if len(parts) == 1:
        return whole
    if (shapely.get_dimensions(parts) == 2).all():  # noqa: PLR2004  (areas)
        return shapely.union_all(shapely.make_valid(parts))
    return shapely.line_merge(whole) if (shapely.get_dimensions(parts) == 1).all() else whole


def continue_beyond(geometry: BaseGeometry, *, about: float) -> BaseGeometry:
    """Write longitudes so that none is more than half a turn from `about`."""
    return shapely.transform(geometry, lambda xy: near_turn(xy, about=about))


def near_turn(coordinates: NDArray[np.float64], *, about: float) -> NDArray[np.float64]:
    """As :func:`continue_beyond`, of an (n, 2) array; numbers that are near enough already stay as they are."""
    turns = np.round((coordinates[:, 0] - about) / TURN_DEG)
    return np.column_stack([coordinates[:, 0] - TURN_DEG * turns, coordinates[:, 1]])


def cut_in_two(geometry: BaseGeometry) -> BaseGeometry:
    """Cut a geometry in degrees at longitude 180, and write every part between -180 and 180 (RFC 7946)."""
    west, _, east, _ = shapely.bounds(geometry)
    if not (east > HALF_TURN_DEG or west < -HALF_TURN_DEG):  # an empty geometry has neither
        return geometry
    pieces = [
        translate(piece, -turn)
        for turn in (-TURN_DEG, 0.0, TURN_DEG)
        for piece in shapely.get_parts(shapely.intersection(geometry, _world(turn)))
        if not piece.is_empty and shapely.get_dimensions(piece) == shapely.get_dimensions(geometry)
    ]
    return gather(pieces)


def _world(turn: float) -> BaseGeometry:
    return shapely.box(turn - HALF_TURN_DEG, -90.0, turn + HALF_TURN_DEG, 90.0)
