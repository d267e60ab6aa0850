"""The same wire at other levels of the transmitter: contours of one field, without another design."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiPolygon, Polygon

from parcelfence.field.current import Chain, Receiver
from parcelfence.field.zones import field_zones

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parcelfence.field.current import CurrentLoop

__all__ = ["LEVEL_TOLERANCE_M", "Level", "levels"]

LEVEL_TOLERANCE_M: Final = 0.05
"""Finer than any level can be set by walking, and light enough for ten levels on one page."""
_SLIVER_M2: Final = 1e-3


@dataclass(frozen=True)
class Level:
    """What a wire does to the ground at one level.

    Parameters
    ----------
    reach_m : float
        Reach beside a long straight wire at that level.
    signal : MultiPolygon
        Where the receiver reacts.
    roam : MultiPolygon
        Where the animal is free.
    """

    reach_m: float
    signal: MultiPolygon
    roam: MultiPolygon


def levels(
    loops: Iterable[CurrentLoop],
    reaches_m: Sequence[float],
    *,
    height_m: float,
    inside: Polygon | MultiPolygon,
    tolerance_m: float = LEVEL_TOLERANCE_M,
) -> tuple[Level, ...]:
    """Compute the zones of some loops at several levels.

    The field at a place is in proportion to the current, so that the reach w of a level answers to one value of the
    field: a receiver set to another reach reads f as sqrt(w^2 + h^2) / sqrt(w0^2 + h^2) times as strong.

    Parameters
    ----------
    loops : iterable of CurrentLoop
        All wires that carry the signal.
    reaches_m : sequence of float
        Reach of each level.
    height_m : float
        Height of the receiver above the wire.
    inside : Polygon or MultiPolygon
        Ground on which the animal lives.
    tolerance_m : float
        No point of an edge is farther from its contour.

    Returns
    -------
    tuple of Level
        One for each reach, in their order.
    """
    chain = Chain.of(loops)
    ground = inside if inside.is_valid else shapely.make_valid(inside)
    signals: dict[float, MultiPolygon] = {}
    for group in _within_an_octave(sorted(set(reaches_m))):
        finest = Receiver(group[0], height_m)  # its reach sets how finely the field is sampled
        values = [finest.slant_m / Receiver(reach_m, height_m).slant_m for reach_m in group]
        zones = field_zones(chain, finest, levels=values, tolerance_m=tolerance_m)
        signals |= dict(zip(group, zones, strict=True))
    return tuple(
        Level(reach_m, signals[reach_m], _polygons(shapely.difference(ground, signals[reach_m])))
        for reach_m in reaches_m
    )


def _within_an_octave(reaches_m: Sequence[float]) -> list[list[float]]:
    """Part rising reaches into groups whose largest is at most twice the smallest."""
    groups: list[list[float]] = []
    for reach_m in reaches_m:
        if groups and reach_m <= 2.0 * groups[-1][0]:
            groups[-1].append(reach_m)
        else:
            groups.append([reach_m])
    return groups


def _polygons(shape: shapely.Geometry) -> MultiPolygon:
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and part.area > _SLIVER_M2]
    return MultiPolygon(parts)
