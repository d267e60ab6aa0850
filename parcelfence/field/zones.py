"""Where the receiver reacts, where it reacts strongly, and where the animal is free."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.field.cells import sampled_lattice
from parcelfence.field.contour import contour_rings
from parcelfence.field.current import Chain
from parcelfence.field.curve import curved_rings

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["CONTOUR_TOLERANCE_M", "Zones", "field_zones", "zones"]

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

    Returns
    -------
    Zones
        Complete: ground away from the wire that reacts is found too (see :mod:`~parcelfence.field.cells`); parts and
        gaps narrower than a quarter of the reach (at most 0.5 m) may be missed.
    """
    signal, core = field_zones(loops, receiver, levels=(1.0, receiver.core_level))
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
        No point of an edge is farther from its contour.  A tenth of it is spent on the vertices, a fifth on the
        curvature between them, a half on leaving out vertices that straight stretches do not need.

    Returns
    -------
    tuple of MultiPolygon
        One for each level, valid; empty where the field stays below.
    """
    chain = loops if isinstance(loops, Chain) else Chain.of(loops)
    if not np.any(chain.currents):
        return tuple(MultiPolygon() for _ in levels)
    step_m = float(np.clip(receiver.slant_m / 4.0, 0.1, 0.5))
    lattice = sampled_lattice(chain, receiver=receiver, levels=levels, step_m=step_m)
    exact = contour_rings(lattice, chain, receiver=receiver, levels=levels, tolerance_m=0.1 * tolerance_m)
    curved = curved_rings(exact, chain, receiver=receiver, tolerance_m=0.2 * tolerance_m)
    return tuple(
        _zone(curved.of_level(level), exact.of_level(level), simplified_m=0.5 * tolerance_m) for level in levels
    )


def _zone(curved: list[NDArray[np.float64]], exact: list[NDArray[np.float64]], *, simplified_m: float) -> MultiPolygon:
    """Make polygons of rings; where two rings come so close that the smooth ones touch, of the exact ones."""
    nesting = _nesting(exact)
    smooth = _assembled(curved, nesting)
    simplified = MultiPolygon(shapely.get_parts(shapely.simplify(smooth, simplified_m, preserve_topology=False)))
    for candidate in (simplified, smooth):
        if shapely.is_valid(candidate):
            return candidate
    return _assembled(exact, nesting)


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
