"""The retreat: ground that a wire must give up so that its signal stays on the property.

A setback of the reach keeps the signal of a straight wire off the neighbour.  Where the loop turns outwards round a
corner, the field there is stronger than that of a straight wire, and the zone bulges over the lot line.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.field.flux import normalised_field

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["retreat"]

_INTERVAL_M: Final = 0.5
_MOST_POINTS: Final = 4000
_MARGIN_M: Final = 0.05
_SPARE_M: Final = 0.06
"""The signal is to end so far within the lot line: no wire is laid more exactly."""
_PART: Final = 1.4
"""Part of the estimated way to retreat: the field falls a little slower than that of a straight wire."""


def retreat(lot_line: BaseGeometry, loops: Iterable[CurrentLoop], *, receiver: Receiver) -> BaseGeometry | None:
    """Find where the signal crosses a lot line or a wall, and what the wire must give up there.

    Parameters
    ----------
    lot_line : BaseGeometry
        Lines that the signal must not cross.
    loops : iterable of CurrentLoop
        All wires that carry the signal.
    receiver : Receiver
        Reach and height.

    Returns
    -------
    BaseGeometry or None
        Discs about the points of the lot line at which the receiver reacts.  At distance d from a straight wire
        f = w / d, so that a point with field f is left alone by a wire (f - 1) d farther away.  None where the
        signal stays inside.
    """
    interval_m = max(_INTERVAL_M, lot_line.length / _MOST_POINTS)
    rows = list(loops)
    points = np.unique(shapely.get_coordinates(shapely.segmentize(lot_line, interval_m)), axis=0)
    field = normalised_field(points, rows, receiver=receiver) * (1.0 + _SPARE_M / receiver.slant_m)
    over = field >= 1.0
    if not over.any():
        return None
    places = shapely.points(points[over])
    distance_m = shapely.distance(places, shapely.MultiLineString([row.ring for row in rows]))
    radii_m = distance_m + _MARGIN_M + _PART * distance_m * np.minimum(field[over] - 1.0, 1.0)
    return shapely.union_all(shapely.buffer(places, radii_m))
