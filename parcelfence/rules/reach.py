"""Reach along the wire: where bends and other runs make it another than along a straight run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.lines import gather
from parcelfence.rules.rule import Rule, rule
from parcelfence.wording import listing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from parcelfence.field.profile import ReachProfile
    from parcelfence.layout.loop import Run
    from parcelfence.rules.draft import Draft
    from parcelfence.rules.wire import Stretch

__all__ = ["RULES"]

_UNEVEN: Final = 0.15
"""Share by which the reach may differ from that of a straight run."""
_STRAIGHTEST: Final = 0.25
"""Share of a loop whose reach stands for its straight runs."""
_ALL_ALONG: Final = 0.95
_SAME_CORNER: Final = 3.0
"""Reaches within which what happens along the wire comes from one corner."""
_BESIDE_M: Final = 0.05


@dataclass(frozen=True, eq=False, kw_only=True)
class _Side:
    """One side of a run, piece by piece.

    ``reach_m`` is zero where the wire is silent, infinite where all ground to the next wire reacts.  ``edge_m`` is how
    far from any wire the signal ends there: beside a corner the way square to the wire runs along the other leg, and
    its length says nothing about the corner.
    """

    run: Run
    animal: bool
    promised_m: float
    pieces: NDArray[np.int64]
    reach_m: NDArray[np.float64]
    edge_m: NDArray[np.float64]

    @property
    def name(self) -> str:
        return "on the animal's side" if self.animal else "on the side away from the animal"


@rule(
    "corner-signal",
    theme="shape",
    severity="caution",
    summary="Along each loop the signal reaches as far as on its straight runs, within 15 %.",
    basis="field of the finished wire (Biot and Savart)",
    of_signal=True,
)
def corner_signal(draft: Draft) -> Iterator[Conflict]:
    """Compare the true reach along every loop with that of a straight run; one row for each loop, side and sense.

    A closed loop reaches farther inwards than a lone wire, and less far outwards, all along: a person who sets the
    level by walking up to a straight run has that in it.  So the measure is, for each side of an outer loop, the
    median over the quarter of it where the wire turns least; for an inner loop, at which nobody sets the level, the
    reach of a lone wire.

    Too short a reach on the animal's side weakens the fence and is a caution.  Too short on the far side, and too long
    on either, is a note: lot lines, neighbours, walls and free ground have rules of their own, and behind the wire of
    an inner loop too long a reach is none.  Stretches that face a run with the opposite current are left to
    ``facing-runs``.
    """
    tree = shapely.STRtree(draft.wire.pieces[~draft.wire.twisted])
    for run, profile in zip(draft.loop.signal_runs, draft.profiles, strict=True):
        for side in _sides(draft, run, profile=profile, tree=tree):
            weak = side.reach_m < (1 - _UNEVEN) * side.promised_m
            strong = side.edge_m > (1 + _UNEVEN) * side.promised_m
            if weak.any():
                stretches = _worst_first(draft, side.pieces[weak], values=side.reach_m[weak])
                yield _too_short(draft, side, stretches=stretches)
            if strong.any() and (side.animal or run.part != "inner_loop"):
                stretches = _worst_first(draft, side.pieces[strong], values=-side.edge_m[strong])
                yield _too_long(draft, side, stretches=stretches)


def _sides(draft: Draft, run: Run, *, profile: ReachProfile, tree: shapely.STRtree) -> Iterator[_Side]:
    """Give the animal's side and the far side of a run, without the pieces that face another run."""
    wire = draft.wire
    pieces = _alone(draft, run)
    middle_m = (wire.start_m[pieces] + wire.end_m[pieces]) / 2 - run.start_station_m
    at = _nearest(profile.station_m, middle_m, length_m=run.line.length)
    within = shapely.contains_xy(draft.loop.enclosed, *(profile.points + _BESIDE_M * profile.inward).T)
    for animal in (True, False):
        inwards = within == animal
        reach_m = np.where(inwards, profile.reach_inside_m, profile.reach_outside_m)
        promised_m = _promised_m(draft, run, profile=profile, reach_m=reach_m)
        far = np.flatnonzero(np.isfinite(reach_m) & (reach_m > (1 + _UNEVEN) * promised_m))
        ways = np.where(inwards[far, None], profile.inward[far], -profile.inward[far])
        edge_m = reach_m.copy()
        edge_m[far] = _edge_m(profile.points[far] + reach_m[far, None] * ways, tree=tree)
        yield _Side(
            run=run,
            animal=animal,
            promised_m=promised_m,
            pieces=pieces,
            reach_m=np.where(np.isnan(reach_m), 0.0, reach_m)[at],
            edge_m=edge_m[at],
        )


def _alone(draft: Draft, run: Run) -> NDArray[np.int64]:
    """Pieces of a run that are not beside a run with the opposite current."""
    wire = draft.wire
    number = next(place for place, own in enumerate(wire.runs) if own is run)
    pieces = np.flatnonzero(wire.run_of == number)
    if not draft.facing:
        return pieces
    facing = gather([stretch.line for stretch in draft.facing])
    return pieces[~shapely.dwithin(wire.pieces[pieces], facing, draft.settings.reach_m)]


