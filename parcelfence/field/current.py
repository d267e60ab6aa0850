"""Wires that carry current, and the receiver that listens to them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from parcelfence.errors import Fault, InputError, SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["Chain", "CurrentLoop", "Receiver"]


@dataclass(frozen=True, eq=False)
class CurrentLoop:
    """A closed run of single wire, flat on the ground.

    Parameters
    ----------
    coordinates : ndarray, shape (n, 2)
        Vertices in metres, n >= 3; the last is joined to the first.  Vertices that repeat their predecessor, and a
        last one that repeats the first, are dropped.
    current : float
        Current in the order of the vertices, relative to the current of the main loop.

    Raises
    ------
    InputError
        If fewer than three distinct vertices remain, or a number is not finite.
    """

    coordinates: NDArray[np.float64]
    current: float = 1.0

    def __post_init__(self) -> None:
        given = np.array(self.coordinates, dtype=np.float64)[:, :2]
        fresh = np.any(given != np.roll(given, -1, axis=0), axis=1)
        kept = np.ascontiguousarray(given[fresh])
        if len(kept) < 3 or not np.isfinite(kept).all() or not math.isfinite(self.current):  # noqa: PLR2004
            raise InputError(
                Fault(
                    where="wire",
                    found=f"a loop of {len(given)} vertices, {len(kept)} of them distinct from their predecessor",
                    must="a loop needs three distinct vertices, and finite coordinates and current",
                )
            )
        kept.flags.writeable = False
        object.__setattr__(self, "coordinates", kept)

    @classmethod
    def from_line(cls, line: shapely.LineString, current: float = 1.0) -> CurrentLoop:
        """Take the wire from a closed line or ring; an open line is closed."""
        return cls(shapely.get_coordinates(line), current)

    @property
    def ring(self) -> shapely.LinearRing:
        """The wire as a closed ring."""
        return shapely.LinearRing(self.coordinates)

    @property
    def closed_coordinates(self) -> NDArray[np.float64]:
        """Vertices with the first repeated at the end, shape (n + 1, 2)."""
        return np.vstack([self.coordinates, self.coordinates[:1]])

    @property
    def length_m(self) -> float:
        """Length of the wire on the ground."""
        return float(np.hypot(*np.diff(self.closed_coordinates, axis=0).T).sum())


@dataclass(frozen=True)
class Receiver:
    """What the animal carries: its threshold is stated as the reach beside a long straight wire.

    Parameters
    ----------
    reach_m : float
        Horizontal distance w from a long straight wire at which the receiver just reacts.
    height_m : float
        Height h of the receiver above the wire.
    core_ratio : float
        The core zone begins where the field is that of a straight wire at ``core_ratio * reach_m``.

    Raises
    ------
    SettingsError
        If a value is not finite or out of its range.
    """

    reach_m: float
    height_m: float = 0.3
    core_ratio: float = 0.6

    def __post_init__(self) -> None:
        sound = self.reach_m > 0 and self.height_m >= 0 and 0 < self.core_ratio < 1
        if not sound or not math.isfinite(self.reach_m) or not math.isfinite(self.height_m):
            raise SettingsError(
                f"Reach must be positive, height not negative, core ratio between 0 and 1; found {self}."
            )

    @property
    def slant_m(self) -> float:
        """Distance sqrt(w^2 + h^2) between wire and receiver where it just reacts."""
        return math.hypot(self.reach_m, self.height_m)

    @property
    def core_level(self) -> float:
        """Normalised field f at the edge of the core zone of a long straight wire."""
        return self.slant_m / math.hypot(self.core_ratio * self.reach_m, self.height_m)


@dataclass(frozen=True, eq=False)
class Chain:
    """All wires strung into one row of vertices, as the kernels read them.

    Parameters
    ----------
    vertices : ndarray, shape (m, 2)
        Vertices of all wires one after the other.
    currents : ndarray, shape (m - 1,)
        Current from each vertex to the next; zero between the end of one wire and the start of the next.
    """

    vertices: NDArray[np.float64]
    currents: NDArray[np.float64]

    @classmethod
    def of(cls, loops: Iterable[CurrentLoop]) -> Chain:
        """Join closed loops into one row.

        Stretches that lie exactly on each other are added up first, so that a wire doubled back on itself is as
        silent as it is in nature, also on the wire itself where single terms have no bound.
        """
        rows = list(loops)
        return cls.of_lines([loop.closed_coordinates for loop in rows], currents=[loop.current for loop in rows])

    @classmethod
    def of_lines(cls, lines: Sequence[ArrayLike], *, currents: Sequence[float]) -> Chain:
        """Join open lines, each an array of shape (n, 2), into one row.

        An open line is no circuit: it serves to build one up, and to check single stretches against handbooks.
        """
        parts = [np.asarray(line, dtype=np.float64) for line in lines]
        vertices = np.ascontiguousarray(np.vstack(parts)) if parts else np.empty((0, 2))
        rows = [np.append(np.full(len(part) - 1, float(c)), 0.0) for part, c in zip(parts, currents, strict=True)]
        flow = np.concatenate(rows)[:-1] if rows else np.empty(0)
        return cls(vertices, _added_up(vertices, flow))

    @property
    def steps(self) -> NDArray[np.float64]:
        """Vectors from each vertex to the next, shape (m - 1, 2)."""
        return np.diff(self.vertices, axis=0)

    @property
    def strength_m(self) -> float:
        """Sum of |current| times length over all stretches."""
        return float((np.hypot(*self.steps.T) * np.abs(self.currents)).sum())


def _added_up(vertices: NDArray[np.float64], currents: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the sum of stretches with the same two ends to the first of them and nothing to the others."""
    start, end = vertices[:-1], vertices[1:]
    backward = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
    low, high = np.where(backward[:, None], end, start), np.where(backward[:, None], start, end)
    _, first, group = np.unique(np.hstack([low, high]), axis=0, return_index=True, return_inverse=True)
    if len(first) == len(currents):
        return currents
    forward_current = np.where(backward, -currents, currents)
    total = np.bincount(group.ravel(), weights=forward_current)
    summed = np.zeros_like(currents)
    summed[first] = np.where(backward[first], -total, total)
    return summed
