"""Buried lines as the designer sees them: plain centre lines with the separation that each asks for."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString, Polygon

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Utility

__all__ = ["Buried", "BuriedArea", "BuriedLine", "buried"]

_STRAIGHTEN_M: Final = 0.02
_ELONGATED: Final = 3.0
_FILLS_ITS_BOX: Final = 0.7


@dataclass(frozen=True, kw_only=True)
class BuriedLine:
    """A centre line: utilities of one kind that join end to end are one line.

    Parameters
    ----------
    line : LineString
        Simplified within 2 cm.
    separation_m : float
        Nearest that wire may run beside it.
    names : tuple of str
        Identifiers of the utilities that it was made of.
    """

    line: LineString
    separation_m: float
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class BuriedArea:
    """A mark without a direction, such as a vault or a single paint dot: it cannot be crossed, only passed."""

    area: BaseGeometry
    separation_m: float
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Buried:
    """Everything located near the land."""

    lines: tuple[BuriedLine, ...]
    areas: tuple[BuriedArea, ...]


def buried(utilities: Iterable[Utility], *, near: BaseGeometry, settings: Settings) -> Buried:
    """Prepare the utilities near some land.

    Parameters
    ----------
    utilities : iterable of Utility
        Lines, points or tolerance areas.
    near : BaseGeometry
        The land; what lies farther from its bounding box than any clearance is dropped.
    settings : Settings
        The separation; a utility whose tolerance zone is wider asks for that.

    Returns
    -------
    Buried
        In an order that does not depend on that of the utilities.
    """
    margin_m = 4 * (settings.utility_separation_m + settings.bend_radius_m)
    west, south, east, north = near.bounds
    window = west - margin_m, south - margin_m, east + margin_m, north + margin_m
    lines: dict[tuple[str, float], list[tuple[LineString, str]]] = defaultdict(list)
    areas = []
    for utility in utilities:
        separation_m = max(settings.utility_separation_m, utility.tolerance_m)
        for part in shapely.get_parts(utility.geometry):
            if not part.intersects(shapely.box(*window)):
                continue
            if isinstance(part, Polygon):
                line, half_width_m = _axis(part)
                if line is not None:
                    lines[utility.kind, separation_m + half_width_m].append((line, utility.id))
                    continue
            elif isinstance(part, LineString) and part.length > 0:
                lines[utility.kind, separation_m].append((part, utility.id))
                continue
            areas.append(BuriedArea(area=part, separation_m=separation_m, names=(utility.id,)))
    joined = [
        line
        for (_, separation_m), members in sorted(lines.items())
        for line in _joined(members, separation_m=separation_m, window=window)
    ]
    return Buried(lines=tuple(joined), areas=tuple(areas))


def _joined(
    members: list[tuple[LineString, str]], *, separation_m: float, window: tuple[float, float, float, float]
) -> list[BuriedLine]:
    """Join lines end to end, once each; a line drawn twice counts once."""
    simple = [(LineString(line.simplify(_STRAIGHTEN_M).coords), name) for line, name in members]
    unique = {shapely.set_precision(line, 0.01).normalize().wkb: line for line, _ in simple}
    merged = shapely.line_merge(shapely.MultiLineString([_snapped(line) for line in unique.values()]))
    clipped = shapely.get_parts(shapely.line_merge(merged.intersection(shapely.box(*window))))
    found = []
    for line in clipped:
        if isinstance(line, LineString) and line.length > 0:
            names = sorted({name for member, name in simple if _along(member, line)})
            found.append(BuriedLine(line=line, separation_m=separation_m, names=tuple(names)))
    return found


def _snapped(line: LineString) -> LineString:
    """Put both ends on whole millimetres, so that lines drawn to meet really meet."""
    xy = shapely.get_coordinates(line)
    xy[[0, -1]] = np.round(xy[[0, -1]], 3)
    return LineString(xy)


def _along(member: LineString, line: LineString) -> bool:
    """Whether a line was made of a member: one of them is a part of the other."""
    near_m = 2 * _STRAIGHTEN_M
    middles = (one.interpolate(0.5, normalized=True) for one in (member, line))
    return any(bool(middle.dwithin(other, near_m)) for middle, other in zip(middles, (line, member), strict=True))


def _axis(area: Polygon) -> tuple[LineString | None, float]:
    """Find the centre line of a long tolerance area, and half its width; None for a compact one."""
    box = shapely.oriented_envelope(area)
    if not isinstance(box, Polygon):
        return None, 0.0
    corners = shapely.get_coordinates(box)[:4]
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if sides.max() < _ELONGATED * sides.min() or area.area < _FILLS_ITS_BOX * box.area:
        return None, 0.0
    first = int(sides.argmin())
    middles = [(corners[side % 4] + corners[(side + 1) % 4]) / 2 for side in (first, first + 2)]
    return LineString(middles), float(sides.min() / 2)
