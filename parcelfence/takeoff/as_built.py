"""The wire as it was built: what a crew recorded, and how it differs from the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from parcelfence.circuit.conductor import MATERIALS
from parcelfence.conflict import COMMON_PRACTICE, Conflict
from parcelfence.errors import Fault, InputError, SettingsError, near_matches
from parcelfence.inputs.walk_stations import chainage_m
from parcelfence.takeoff.leg import Splice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parcelfence.circuit.circuit import Circuit
    from parcelfence.inputs.as_built_notes import AsBuiltNotes
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.settings import Settings

__all__ = ["AsBuilt", "OffPlan", "Photo", "expected_ohm", "recorded_splices", "resistance_remark"]

RULE: Final = "as-built-resistance"
_OFF_SHARE: Final = 0.15
_OFF_OHM: Final = 0.5
"""A measured resistance is off where it differs by more than both: length and gauge are known to some per cent, the
leads of the meter have some tenths of an ohm (from memory)."""
_BEYOND_M: Final = 0.5


@dataclass(frozen=True, kw_only=True)
class Photo:
    """One photo: its file name, what it shows, and where, as they were written."""

    file: str
    shows: str
    at: str


@dataclass(frozen=True, kw_only=True)
class OffPlan:
    """How far the wire lies from its plan.

    Parameters
    ----------
    greatest_m, root_mean_square_m : float
        Of the distances along the wire.
    length_m, planned_length_m : float
        Of all runs.
    tolerance_m : float
        What was allowed for.
    places : tuple of str
        Where more than that was found, in plain words.
    """

    greatest_m: float
    root_mean_square_m: float
    length_m: float
    planned_length_m: float
    tolerance_m: float
    places: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AsBuilt:
    """The record of a wire in the ground.

    Parameters
    ----------
    laid_on, laid_by, level, depth, notes : str
        As they were written; empty where nothing was.
    resistance_ohm, temperature_c : float or None
        As measured.
    expected_ohm : float
        Computed for the wire as built, at that temperature where it is given.
    photos : tuple of Photo
        Photos with what they show.
    off_plan : OffPlan or None
        Differences to the plan, where it was given.
    """

    laid_on: str = ""
    laid_by: str = ""
    level: str = ""
    depth: str = ""
    notes: str = ""
    resistance_ohm: float | None = None
    temperature_c: float | None = None
    expected_ohm: float
    photos: tuple[Photo, ...] = ()
    off_plan: OffPlan | None = None


def recorded_splices(notes: AsBuiltNotes, *, loop: Loop, settings: Settings, where: str) -> tuple[Splice, ...]:
    """Place the splices that a crew recorded.

    Parameters
    ----------
    notes : AsBuiltNotes
        The record.
    loop : Loop
        The wire as built, along which the chainages run.
    settings : Settings
        Units and how stations are written.
    where : str
        What to call the record in messages.

    Raises
    ------
    InputError
        If a splice is at no place of the wire; with all such faults.
    """
    splices: list[Splice] = []
    faults: list[Fault] = []
    for number, noted in enumerate(notes.splice, start=1):
        try:
            run, station_m = _place(noted.at, loop=loop, settings=settings)
        except SettingsError as error:
            faults.append(Fault(where=f"{where} [[splice]] {number}", found=str(error)))
            continue
        photo = f"photo {noted.photo}" if noted.photo else ""
        splices.append(
            Splice(
                id=noted.id or f"S{number}",
                point=run.line.interpolate(station_m - run.start_station_m),
                loop_id=run.loop_id,
                station_m=station_m,
                note="; ".join(part for part in (noted.note, photo) if part) or "as built",
            )
        )
    if faults:
        raise InputError(faults)
    return tuple(splices)


def _place(text: str, *, loop: Loop, settings: Settings) -> tuple[Run, float]:
    """Find a chainage, with its run where there are several; raises SettingsError."""
    name, _, rest = text.strip().partition(" ")
    runs: Sequence[Run] = [run for run in loop.runs if run.loop_id.casefold() == name.casefold()]
    if not runs:
        if len(loop.runs) > 1:
            known = near_matches(name, [run.loop_id for run in loop.runs])
            raise SettingsError(f"at = {text!r} names no run of this wire; {known}; write it like 'L1 45 m'")
        runs, rest = loop.runs, text
    station_m = chainage_m(rest.strip(), unit="", settings=settings)
    run = runs[0]
    if not -_BEYOND_M <= station_m - run.start_station_m <= run.line.length + _BEYOND_M:
        raise SettingsError(f"at = {text!r} is beyond run {run.loop_id}, which is {run.line.length:.1f} m long")
    return run, min(max(station_m, run.start_station_m), run.start_station_m + run.line.length)


def expected_ohm(circuit: Circuit, *, settings: Settings, temperature_c: float | None) -> float:
    """Give the resistance between the two ends, at the temperature of the ground where it is known."""
    if temperature_c is None:
        return circuit.resistance_ohm
    warm, reckoned = (
        1.0 + MATERIALS["copper"].temperature_coefficient_per_k * (value - 20.0)
        for value in (temperature_c, settings.wire_temperature_c)
    )
    return circuit.resistance_ohm * warm / reckoned


def resistance_remark(record: AsBuilt, *, loop: Loop) -> Conflict | None:
    """Say where a measured resistance is not that of the wire as built."""
    if record.resistance_ohm is None:
        return None
    off_ohm = record.resistance_ohm - record.expected_ohm
    if abs(off_ohm) <= max(_OFF_SHARE * record.expected_ohm, _OFF_OHM):
        return None
    more = off_ohm > 0.0
    return Conflict(
        rule=RULE,
        severity="caution",
        basis=COMMON_PRACTICE,
        message=f"The wire measures {record.resistance_ohm:.1f} ohm between its ends; {record.expected_ohm:.1f} ohm "
        "are computed for its length and gauge.",
        remedy="Look at every joint: one of them is weak, or more wire was laid than the record shows."
        if more
        else "Check the gauge and the record: a part of the wire is bridged, thicker, or not in the circuit.",
        geometry=loop.runs[0].line,
        layer="wire",
        feature=loop.runs[0].loop_id,
        measured=record.resistance_ohm,
        limit=record.expected_ohm,
        unit="ohm",
    )