def _promised_m(draft: Draft, run: Run, *, profile: ReachProfile, reach_m: NDArray[np.float64]) -> float:
    """Reach that a straight run has on one side, see :func:`corner_signal`."""
    straight = _straight(profile, run=run, window_m=2 * draft.settings.reach_m) & np.isfinite(reach_m)
    if run.part == "inner_loop" or not straight.any():
        return draft.zones.receiver.reach_m
    return float(np.median(reach_m[straight]))


def _nearest(station_m: NDArray[np.float64], wanted_m: NDArray[np.float64], *, length_m: float) -> NDArray[np.int64]:
    """Positions of the stations nearest to some others, on a closed line."""
    around_m = np.concatenate([station_m[-1:] - length_m, station_m, station_m[:1] + length_m])
    bounds_m = (around_m[:-1] + around_m[1:]) / 2
    nearest: NDArray[np.int64] = (np.searchsorted(bounds_m, wanted_m) - 1) % len(station_m)
    return nearest


def _straight(profile: ReachProfile, *, run: Run, window_m: float) -> NDArray[np.bool_]:
    """Tell the places around which the wire turns least, ahead and behind."""
    length_m = run.line.length
    heading = np.unwrap(np.arctan2(*np.vstack([profile.inward, profile.inward[:1]]).T[::-1]))
    laps = np.array([-1.0, 0.0, 1.0])[:, None]
    along_m = (profile.station_m + laps * length_m).ravel()
    turned = (heading[:-1] + laps * (heading[-1] - heading[0])).ravel()
    behind, ahead = (np.interp(profile.station_m + step, along_m, turned) for step in (-window_m, window_m))
    turn = np.abs(ahead - heading[:-1]) + np.abs(heading[:-1] - behind)
    straight: NDArray[np.bool_] = turn <= np.quantile(turn, _STRAIGHTEST)
    return straight


def _edge_m(ends: NDArray[np.float64], *, tree: shapely.STRtree) -> NDArray[np.float64]:
    """Distance of the ends of some ways from the nearest wire."""
    _, distance_m = tree.query_nearest(shapely.points(ends), return_distance=True, all_matches=False)
    return np.asarray(distance_m, dtype=np.float64)


def _worst_first(draft: Draft, pieces: NDArray[np.int64], *, values: NDArray[np.float64]) -> list[Stretch]:
    """Gather pieces into stretches, those with the least value first."""
    found = draft.wire.stretches(pieces, values=values)
    return sorted(found, key=lambda stretch: (stretch.measured, stretch.start_m))


def _places(stretches: list[Stretch], *, apart_m: float) -> list[Stretch]:
    """Keep the worst of stretches near each other: a person sees one corner where the reach swings to and fro."""
    kept: list[Stretch] = []
    for stretch in stretches:
        if all(stretch.line.distance(other.line) > apart_m for other in kept):
            kept.append(stretch)
    return kept


def _too_short(draft: Draft, side: _Side, *, stretches: list[Stretch]) -> Conflict:
    words, least_m = draft.wording, stretches[0].measured
    return Conflict(
        message=f"The signal reaches less far {side.name} {_where(draft, stretches)}: only "
        f"{words.length(least_m)}, where a straight run has {words.length(side.promised_m)}.",
        remedy="Round the wire wider there or move it away from other runs; else set flags there by walking with the "
        "receiver, and test that the animal is held."
        if side.animal
        else "Round the wire wider there, if an animal that runs through would not be held.",
        geometry=gather([stretch.line for stretch in stretches]),
        severity="caution" if side.animal else "note",
        station_m=stretches[0].station_m,
        measured=least_m,
        limit=(1 - _UNEVEN) * side.promised_m,
        layer="wire",
        feature=side.run.loop_id,
    )


def _too_long(draft: Draft, side: _Side, *, stretches: list[Stretch]) -> Conflict:
    words, greatest_m = draft.wording, -stretches[0].measured
    reach = f"up to {words.length(greatest_m)}" if np.isfinite(greatest_m) else "all the way to the next wire"
    return Conflict(
        message=f"The signal ends farther from the wire {side.name} {_where(draft, stretches)}: {reach}, "
        f"where a straight run has {words.length(side.promised_m)}.",
        remedy="A wider bend frees ground there; set the flags by walking with the receiver."
        if side.animal
        else "Nothing, as long as no row on lot lines or neighbours names the place.",
        geometry=gather([stretch.line for stretch in stretches]),
        severity="note",
        station_m=stretches[0].station_m,
        measured=greatest_m if np.isfinite(greatest_m) else None,
        limit=(1 + _UNEVEN) * side.promised_m,
        layer="wire",
        feature=side.run.loop_id,
    )


def _where(draft: Draft, stretches: list[Stretch]) -> str:
    """Say where: one place by its ends, several by their number, the worst and some more."""
    words, worst = draft.wording, stretches[0]
    run, station = worst.run, words.station(worst.station_m)
    if worst.length_m >= _ALL_ALONG * run.line.length:
        return f"all along {run.part.replace('_', ' ')} {run.loop_id}, most at station {station}"
    places = _places(stretches, apart_m=_SAME_CORNER * draft.settings.reach_m)
    if len(places) == 1:
        return words.along(worst)
    others = listing([words.station(place.station_m) for place in places[1:]])
    return f"at {len(places)} places, most {words.at(run, station_m=worst.station_m)} (also at {others})"


RULES: Final[tuple[Rule, ...]] = (corner_signal,)
