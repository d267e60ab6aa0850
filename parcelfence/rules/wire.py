"""The wire as the rules measure it: every run cut into short pieces with their stations."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import starmap
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely import LineString

from parcelfence.lines import chainage, distinct

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely import Point
    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Loop, Run

__all__ = ["LAYING_TOLERANCE_M", "Stretch", "Wire"]

LAYING_TOLERANCE_M: Final = 0.01
"""No wire is laid, and few are drawn, more exactly than this: what falls short by less is no conflict."""
_PIECE_M: Final = 0.5
_JOINED_GAP_M: Final = 1.0
_COLLINEAR_M: Final = 1e-6


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A contiguous part of a run at which something was measured.

    Parameters
    ----------
    run : Run
        Run that it belongs to.
    start_m, end_m : float
        Chainage of its ends; where it runs over the start of a closed run, `end_m` is below `start_m`.
    measured : float
        The least of the measured values.
    station_m : float
        Chainage of the piece with the least value.
    line : LineString
        The stretch itself.
    """

    run: Run
    start_m: float
    end_m: float
    measured: float
    station_m: float
    line: LineString

    @property
    def length_m(self) -> float:
        """Length along the wire."""
        return float(self.line.length)

    def within(self, area: BaseGeometry) -> Stretch:
        """Give the part of the stretch inside an area, if it is of one piece; otherwise the stretch as it is."""
        inside = shapely.intersection(self.line, area)
        if not isinstance(inside, LineString) or inside.is_empty or not inside.length:
            return self
        ends = [self._station_m(end) for end in inside.boundary.geoms] or [self.start_m, self.end_m]
        first_m, last_m = sorted(ends, key=lambda station_m: (station_m < self.start_m, station_m))
        middle_m = self._station_m(inside.interpolate(0.5, normalized=True))
        return replace(self, line=inside, start_m=first_m, end_m=last_m, station_m=middle_m)

    def _station_m(self, point: Point) -> float:
        """Chainage of a point on the stretch, which may run over the start of its run."""
        run = self.run
        station_m = self.start_m + float(self.line.project(point))
        end_m = run.start_station_m + run.line.length
        return station_m - run.line.length if station_m > end_m else station_m

    @property
    def point(self) -> Point:
        """Place of the least value."""
        return self.run.line.interpolate(self.station_m - self.run.start_station_m)


@dataclass(frozen=True, eq=False)
class Wire:
    """All runs of a loop, cut into pieces of at most half a metre.

    Parameters
    ----------
    runs : tuple of Run
        The runs.
    pieces : ndarray of LineString, shape (n,)
        Pieces of all runs, one after the other; each is straight.
    run_of : ndarray of int, shape (n,)
        Position in `runs` of the run that a piece belongs to.
    start_m, end_m : ndarray, shape (n,)
        Chainage of the ends of each piece.
    """

    runs: tuple[Run, ...]
    pieces: NDArray[np.object_]
    run_of: NDArray[np.int64]
    start_m: NDArray[np.float64]
    end_m: NDArray[np.float64]

    @classmethod
    def of(cls, loop: Loop) -> Wire:
        """Cut the runs of a loop."""
        parts = [_cut(run) for run in loop.runs]
        numbers = [np.full(len(pieces), number) for number, (pieces, _) in enumerate(parts)]
        empty: NDArray[np.object_] = np.empty(0, dtype=object)
        return cls(
            runs=loop.runs,
            pieces=np.concatenate([pieces for pieces, _ in parts] or [empty]),
            run_of=np.concatenate(numbers or [np.empty(0)]).astype(np.int64),
            start_m=np.concatenate([stations[:-1] for _, stations in parts] or [np.empty(0)]),
            end_m=np.concatenate([stations[1:] for _, stations in parts] or [np.empty(0)]),
        )

    @cached_property
    def twisted(self) -> NDArray[np.bool_]:
        """Whether each piece belongs to a twisted pair."""
        return np.array([run.twisted for run in self.runs], dtype=bool)[self.run_of]

    @cached_property
    def tree(self) -> shapely.STRtree:
        """Index of the pieces."""
        return shapely.STRtree(self.pieces)

    def stretches(
        self, pieces: NDArray[np.int64], *, values: NDArray[np.float64], gap_m: float = _JOINED_GAP_M
    ) -> tuple[Stretch, ...]:
        """Gather pieces into stretches; short gaps are closed.

        Parameters
        ----------
        pieces : ndarray of int, shape (k,)
            Positions of the pieces, in any order.
        values : ndarray, shape (k,)
            Value of each.
        gap_m : float
            Longest gap that is closed.
        """
        if not len(pieces):
            return ()
        order = np.argsort(pieces)
        pieces, values = pieces[order], values[order]
        far = self.start_m[pieces[1:]] - self.end_m[pieces[:-1]] > gap_m
        cuts = np.flatnonzero(far | (np.diff(self.run_of[pieces]) != 0)) + 1
        groups = list(zip(np.split(pieces, cuts), np.split(values, cuts), strict=True))
        return tuple(starmap(self._stretch, self._joined_over_start(groups, most_m=gap_m)))

    def _joined_over_start(
        self, groups: list[tuple[NDArray[np.int64], NDArray[np.float64]]], *, most_m: float
    ) -> Iterable[tuple[NDArray[np.int64], NDArray[np.float64]]]:
        """Join the last group of a closed run to its first where they meet at the start of the run."""
        for number, run in enumerate(self.runs):
            own = [group for group in groups if self.run_of[group[0][0]] == number]
            if len(own) > 1 and run.line.is_closed:
                before_m = own[0][0][0], own[-1][0][-1]
                gap_m = self.start_m[before_m[0]] - run.start_station_m
                gap_m += run.start_station_m + run.line.length - self.end_m[before_m[1]]
                if gap_m <= most_m:
                    first, last = own[0], own[-1]
                    joined = np.concatenate([last[0], first[0]]), np.concatenate([last[1], first[1]])
                    own = [joined, *own[1:-1]]
            yield from own

    def _stretch(self, pieces: NDArray[np.int64], values: NDArray[np.float64]) -> Stretch:
        run = self.runs[self.run_of[pieces[0]]]
        start_m, end_m = float(self.start_m[pieces[0]]), float(self.end_m[pieces[-1]])
        least = pieces[int(np.argmin(values))]
        return Stretch(
            run=run,
            start_m=start_m,
            end_m=end_m,
            measured=float(values.min()),
            station_m=float(self.start_m[least] + self.end_m[least]) / 2,
            line=self._line(pieces[0], last=pieces[-1]),
        )

    def _line(self, first: int, *, last: int) -> LineString:
        """Draw the wire from one piece to another of the same run, over the start of the run if need be."""
        if first <= last:
            pieces = self.pieces[first : last + 1]
        else:
            own = np.flatnonzero(self.run_of == self.run_of[first])
            pieces = np.concatenate([self.pieces[first : own[-1] + 1], self.pieces[own[0] : last + 1]])
        ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2)
        return shapely.simplify(LineString(np.vstack([ends[:, 0], ends[-1:, 1]])), _COLLINEAR_M)


def _cut(run: Run) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    xy = shapely.get_coordinates(shapely.segmentize(run.line, _PIECE_M))
    xy = distinct(xy)
    pieces = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    stations = run.start_station_m + chainage(xy)
    return np.asarray(pieces, dtype=object), stations
