"""Screening: many parcels become a table of outcomes, one row each, whatever happens to any of them.

The work is cut into slices of the parcel table.  A task names its slice and never carries geometries; a worker reads
the inputs once.  Any :class:`concurrent.futures.Executor` will do, so that a cluster stands behind the same line as the
processes of this machine.
"""

from __future__ import annotations

from concurrent.futures import as_completed
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

import shapely

from parcelfence.errors import InputError, NoLoopError, ParcelFenceError
from parcelfence.inputs.reader import read_table
from parcelfence.planning import measure
from parcelfence.rules.registry import find_conflicts
from parcelfence.site.features import identifier
from parcelfence.site.reading import site_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Executor

    from parcelfence.inputs.source import Source
    from parcelfence.inputs.table import Record, Table
    from parcelfence.planning import Measured
    from parcelfence.settings import Settings

__all__ = ["Outcome", "ScreeningJob", "outcomes", "screen", "slices"]

SLICE: Final = 200
"""Parcels in one task: enough to make the handing over of tasks negligible, few enough to show progress."""

Status = Literal["planned", "no_loop", "refused", "failed"]


@dataclass(frozen=True, kw_only=True)
class ScreeningJob:
    """What is the same for all parcels of a screening."""

    sources: tuple[Source, ...]
    settings: Settings
    working_crs: str | None = None


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one parcel.

    Parameters
    ----------
    position : int
        Place in the file, from 1.
    parcel_id : str
        Its identifier.
    status : str
        ``"planned"``; ``"no_loop"``: the land leaves no room; ``"refused"``: its input cannot be used;
        ``"failed"``: a fault of parcelfence itself, to be reported.
    reason : str
        Why there is no plan; empty for a plan.
    area_m2, enclosed_m2, free_m2, loop_m, wire_m : float
        Figures of the plan; zero where there is none.
    must_fix, cautions, notes : int
        Conflicts by severity.
    rules : str
        Rules with conflicts that must be fixed, joined by commas.
    wire : bytes
        The single loops as a MultiLineString on WGS 84, in WKB; empty where there is none.
    """

    position: int
    parcel_id: str
    status: Status
    reason: str = ""
    area_m2: float = 0.0
    enclosed_m2: float = 0.0
    free_m2: float = 0.0
    loop_m: float = 0.0
    wire_m: float = 0.0
    must_fix: int = 0
    cautions: int = 0
    notes: int = 0
    rules: str = ""
    wire: bytes = b""


def slices(job: ScreeningJob, *, size: int = SLICE) -> list[tuple[int, int]]:
    """Cut the parcels of a job into slices, each from a first place up to but without a last one."""
    count = len(_parcels(job).records)
    return [(start, min(start + size, count)) for start in range(0, count, size)]


def screen(
    job: ScreeningJob, tasks: Sequence[tuple[int, int]], *, executor: Executor | None = None
) -> Iterator[tuple[tuple[int, int], list[Outcome]]]:
    """Work through slices.

    Parameters
    ----------
    job : ScreeningJob
        Inputs and settings.
    tasks : sequence of (int, int)
        Slices still to be done; leave out those that an earlier run draft.
    executor : Executor, optional
        Where to work; in this process where left out.

    Yields
    ------
    tuple
        Each slice with its outcomes, as it is draft.
    """
    if executor is None:
        yield from ((task, outcomes(job, task)) for task in tasks)
        return
    running = {executor.submit(outcomes, job, task): task for task in tasks}
    for future in as_completed(running):
        yield running.pop(future), future.result()


def outcomes(job: ScreeningJob, task: tuple[int, int]) -> list[Outcome]:
    """Plan every parcel of one slice."""
    tables = _tables(job)
    start, stop = task
    return [_outcome(record, tables, job=job) for record in _parcels(job).records[start:stop]]


def _outcome(record: Record, tables: Sequence[Table], *, job: ScreeningJob) -> Outcome:
    parcel_id = identifier(record, _parcels(job))

    def without_plan(status: Status, error: Exception) -> Outcome:
        reason = str(error) if isinstance(error, ParcelFenceError) else f"{type(error).__name__}: {error}"
        return Outcome(position=record.position + 1, parcel_id=parcel_id, status=status, reason=reason)

    try:
        site = site_of([record], tables, settings=job.settings, parcel_id=parcel_id, working_crs=job.working_crs)
        return _planned(measure(site, job.settings), position=record.position + 1)
    except NoLoopError as error:
        return without_plan("no_loop", error)
    except ParcelFenceError as error:
        return without_plan("refused", error)
    except Exception as error:  # noqa: BLE001  (one parcel must not end the screening of thousands)
        return without_plan("failed", error)


def _planned(measured: Measured, *, position: int) -> Outcome:
    draft = measured.draft
    loops = shapely.MultiLineString([run.line for run in draft.loop.signal_runs])
    conflicts = find_conflicts(draft)
    severities = [conflict.severity for conflict in conflicts]
    must_fix = {conflict.rule for conflict in conflicts if conflict.severity == "must_fix"}
    return Outcome(
        position=position,
        parcel_id=draft.site.parcel_id,
        status="planned",
        area_m2=draft.site.parcel.area,
        enclosed_m2=draft.loop.enclosed.area,
        free_m2=draft.zones.free_ground.area,
        loop_m=loops.length,
        wire_m=measured.sequence.conductor_length_m,
        must_fix=severities.count("must_fix"),
        cautions=severities.count("caution"),
        notes=severities.count("note"),
        rules=",".join(sorted(must_fix)),
        wire=shapely.to_wkb(draft.site.frame.to_wgs84().geometry(loops)),
    )


@lru_cache(maxsize=1)
def _tables(job: ScreeningJob) -> tuple[Table, ...]:
    return tuple(read_table(source) for source in job.sources)


def _parcels(job: ScreeningJob) -> Table:
    found = [table for table in _tables(job) if table.source.role == "parcels"]
    if len(found) != 1:
        message = f"A screening works through one file of parcels; {len(found)} were given."
        raise InputError(message)
    return found[0]
