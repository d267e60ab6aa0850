"""Where the receiver reacts, where it reacts strongly, and where the animal is free."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.field.current import Chain
from parcelfence.field.outline import outlines
from parcelfence.field.tiles import Tiles

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["CONTOUR_TOLERANCE_M", "Zones", "field_zones", "signal_tiles", "zones"]

CONTOUR_TOLERANCE_M: Final = 1e-3
"""No point of a zone's edge is farther than this from its contour."""
_SLIVER_M2: Final = 1e-6


@dataclass(frozen=True)
class Zones:
    """What a set of wires does to the ground around it.

    Parameters
    ----------
    signal : MultiPolygon
        Where the receiver reacts, f >= 1; on both sides of the wire.
    core : MultiPolygon
        Where the reaction is strong.
    roam : MultiPolygon
        Where the receiver is silent: the enclosed ground less the signal zone, the inside of houses included.
    receiver : Receiver
        Reach, height and core ratio by which the zones were found.
    contour_tolerance_m : float
        Edges lie this close to their contour.
    roofs : MultiPolygon
        Ground that buildings stand on.
    """

    signal: MultiPolygon
    core: MultiPolygon
    roam: MultiPolygon
    receiver: Receiver
    contour_tolerance_m: float = CONTOUR_TOLERANCE_M
    roofs: MultiPolygon = field(default_factory=MultiPolygon)

    @cached_property
    def free_ground(self) -> MultiPolygon:
        """Ground in the open on which the animal is free: what every output states as free."""
        return _polygons(shapely.difference(self.roam, self.roofs))

    @cached_property
    def indoors(self) -> MultiPolygon:
        """Ground under roofs that does not react: an animal indoors is at peace there."""
        return _polygons(shapely.intersection(self.roam, self.roofs))


def zones(
    loops: Iterable[CurrentLoop],
    receiver: Receiver,
    *,
    inside: Polygon | MultiPolygon,
    roofs: MultiPolygon | None = None,
    tiles: Tiles | None = None,
) -> Zones:
    """Compute the zones of some loops.

    Parameters
    ----------
    loops : iterable of CurrentLoop
        All wires that carry the signal, with their signed currents; twisted pairs carry none and are left out.
    receiver : Receiver
        Reach, height and core ratio.
    inside : Polygon or MultiPolygon
        Ground on which the animal lives: what the outer loops enclose, with holes where inner loops keep it out.
    roofs : MultiPolygon, optional
        Ground that buildings stand on.
    tiles : Tiles, optional
        The field of these loops where it was prepared already, from :func:`signal_tiles`.

    Returns
    -------
    Zones
        Complete: ground away from the wire that reacts is found too (see :mod:`~parcelfence.field.tiles`); parts and
        gaps narrower than a quarter of the reach (at most 0.5 m) may be missed.
    """
    signal, core = field_zones(loops, receiver, levels=(1.0, receiver.core_level), tiles=tiles)
    ground = inside if inside.is_valid else shapely.make_valid(inside)  # a wire surveyed as laid may cross itself
    roam = _polygons(shapely.difference(ground, signal))
    return Zones(signal=signal, core=core, roam=roam, receiver=receiver, roofs=roofs or MultiPolygon())


def _polygons(ground: BaseGeometry) -> MultiPolygon:
    """Keep the areas of what an overlay left over."""
    parts = shapely.get_parts(ground)
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and part.area > _SLIVER_M2])


def field_zones(
    loops: Iterable[CurrentLoop] | Chain,
    receiver: Receiver,
    *,
    levels: Sequence[float],
    tolerance_m: float = CONTOUR_TOLERANCE_M,
    tiles: Tiles | None = None,
) -> tuple[MultiPolygon, ...]:
    """Outline the ground where the normalised field is at least each of the levels.

    Parameters
    ----------
    loops : iterable of CurrentLoop, or Chain
        All wires.
    receiver : Receiver
        Reach and height.
    levels : sequence of float
        Values of f.
    tolerance_m : float
        No point of an edge is farther from its contour.
    tiles : Tiles, optional
        The field of these loops and levels, where it was prepared already.

    Returns
    -------
    tuple of MultiPolygon
        One for each level, valid; empty where the field stays below.
    """
    chain = loops if isinstance(loops, Chain) else Chain.of(loops)
    if not np.any(chain.currents):
        return tuple(MultiPolygon() for _ in levels)
    tiles = tiles or Tiles.of(chain, receiver=receiver, levels=levels)
    return tuple(_zone(tiles, level=level, tolerance_m=tolerance_m) for level in levels)


def signal_tiles(loops: Iterable[CurrentLoop], receiver: Receiver) -> Tiles | None:
    """Prepare the field of some loops for both zones and the reach along the wire; None if all wires are silent."""
    chain = Chain.of(loops)
    if not np.any(chain.currents):
        return None
    return Tiles.of(chain, receiver=receiver, levels=(1.0, receiver.core_level))


def _zone(tiles: Tiles, *, level: float, tolerance_m: float) -> MultiPolygon:
    """Make polygons of rings; where two come so close that the smooth ones touch, of the plain ones."""
    for plain in (False, True):
        rings = outlines(tiles, level=level, tolerance_m=tolerance_m, plain=plain)
        zone = _assembled(rings, _nesting(rings))
        if plain or shapely.is_valid(zone):
            break
    return zone


def _nesting(rings: Sequence[NDArray[np.float64]]) -> dict[int, list[int]]:
    """Give each outline, an anticlockwise ring, its holes: the clockwise rings that it is the smallest around."""
    faces = [Polygon(ring) for ring in rings]
    outlines = [number for number, face in enumerate(faces) if face.exterior.is_ccw]
    by_area = sorted(outlines, key=lambda number: faces[number].area)
    nesting: dict[int, list[int]] = {number: [] for number in outlines}
    for number, face in enumerate(faces):
        if number not in nesting:
            corner = shapely.get_point(face.exterior, 0)
            nesting[next(around for around in by_area if faces[around].contains(corner))].append(number)
    return nesting


def _assembled(rings: Sequence[NDArray[np.float64]], nesting: dict[int, list[int]]) -> MultiPolygon:
    return MultiPolygon([
        Polygon(rings[outline], [rings[hole] for hole in holes]) for outline, holes in nesting.items()
    ])
