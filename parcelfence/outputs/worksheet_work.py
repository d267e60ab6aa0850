"""Sections of the worksheet that guide the work: tests, burying, flags, training.

The fixed texts are common practice, in general words; the makers of transmitter and receiver, local codes, and whoever
knows the animal come first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.outputs.break_words import FAULT_TREE
from parcelfence.outputs.cautions import SEASONS
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import figures, reach_uncertainty_m
from parcelfence.outputs.sheet_page import TICK, stacked_table, tick_list
from parcelfence.outputs.worksheet_sections import along, length
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from parcelfence.field.profile import ReachProfile
    from parcelfence.finished_plan import Plan

__all__ = [
    "TRAINING",
    "TRAINING_CAUTIONS",
    "Stage",
    "animals",
    "faults",
    "flag_rounds",
    "flags",
    "number_list",
    "removal_day",
    "seasons",
    "tests",
    "training",
]

_WALKED_PLACES: Final = 10
_FEWEST_PLACES: Final = 4
_WORTH_SHORTENING: Final = 5
_CALM: Final = 1.25
"""A reach of at most so many times the median is measured away from corners."""


def tests(plan: Plan) -> str:
    """Set the steps before, at and after burying, with room for what is measured."""
    walked = stacked_table(
        ("At", "Expected inside", "Found inside", "Expected outside", "Found outside"),
        _walk_rows(plan),
        figures=(1, 3),
        room=(2, 4),
    )
    ohms = stacked_table(
        ("Resistance between the ends", "Expected", "On the ground", "Spliced", "Buried"),
        [("Both ends at the transmitter, transmitter unplugged", html_text(_resistance(plan)), "", "", "")],
        room=(2, 3, 4),
    )
    return (
        f"<h3>Before burying</h3>{tick_list(BEFORE_BURYING)}{ohms}{walked}"
        "<p class='small'>Distances square to the wire, receiver at the height of the animal's neck. Two or more that "
        "differ from the plan in the same sense: change the level. One alone: look at the wire there. The found "
        "distances can be given to parcelfence to correct the plan.</p>"
        f"<h3>Burying</h3>{tick_list(BURYING)}<h3>After burying</h3>{tick_list(AFTER_BURYING)}"
    )


def _resistance(plan: Plan) -> str:
    """Write the resistance at the temperature of the settings, and what it comes to through the year."""
    found, settings = figures(plan), plan.settings
    at_c, cold_c, hot_c = settings.wire_temperature_c, settings.wire_temperature_low_c, settings.wire_temperature_high_c
    return (
        f"{plan.circuit.resistance_ohm:.1f} ohm at {_degrees(plan, at_c)}; {found.resistance_low_ohm:.1f} to "
        f"{found.resistance_high_ohm:.1f} ohm from {_degrees(plan, cold_c)} to {_degrees(plan, hot_c)}, with a "
        f"tolerance of {settings.resistance_tolerance_percent:g} %"
    )


def _degrees(plan: Plan, at_c: float) -> str:
    return f"{at_c * 9 / 5 + 32:.0f} \u00b0F" if plan.settings.units == "us" else f"{at_c:g} \u00b0C"


def _walk_rows(plan: Plan) -> Iterator[tuple[str, ...]]:
    runs = plan.loop.signal_runs
    whole_m = sum(run.line.length for run in runs) or 1.0
    for profile in plan.profiles:
        run = runs[profile.loop]
        count = max(_FEWEST_PLACES, round(_WALKED_PLACES * run.line.length / whole_m))
        for place in _calm_places(profile, wanted_m=(np.arange(count) + 0.5) * run.line.length / count):
            yield (
                along(plan, run.start_station_m + float(profile.station_m[place]), loop_id=run.loop_id),
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


def animals(plan: Plan) -> str:
    """Set what each of several animals meets; nothing where there is one."""
    units = unit_system(plan.settings.units)
    share = reach_uncertainty_m(plan) / plan.zones.receiver.reach_m
    rows = [
        (
            f"<b>{html_text(one.animal.name)}</b>",
            html_text(one.animal.receiver_setting),
            units.uncertain_length(reach_m, uncertainty_m=share * reach_m),
            html_text(units.tape(one.settings.receiver_height_m)),
            units.area(one.zones.free_ground.area),
            "",
        )
        for one in plan.animals
        for reach_m in (one.zones.receiver.reach_m,)
    ]
    if not rows:
        return ""
    leading = max(plan.animals, key=lambda one: one.settings.reach_m).animal.name
    heads = ("Animal", "Receiver set to", "Reach", "Height of receiver", "Free to roam", "Reach as walked")
    return (
        f"<p>The transmitter has one level for all. Set it with the receiver of {html_text(leading)}, whose reach is "
        "the greatest; the flags stand where it reacts. Then walk the loop with each receiver at the height at which "
        "it is worn, and change the receiver's own setting, not the level.</p>"
        + stacked_table(heads, rows, figures=(2, 3, 4), room=(5,))
    )


def _reach(plan: Plan, reach_m: float) -> str:
    """Write an expected reach with its uncertainty, which is the same share of it as beside a straight wire."""
    if math.isnan(reach_m):
        return "silent"
    if math.isinf(reach_m):
        return "everywhere"
    share = reach_uncertainty_m(plan) / plan.zones.receiver.reach_m
    return unit_system(plan.settings.units).uncertain_length(reach_m, uncertainty_m=share * reach_m)


def flags(plan: Plan) -> str:
    """Say where the flags stand, and in which round which of them are taken out."""
    placed = plan.take_off.flags
    if not placed:
        return "<p>This plan has no flags.</p>"
    spacing = f"{length(plan, plan.settings.flag_spacing_min_m)} to {length(plan, plan.settings.flag_spacing_max_m)}"
    rounds = flag_rounds(plan)
    rows = [
        (TICK, f"<b>{turn}</b>", f"day {removal_day(turn)}", str(len(rounds[turn])), number_list(rounds[turn]))
        for turn in sorted(rounds)
    ]
    return (
        f"<p>{len(placed)} flags on the edge where the receiver first reacts, seen from inside, some {spacing} apart, "
        "numbered in the order of the wire. Carry the receiver in your hand and correct each by what you find.</p>"
        + stacked_table(("", "Round", "Not before", "Flags", "Take out the numbers"), rows)
    )


def flag_rounds(plan: Plan) -> dict[int, list[int]]:
    """Give the numbers of the flags by the round in which they are taken out."""
    rounds: dict[int, list[int]] = {}
    for flag in plan.take_off.flags:
        rounds.setdefault(flag.removal_round, []).append(flag.flag)
    return rounds


def removal_day(turn: int) -> int:
    """Give the day of the training before which a round of flags stays."""
    return FIRST_REMOVAL_DAY + DAYS_BETWEEN_REMOVALS * (turn - 1)


def seasons(plan: Plan) -> str:
    """Set when to look again, and the resistance to compare with."""
    rows = "".join(
        f"<li>{TICK}<span><b>{html_text(line.order)}</b> {html_text(line.meaning)}</span></li>" for line in SEASONS
    )
    return f'<ul class="steps">{rows}</ul><p>Resistance between the ends: {html_text(_resistance(plan))}.</p>'


def faults() -> str:
    """Set the plain order of looking for a fault."""
    items = "".join(f"<li><b>{html_text(line.order)}.</b> {html_text(line.meaning)}</li>" for line in FAULT_TREE)
    return (
        f'<ul class="remarks">{items}</ul><p class="small">parcelfence find-break names the likeliest place and the '
        "next best test.</p>"
    )


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
    rounds = sorted(flag_rounds(plan))
    for turn in rounds:
        last = (
            " The yard is its own now; keep watching, and set flags again where it errs." if turn == rounds[-1] else ""
        )
        rows.append((
            TICK,
            f"<b>{removal_day(turn)}</b>",
            f"Take out the flags of round {turn}, then a calm walk along the wire.{last}",
            "no mistake until the next round; else put them back",
        ))
    cautious = "".join(f"<li>{html_text(line)}</li>" for line in TRAINING_CAUTIONS)
    return (
        f'<ul class="remarks">{cautious}</ul>'
        + stacked_table(("", "Day", "What to do", "Go on when"), rows)
        + "<p class='small'>Days are the least, not the aim. Every animal takes its own time: repeat a stage until it "
        "sits. training.html has a sheet for each animal.</p>"
    )


BEFORE_BURYING: Final = (
    "Lay the wire on the ground along the plan, leg by leg. Nothing is cut and nothing is buried yet.",
    "Twist the lead-in as evenly as stated in the material list; no part of it may lie beside single wire.",
    "Keep the transmitter unplugged. Measure the resistance between the two ends and write it down.",
    "Make the splices with waterproof connectors, then measure again: the figure must not have risen.",
    "Connect the transmitter, switch it on, and set the level by walking up to the wire, receiver in the hand.",
    "Hold the receiver at the height of the animal's neck. No animal wears it now.",
    "Walk the whole loop on both sides. Write the distances into the table below.",
    "Where all is silent the wire has a break; where a stretch is silent another run beside it cancels it.",
    "Go through the house, to every door, along the lot line and along the lead-in: the receiver must stay silent.",
    "Move the wire until it is right. It is easy now and hard later.",
)
BURYING: Final = (
    "Check once more that every locate mark is there and still valid. No mark, no digging.",
    "Dig by hand in every tolerance zone, and at every crossing between the stations of the crossing list.",
    "Lay the wire loose, with the slack of the list, without kinks, and in curves no tighter than the stated radius.",
    "Protect the wire under drives and at edges where spades, mowers or tillers work.",
    "Take a picture of every crossing and splice with its station before you cover it.",
)
AFTER_BURYING: Final = (
    "Measure the resistance again: it must be what it was before burying.",
    "Walk the whole loop again and set the flags where the receiver first reacts.",
    "Unplug the transmitter and plug it in again: it must come back by itself, at the same level.",
    "Write splices, crossings and changes into the plan, and leave a copy beside the transmitter.",
)
TRAINING_CAUTIONS: Final = (
    "Ask a veterinarian or an experienced trainer first, above all with a young, old, ill, pregnant or fearful animal.",
    "Follow the instructions of receiver and transmitter. Begin with sound, or the lowest setting that it notices.",
    "Fit the receiver as its makers say, take it off for the night, and look at the skin beneath it every day.",
    "Short and calm: a few sessions a day of some ten minutes, always ended with play well inside the flags.",
    "Stop and ask for help if the animal freezes, hides, cries, refuses to go out, or runs through.",
    "A buried wire keeps nothing out. Never leave an animal alone with it that has not learned it.",
)


@dataclass(frozen=True)
class Stage:
    """Some days of the training: which, what to do, and by what to see that the next stage may begin."""

    first_day: int
    last_day: int
    work: str
    done_when: str


TRAINING: Final = (
    Stage(
        1,
        2,
        "All flags stand. On a lead, receiver on without any correction. Walk along the flags, turn back at each with "
        "a cheerful word and a treat.",
        "it turns with you at the flags without pulling",
    ),
    Stage(
        3,
        5,
        "Still on the lead, receiver at its first setting. Let it come up to the flags by itself at another place "
        "each time; help it back at the first sound, reward it inside.",
        "it turns back by itself at the sound, all around the loop",
    ),
    Stage(
        6,
        9,
        "On a long line. Add temptations beyond the flags, mild ones first: a person, a toy, another animal. Never "
        "call it across the wire.",
        "it stays inside with each of them",
    ),
    Stage(
        10,
        14,
        "Off the line under your eyes, a quarter of an hour first, longer each day. Gates and the drive: it leaves "
        "only without the receiver, carried or driven.",
        "three days without a mistake",
    ),
)
"""Stages in general words; every animal takes its own time, and a stage is repeated until it sits."""

FIRST_REMOVAL_DAY: Final = 15
DAYS_BETWEEN_REMOVALS: Final = 3
