"""The wire as the current meets it: one conductor from terminal A to terminal B of the transmitter, run after run.

Everything that is measured at the terminals, or at a joint that was opened, speaks of places along this path.  A pair
is met twice, outwards in conductor A and back in conductor B; a branch is met where it is cut into its host.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely
from shapely.ops import substring

from parcelfence.takeoff.connection import connections

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely import Point

    from parcelfence.layout.loop import Loop, Run
    from parcelfence.takeoff.connection import Connection

__all__ = ["Conductor", "ConductorPath", "PathPiece", "conductor_path"]

Conductor = Literal["A", "B", ""]

_LEAST_M: Final = 1e-6
_SAME_PLACE_M: Final = 0.3
"""A joint lies on a piece if it is no farther away: the wire of a plan file is written to the millimetre, and hands
measure to a decimetre or two."""


@dataclass(frozen=True, kw_only=True)
class PathPiece:
    """A piece of one run, as the current meets it.

    Parameters
    ----------
    run : Run
        The run.
    from_m, to_m : float
        Where it begins and ends, as distances along the run's line; the second is less where it is met backwards.
    conductor : str
        ``"A"`` (outwards) or ``"B"`` (back) of a twisted pair; empty for single wire.
    start_m : float
        Length of the path before it.
    """

    run: Run
    from_m: float
    to_m: float
    conductor: Conductor
    start_m: float

    @property
    def length_m(self) -> float:
        """Length on the plan."""
        return abs(self.to_m - self.from_m)

    def along_run_m(self, path_m: float) -> float:
        """Distance along the run's line of a place on the path."""
        share = min(max(path_m - self.start_m, 0.0), self.length_m)
        return self.from_m + share if self.to_m >= self.from_m else self.from_m - share


@dataclass(frozen=True, kw_only=True, eq=False)
class ConductorPath:
    """The conductor from terminal A to terminal B.

    Parameters
    ----------
    pieces : tuple of PathPiece
        In the order of the current.
    """

    pieces: tuple[PathPiece, ...]

    @property
    def length_m(self) -> float:
        """Length of the whole path on the plan; a pair counts twice."""
        return self.pieces[-1].start_m + self.pieces[-1].length_m

    @cached_property
    def _starts_m(self) -> NDArray[np.float64]:
        return np.array([piece.start_m for piece in self.pieces])

    def piece_at(self, path_m: float) -> PathPiece:
        """Give the piece on which a place of the path lies."""
        return self.pieces[max(int(np.searchsorted(self._starts_m, path_m, side="right")) - 1, 0)]

    def point(self, path_m: float) -> Point:
        """Give the place on the ground."""
        piece = self.piece_at(path_m)
        return piece.run.line.interpolate(piece.along_run_m(path_m))

    def points(self, path_m: NDArray[np.float64]) -> NDArray[np.object_]:
        """Give the places on the ground of many places of the path, shape (n,)."""
        found = np.empty(len(path_m), dtype=object)
        number = np.maximum(np.searchsorted(self._starts_m, path_m, side="right") - 1, 0)
        for index, piece in enumerate(self.pieces):
            own = number == index
            share_m = np.clip(path_m[own] - piece.start_m, 0.0, piece.length_m)
            along_m = piece.from_m + share_m if piece.to_m >= piece.from_m else piece.from_m - share_m
            found[own] = shapely.line_interpolate_point(piece.run.line, along_m)
        return found

    def station_m(self, path_m: float) -> float:
        """Chainage along the run that lies there."""
        piece = self.piece_at(path_m)
        return piece.run.start_station_m + piece.along_run_m(path_m)

    def line(self, low_m: float, high_m: float) -> shapely.MultiLineString:
        """Give the ground course of a stretch of the path."""
        parts = []
        for piece in self.pieces:
            low, high = max(low_m, piece.start_m), min(high_m, piece.start_m + piece.length_m)
            if high - low > _LEAST_M:
                start_m, end_m = sorted((piece.along_run_m(low), piece.along_run_m(high)))
                parts.append(substring(piece.run.line, start_m, end_m))
        return shapely.MultiLineString([part for part in parts if part.geom_type == "LineString"])

    def places_of(self, point: Point, *, within_m: float = _SAME_PLACE_M) -> tuple[float, ...]:
        """List where the path passes a place on the ground, once for each conductor that lies there."""
        found: list[float] = []
        for piece in self.pieces:
            low, high = sorted((piece.from_m, piece.to_m))
            if not piece.run.line.dwithin(point, within_m):
                continue
            at_m = min(max(piece.run.line.project(point), low), high)
            nearest = [at_m]
            if piece.run.line.is_closed and min(at_m, piece.run.line.length - at_m) < within_m:
                nearest = [low, high]  # a closed line begins and ends at the same place
            there = (m for m in nearest if piece.run.line.interpolate(m).dwithin(point, within_m))
            found.extend(piece.start_m + abs(along_m - piece.from_m) for along_m in there)
        found.sort()
        apart = [number == 0 or place - found[number - 1] > within_m for number, place in enumerate(found)]
        return tuple(place for place, new in zip(found, apart, strict=True) if new)

    def places_at(self, loop_id: str, *, station_m: float) -> tuple[tuple[float, Conductor], ...]:
        """List where a chainage of a run lies on the path, with its conductor; empty where the run has none such."""
        found: list[tuple[float, Conductor]] = []
        for piece in self.pieces:
            along_m = station_m - piece.run.start_station_m
            low, high = sorted((piece.from_m, piece.to_m))
            if piece.run.loop_id.casefold() == loop_id.casefold() and low - _LEAST_M <= along_m <= high + _LEAST_M:
                found.append((piece.start_m + abs(along_m - piece.from_m), piece.conductor))
        return tuple(found)


