"""The record that replaces the plan once the wire lies in the ground."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from parcelfence.conflict import in_order
from parcelfence.takeoff.as_built import AsBuilt, OffPlan, Photo, expected_ohm, resistance_remark
from parcelfence.wording import Wording

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan
    from parcelfence.inputs.as_built_notes import AsBuiltNotes
    from parcelfence.service.differences import Differences

__all__ = ["recorded"]


def recorded(plan: Plan, notes: AsBuiltNotes, *, found: Differences | None = None, tolerance_m: float = 0.0) -> Plan:
    """Put the record of a crew beside the wire as it was checked.

    Parameters
    ----------
    plan : Plan
        The wire as built, assessed with the splices that were made.
    notes : AsBuiltNotes
        What was written down.
    found : Differences, optional
        How the wire differs from its plan, with the tolerance that was allowed for.
    tolerance_m : float
        That tolerance.

    Returns
    -------
    Plan
        With its record; a measured resistance that is not that of the wire is one more conflict.
    """
    record = AsBuilt(
        laid_on=notes.laid_on,
        laid_by=notes.laid_by,
        level=notes.level,
        depth=notes.depth,
        notes=notes.notes,
        resistance_ohm=notes.resistance_ohm,
        temperature_c=notes.temperature_c,
        expected_ohm=expected_ohm(plan.circuit, settings=plan.settings, temperature_c=notes.temperature_c),
        photos=(
            *(
                Photo(file=one.photo, shows=f"splice {_name(one.id, number)}", at=one.at)
                for number, one in enumerate(notes.splice, start=1)
                if one.photo
            ),
            *(Photo(file=one.file, shows=one.shows, at=one.at) for one in notes.photo),
        ),
        off_plan=None if found is None else _off_plan(found, plan=plan, tolerance_m=tolerance_m),
    )
    remark = resistance_remark(record, loop=plan.loop)
    conflicts = plan.conflicts if remark is None else in_order((*plan.conflicts, remark))
    return replace(plan, as_built=record, conflicts=conflicts)


def _name(given: str, number: int) -> str:
    return given or f"S{number}"


def _off_plan(found: Differences, *, plan: Plan, tolerance_m: float) -> OffPlan:
    words = Wording(plan.settings, several_runs=True)
    off = [f"up to {words.length(-one.measured)} off {words.along(one)}" for one in found.off]
    missed = [f"nothing laid {words.along(one)} (stations of the plan)" for one in found.missed]
    return OffPlan(
        greatest_m=found.greatest_m,
        root_mean_square_m=found.root_mean_square_m,
        length_m=found.length_m,
        planned_length_m=found.planned_length_m,
        tolerance_m=tolerance_m,
        places=(*off, *missed),
    )
