"""The training record: for each animal a sheet with its receiver, what to heed, the days, and the rounds of flags.

All advice is common practice, in general words and from memory; makers' instructions and whoever knows the animal come
first.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.animal import Animal
from parcelfence.finished_plan import PlanOfAnimal
from parcelfence.outputs.cautions import Caution
from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.figures import reach_uncertainty_m
from parcelfence.outputs.sheet_page import TICK, cautions_box, fact_list, section, sheet_page, stacked_table
from parcelfence.outputs.worksheet_sections import property_words
from parcelfence.outputs.worksheet_work import TRAINING, flag_rounds, number_list, removal_day
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "training_page", "write"]

NAME: Final = "training.html"
BEFORE: Final = (
    Caution(
        "Age:",
        "not before it is about half a year old and takes a lead calmly; ask a veterinarian about an old, ill or "
        "pregnant one.",
    ),
    Caution(
        "Temperament:",
        "not for an aggressive or a very fearful animal, nor for one that bites when startled: ask a trainer first.",
    ),
    Caution(
        "Fit:",
        "high on the neck, contacts on the skin, two fingers under the strap; a lead is never clipped to the receiver.",
    ),
    Caution(
        "Skin and hours:",
        "look under the receiver every day. Worn for 8 to 12 hours at most, moved on the neck in between, off at "
        "night; at any redness off until it is healed.",
    ),
    Caution("Sound first:", "let it learn what the sound means before anything else; then the least that it notices."),
)
STOP_SIGNS: Final = (
    "It freezes, trembles, pants without cause, or cries.",
    "It hides, will not go out, or will not leave the house or your side.",
    "It snaps at people or at other animals after the receiver acts.",
    "It scratches at the receiver, or the skin beneath is red, wet or sore.",
    "It runs through the signal and does not turn: put it on the lead, and do not raise the setting by yourself.",
)
_DAYS: Final = 14
_ORIGIN: Final = (
    "General words, common practice and from memory. The instructions of the makers, and a trainer or veterinarian who "
    "knows the animal, come first."
)


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``training.html``."""
    page = training_page(delivery.plan)
    (folder / NAME).write_text(page, encoding="utf-8", errors="replace", newline="\n")


def training_page(plan: Plan) -> str:
    """Make the record: a sheet for each animal, or one with room for the name.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        One HTML page that needs nothing from outside.
    """
    unnamed = PlanOfAnimal(
        animal=Animal(name="Animal"), settings=plan.settings, zones=plan.zones, profiles=plan.profiles
    )
    body = "".join(_sheet(plan, one, first=not place) for place, one in enumerate(plan.animals or (unnamed,)))
    return sheet_page("Training record", subtitle=property_words(plan), body=body, origin=_ORIGIN)


def _sheet(plan: Plan, one: PlanOfAnimal, *, first: bool) -> str:
    known = bool(plan.animals)
    title = f"{one.animal.name}{f', {one.animal.kind}' if one.animal.kind else ''}" if known else "One sheet each"
    blanks = "" if known else _blank("Name") + _blank("Age, kind")
    blanks += "" if one.animal.receiver_setting else _blank("Receiver set to")
    blanks += _blank("Trained by") + _blank("Began on")
    stops = "".join(f"<li>{html_text(line)}</li>" for line in STOP_SIGNS)
    return section(
        title,
        f'<div class="blanks">{blanks}</div>{fact_list(_facts(plan, one))}{_flags_for_it(plan, one)}'
        + cautions_box(BEFORE, title="Before the first day")
        + '<section class="box"><h2>Stop, and ask a trainer or veterinarian</h2>'
        + f'<ul class="remarks">{stops}</ul></section>'
        + f"<h3>Day by day</h3>{_days()}<h3>Rounds of flags</h3>{_rounds(plan)}",
        new_page=not first,
    )


def _blank(name: str) -> str:
    return f"<span>{name}<i></i></span>"


def _facts(plan: Plan, one: PlanOfAnimal) -> list[tuple[str, str]]:
    units, own, receiver = unit_system(plan.settings.units), one.settings, one.zones.receiver
    share = reach_uncertainty_m(plan) / plan.zones.receiver.reach_m
    inside_m = _seen_from_inside_m(one)
    begins = units.uncertain_length(inside_m, uncertainty_m=share * inside_m) if math.isfinite(inside_m) else ""
    warned_s = (1 - receiver.core_ratio) * receiver.reach_m / own.animal_speed_m_per_s
    speed = f"{own.animal_speed_m_per_s / units.length_m:.0f} {units.length_unit}/s"
    pairs = [
        ("Receiver set to", one.animal.receiver_setting),
        ("Sound begins, from the wire", begins),
        ("Strong from about", units.length(receiver.core_ratio * receiver.reach_m)),
        ("Receiver above ground", units.tape(own.receiver_height_m)),
        ("Free to roam", units.area(one.zones.free_ground.area)),
        (f"Warning at {speed}, straight run", f"{warned_s:.2f} s; receiver {own.receiver_delay_s:.2f} s"),
    ]
    return [(name, value) for name, value in pairs if value]


def _seen_from_inside_m(one: PlanOfAnimal) -> float:
    """Median distance from the wire at which the receiver first reacts, coming from the animal's side."""
    found = [profile.reach_inside_m[np.isfinite(profile.reach_inside_m)] for profile in one.profiles]
    known = np.concatenate(found) if found else np.array([])
    return float(np.median(known)) if known.size else math.nan


def _flags_for_it(plan: Plan, one: PlanOfAnimal) -> str:
    """Say how far behind the flags the receiver of this animal begins, where they stand for a greater reach."""
    if one.zones.receiver == plan.zones.receiver:
        return ""
    every = PlanOfAnimal(animal=one.animal, settings=plan.settings, zones=plan.zones, profiles=plan.profiles)
    behind_m = _seen_from_inside_m(every) - _seen_from_inside_m(one)
    if not behind_m > 0:
        return ""
    apart = unit_system(plan.settings.units).length(behind_m)
    return (
        f"<p>The flags stand for the greatest reach of all animals. The receiver of this one begins about {apart} "
        "behind them: turn it back at the flags all the same, by word and lead, so that it learns one line with the "
        "others.</p>"
    )


def _days() -> str:
    stages = {day: stage for stage in TRAINING for day in range(stage.first_day, stage.last_day + 1)}
    heads = ("Day", "Date", "Minutes", "Hours worn", "Skin", "Ran through", "Notes")
    rows = [(f"<b>{day}</b>", *[""] * (len(heads) - 1)) for day in range(1, _DAYS + 1)]
    begins = "".join(
        f"<li><b>Days {stage.first_day} to {stage.last_day}:</b> {html_text(stage.work)} <i>Go on when "
        f"{html_text(stage.done_when)}.</i></li>"
        for stage in dict.fromkeys(stages.values())
    )
    table = stacked_table(heads, rows, stack=False)
    return f'<ul class="remarks">{begins}</ul><div class="days">{table}</div>'


def _rounds(plan: Plan) -> str:
    rounds = flag_rounds(plan)
    if not rounds:
        return "<p>This plan has no flags.</p>"
    rows = [
        (TICK, f"<b>{turn}</b>", f"day {removal_day(turn)}", number_list(rounds[turn]), "", "", "")
        for turn in sorted(rounds)
    ]
    heads = ("", "Round", "Not before", "Take out the flags", "Taken out on", "Mistakes since", "Put back on")
    return stacked_table(heads, rows, room=(4, 5, 6))