def conductor_path(loop: Loop) -> ConductorPath:
    """Follow the current through a loop with its lead-ins.

    Parameters
    ----------
    loop : Loop
        Runs in series, as :mod:`parcelfence.takeoff.joint` joins them.  Where no lead-in is drawn, the path is the loop
        alone and its terminals are where its chainage begins.

    Returns
    -------
    ConductorPath
        Every run once, a pair twice.
    """
    chain = connections(loop)
    pieces: list[PathPiece] = []
    for connection in chain:
        if connection.start.kind in {"transmitter", "open"}:
            for run, from_m, to_m, conductor in _followed(connection, chain=chain):
                start_m = pieces[-1].start_m + pieces[-1].length_m if pieces else 0.0
                piece = PathPiece(run=run, from_m=from_m, to_m=to_m, conductor=conductor, start_m=start_m)
                if piece.length_m > _LEAST_M:
                    pieces.append(piece)
    return ConductorPath(pieces=tuple(pieces))


def _followed(
    connection: Connection, *, chain: tuple[Connection, ...]
) -> Iterator[tuple[Run, float, float, Conductor]]:
    """Follow the current through one run and everything that it feeds."""
    run = connection.run
    branches = sorted(
        (other for other in chain if other.start.kind == "along" and other.start.on is run),
        key=lambda other: other.start.station_m,
    )
    stops_m = [branch.start.station_m - run.start_station_m for branch in branches]
    backwards = not run.twisted and run.current < 0
    outwards: Conductor = "A" if run.twisted else ""
    at_m = run.line.length if backwards else 0.0
    for stop_m, branch in sorted(zip(stops_m, branches, strict=True), key=itemgetter(0), reverse=backwards):
        yield run, at_m, stop_m, outwards
        yield from _followed(branch, chain=chain)
        at_m = stop_m
    yield run, at_m, 0.0 if backwards else run.line.length, outwards
    if run.twisted:
        for other in chain:
            if other.start.kind == "end" and other.start.on is run:
                yield from _followed(other, chain=chain)
        yield run, run.line.length, 0.0, "B"
