"""Survey points along a wire, joined to lines in their order, with the curves that they describe."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString

from parcelfence.lines import circle_through

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from parcelfence.inputs.raw import RawFeature

__all__ = ["JoinedLine", "JoinedPoints", "lines_of_points"]

_WIRE: Final = re.compile(r"\b(wire|loop|lead[\s_-]*in)\b", re.IGNORECASE)
_ON_A_CURVE: Final = re.compile(r"\b(curve|poc|mid(dle)? of curve)\b", re.IGNORECASE)
_CURVE_END: Final = re.compile(r"\b(tangent|pc|pt|bc|ec|start|end|tc|ct)\b", re.IGNORECASE)
_CODED: Final = re.compile(r"wire\s+(?P<id>\S+)\s+(?P<station>\d+\+[\d.]+)\b", re.IGNORECASE)
_CHORD_RAD: Final = math.radians(3.0)
_STRAIGHT: Final = 1e8
"""Three points whose circle is wider than so many of their distances are in line: the rest is rounding."""
_FEWEST: Final = 2
_THREE: Final = 3


@dataclass(frozen=True, kw_only=True)
class JoinedLine:
    """Points joined to one line, with the words that they carry and their identifier, if any."""

    line: LineString
    words: str
    loop_id: str


@dataclass(frozen=True, kw_only=True)
class JoinedPoints:
    """All lines of a file of points, and what was left out."""

    lines: tuple[JoinedLine, ...]
    remarks: tuple[str, ...]


def lines_of_points(points: Sequence[RawFeature]) -> JoinedPoints:
    """Join survey points in the order of the file.

    Points whose description speaks of a wire belong to it, those with the same identifier to the same run; if none
    does, all points are one line.  Three points described as end, middle and end of a curve are joined by the arc
    through them.

    Parameters
    ----------
    points : sequence of RawFeature
        With their `description`.
    """
    described = [(point, str(point.attributes.get("description") or "")) for point in points]
    chosen = [(point, words) for point, words in described if _WIRE.search(words)] or described
    runs: dict[str, list[tuple[RawFeature, str]]] = {}
    for point, words in chosen:
        runs.setdefault(_run_name(words), []).append((point, words))
    lines = [_joined(own, name=name) for name, own in runs.items() if len(own) >= _FEWEST]
    remarks = [f"{len(described) - len(chosen)} points that are not of the wire were left out"]
    remarks += [f"the single point {name!r} makes no line" for name, own in runs.items() if len(own) < _FEWEST]
    return JoinedPoints(lines=tuple(lines), remarks=tuple(remarks[len(chosen) == len(described) :]))


def _run_name(words: str) -> str:
    if coded := _CODED.search(words):
        return coded["id"]
    return re.sub(
        r"[\d+.]+|\b(start|end|tangent|curve|regular|crossing|pc|pt|bc|ec|poc)\b", "", words.casefold()
    ).strip()


def _joined(own: list[tuple[RawFeature, str]], *, name: str) -> JoinedLine:
    xy = shapely.get_coordinates([point.geometry for point, _ in own])
    words = [text for _, text in own]
    ends = [index for index, text in enumerate(words) if _CURVE_END.search(text)]
    rows = [xy[:1]]
    last = 0
    for before, after in pairwise(ends):
        middle = [index for index in range(before + 1, after) if _ON_A_CURVE.search(words[index])]
        if len(middle) == 1:  # whatever else lies between the ends of a curve lies on it
            rows += [xy[last + 1 : before + 1], _arc(xy[[before, middle[0], after]])[1:]]
            last = after
    rows.append(xy[last + 1 :])
    coded = _CODED.search(words[0])
    return JoinedLine(line=LineString(np.vstack(rows)), words=words[0], loop_id=coded["id"] if coded else name)


def _arc(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points on the arc through three points, from the first to the last; the three themselves if they are in line."""
    centre, radius_m = circle_through(points)
    if not radius_m <= _STRAIGHT * max(math.dist(points[0], points[1]), math.dist(points[0], points[2])):
        return points
    spokes = points - centre
    angles = np.arctan2(spokes[:, 1], spokes[:, 0])
    turn = float((angles[2] - angles[0]) % (2 * math.pi))
    if (angles[1] - angles[0]) % (2 * math.pi) > turn:
        turn -= 2 * math.pi
    steps = max(_THREE, math.ceil(abs(turn) / _CHORD_RAD))
    swept = angles[0] + np.linspace(0.0, turn, steps + 1)
    arc: NDArray[np.float64] = centre + math.hypot(*spokes[0]) * np.column_stack([np.cos(swept), np.sin(swept)])
    arc[0], arc[-1] = points[0], points[2]
    return arc
