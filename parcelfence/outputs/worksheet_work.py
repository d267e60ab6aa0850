"""Sections of the worksheet that guide the work: tests, burying, flags, training."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.worksheet_sections import TICK, length, station, table, tick_list
from parcelfence.outputs.worksheet_text import (
    AFTER_BURYING,
    BEFORE_BURYING,
    BURYING,
    DAYS_BETWEEN_REMOVALS,
    FIRST_REMOVAL_DAY,
    TRAINING,
    TRAINING_CAUTIONS,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from parcelfence.field.profile import ReachProfile
    from parcelfence.finished_plan import Plan

__all__ = ["flags", "number_list", "tests", "training"]

_WALKED_PLACES: Final = 10
_FEWEST_PLACES: Final = 4
_WORTH_SHORTENING: Final = 5
_CALM: Final = 1.25
"""A reach of at most so many times the median is measured away from corners."""


def tests(plan: Plan) -> str:
    """Set the steps before, at and after burying, with room for what is measured."""
    walked = table(
        ("Loop", "Station", "Expected inside", "Found", "Expected outside", "Found"), _walk_rows(plan), kind="walk"
    )
    ohms = table(
        ("Resistance between the ends", "Expected", "On the ground", "Spliced", "Buried"),
        [("Both ends at the transmitter, transmitter unplugged", _resistance(plan), "", "", "")],
        kind="walk wide",
    )
    return (
        f"<h3>Before burying</h3>{tick_list(BEFORE_BURYING)}{ohms}{walked}"
        "<p class='small'>Distances square to the wire, receiver at the height of the animal's neck. Two or more that "
        "differ from the plan in the same sense: change the level. One alone: look at the wire there. The found "
        "distances can be given to parcelfence to correct the plan.</p>"
        f"<h3>Burying</h3>{tick_list(BURYING)}<h3>After burying</h3>{tick_list(AFTER_BURYING)}"
    )


def _resistance(plan: Plan) -> str:
    return f"{plan.circuit.resistance_ohm:.1f} ohm"


def _walk_rows(plan: Plan) -> Iterator[tuple[str, ...]]:
    runs = plan.loop.signal_runs
    whole_m = sum(run.line.length for run in runs) or 1.0
    for profile in plan.profiles:
        run = runs[profile.loop]
        count = max(_FEWEST_PLACES, round(_WALKED_PLACES * run.line.length / whole_m))
        for place in _calm_places(profile, wanted_m=(np.arange(count) + 0.5) * run.line.length / count):
            yield (
                html_text(run.loop_id),
                station(plan, run.start_station_m + float(profile.station_m[place])),
                _reach(plan, float(profile.reach_inside_m[place])),
                "",
                _reach(plan, float(profile.reach_outside_m[place])),
                "",
            )


def _calm_places(profile: ReachProfile, *, wanted_m: npt.NDArray[np.float64]) -> list[int]:
    """Choose places near the wanted chainages, away from corners, where a step aside would change the reach."""
    inside_m, places = profile.reach_inside_m, np.arange(len(profile.station_m))
    known = places[np.isfinite(inside_m)]
    if known.size:
        places = known[inside_m[known] <= _CALM * np.median(inside_m[known])]
    nearest = np.abs(profile.station_m[places][:, None] - wanted_m).argmin(axis=0)
    chosen: list[int] = places[np.unique(nearest)].tolist()
    return chosen


def _reach(plan: Plan, reach_m: float) -> str:
    if math.isnan(reach_m):
        return "silent"
    return "everywhere" if math.isinf(reach_m) else length(plan, reach_m)


def flags(plan: Plan) -> str:
    """Say where the flags stand, and in which round which of them are taken out."""
    placed = plan.take_off.flags
    if not placed:
        return "<p>This plan has no flags.</p>"
    spacing = f"{length(plan, plan.settings.flag_spacing_min_m)} to {length(plan, plan.settings.flag_spacing_max_m)}"
    rounds: dict[int, list[int]] = {}
    for flag in placed:
        rounds.setdefault(flag.removal_round, []).append(flag.flag)
    rows = [
        (TICK, f"<b>{turn}</b>", f"day {_removal_day(turn)}", str(len(rounds[turn])), number_list(rounds[turn]))
        for turn in sorted(rounds)
    ]
    return (
        f"<p>{len(placed)} flags on the edge where the receiver first reacts, seen from inside, some {spacing} apart, "
        "numbered in the order of the wire. Carry the receiver in your hand and correct each by what you find.</p>"
        + table(("", "Round", "Not before", "Flags", "Take out the numbers"), rows)
    )


def _removal_day(turn: int) -> int:
    return FIRST_REMOVAL_DAY + DAYS_BETWEEN_REMOVALS * (turn - 1)


def number_list(numbers: list[int]) -> str:
    """Write numbers in order, long stretches of even steps as ``1, 3 ... 31``, or ``4 to 9`` where the step is one."""
    ordered = sorted(numbers)
    parts: list[str] = []
    start = 0
    while start < len(ordered):
        stop = _end_of_even_steps(ordered, start=start)
        first, last, step = ordered[start], ordered[stop - 1], ordered[min(start + 1, stop - 1)] - ordered[start]
        if stop - start < _WORTH_SHORTENING:
            parts += map(str, ordered[start:stop])
        elif step == 1:
            parts.append(f"{first} to {last}")
        else:
            parts.append(f"{first}, {first + step} &hellip; {last}")
        start = stop
    return ", ".join(parts)


def _end_of_even_steps(ordered: list[int], *, start: int) -> int:
    """Find where the even steps that begin at a place end; one place on where they are few."""
    stop = start + 1
    while stop < len(ordered) and ordered[stop] - ordered[stop - 1] == ordered[start + 1] - ordered[start]:
        stop += 1
    return stop if stop - start >= _WORTH_SHORTENING else start + 1


def training(plan: Plan) -> str:
    """Set the outline of the training, day by day, and the rounds in which the flags go."""
    rows = [
        (TICK, f"<b>{stage.first_day}&ndash;{stage.last_day}</b>", html_text(stage.work), html_text(stage.done_when))
        for stage in TRAINING
    ]
    rounds = sorted({flag.removal_round for flag in plan.take_off.flags})
    for turn in rounds:
        last = (
            " The yard is its own now; keep watching, and set flags again where it errs." if turn == rounds[-1] else ""
        )
        rows.append((
            TICK,
            f"<b>{_removal_day(turn)}</b>",
            f"Take out the flags of round {turn}, then a calm walk along the wire.{last}",
            "no mistake until the next round; else put them back",
        ))
    cautious = "".join(f"<li>{html_text(line)}</li>" for line in TRAINING_CAUTIONS)
    return (
        f'<ul class="remarks">{cautious}</ul>'
        + table(("", "Day", "What to do", "Go on when"), rows, kind="training")
        + "<p class='small'>Days are the least, not the aim. Every animal takes its own time: repeat a stage until it "
        "sits.</p>"
    )
