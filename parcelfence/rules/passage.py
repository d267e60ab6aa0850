"""Free ground, and the necks in it: where the animal walks, and where it hardly can."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Final

import shapely
from shapely import LineString
from shapely.ops import nearest_points

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = ["Neck", "narrow_passages"]

_SIMPLIFIED_M: Final = 0.02
_TOUCH_M: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class Neck:
    """A narrow place of the free ground.

    Parameters
    ----------
    geometry : BaseGeometry
        The shortest line across it.
    width_m : float
        Its length.
    """

    geometry: BaseGeometry
    width_m: float


def narrow_passages(ground_parts: Iterable[Polygon], *, width_m: float) -> Iterator[Neck]:
    """Find necks that join two wider parts of the free ground.

    Ground on which a circle of `width_m` does not fit is what opening with half of it takes away; it is a neck where
    it touches at least two places of what remains.

    Parameters
    ----------
    ground_parts : iterable of Polygon
        The free ground.
    width_m : float
        Width that a passage needs.
    """
    for part in ground_parts:
        ground = shapely.simplify(part, _SIMPLIFIED_M)
        kept = shapely.buffer(shapely.buffer(ground, -width_m / 2, quad_segs=4), width_m / 2, quad_segs=4)
        if kept.is_empty:
            continue
        rests = shapely.get_parts(shapely.difference(ground, shapely.buffer(kept, _TOUCH_M, quad_segs=2)))
        for rest in rests:
            if _joins(rest, wide=kept):
                neck = _across(rest, ground=ground)
                if neck is not None and neck.width_m < width_m:
                    yield neck


def _joins(rest: BaseGeometry, *, wide: BaseGeometry) -> bool:
    """Whether a rest touches what is wide on two sides."""
    reached = shapely.buffer(rest, 2 * _TOUCH_M, quad_segs=2)
    contacts = shapely.get_parts(shapely.intersection(wide, reached))
    return len(contacts) > 1


def _across(rest: BaseGeometry, *, ground: Polygon) -> Neck | None:
    """Shortest line between the two sides of a neck."""
    shore = shapely.intersection(ground.boundary, shapely.buffer(rest, 2 * _TOUCH_M, quad_segs=2))
    sides = [side for side in shapely.get_parts(shapely.line_merge(shore)) if side.length > _TOUCH_M]
    nearest = min(combinations(sides, 2), key=lambda two: float(two[0].distance(two[1])), default=None)
    if nearest is None:
        return None
    across = LineString(nearest_points(*nearest))
    return Neck(geometry=across, width_m=across.length)
