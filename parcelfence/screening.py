"""Screening: many parcels become a table of outcomes, one row each, whatever happens to any of them.

The work is cut into slices of the file of parcels.  A task names its slice and never carries geometries: whoever works
on it reads the slice, and what lies around it, from the files.  So no worker ever holds a whole county, and any
:class:`concurrent.futures.Executor` will do: processes of this machine, or a cluster behind the same line.
"""

from __future__ import annotations

import os
from concurrent.futures import FIRST_COMPLETED, wait
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence.errors import Fault, InputError, ParcelFenceError, near_matches
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.vector_file import Box, Rows, count_features
from parcelfence.many import Lot, plan_lot
from parcelfence.planning import finish
from parcelfence.site.selection import answers
from parcelfence.site.surroundings import box_around

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Executor, Future

    from pyproj import CRS

    from parcelfence.inputs.source import Source
    from parcelfence.inputs.table import Table
    from parcelfence.many import Status
    from parcelfence.settings import Settings

__all__ = ["Outcome", "ScreeningJob", "Task", "WorkerLostError", "count_parcels", "outcomes", "screen", "slices"]

SLICE: Final = 50
"""Parcels in one task: few enough to show rows within seconds, enough to make the reading of files negligible."""
_MOST_TASKS: Final = 20_000
_SPARSE: Final = 200.0
"""A box around parcels is read at once unless it is so many times larger than they are."""

Task = tuple[int, int]


class WorkerLostError(Exception):
    """The process that worked on a task is gone, several times over."""


@dataclass(frozen=True, kw_only=True)
class ScreeningJob:
    """What is the same for all parcels of a screening.

    Parameters
    ----------
    sources : tuple of Source
        One file of parcels, and others.
    settings : Settings
        How each parcel is planned.
    reaches_m : tuple of float
        Reaches for each of which a parcel gets a row; that of the settings where empty.
    select : tuple of str
        ``FIELD=VALUE``; parcels that answer to none are left out; all are taken where empty.
    keep : tuple of str
        Columns of the parcels that stand in the rows, too.
    prices : tuple of (str, float)
        Unit prices, by the names of :data:`parcelfence.takeoff.pricing.PRICES`.
    limit_s : float or None
        Longest time for one parcel.
    working_crs : str or None
        Projected CRS to work in, instead of a local one for each parcel.
    """

    sources: tuple[Source, ...]
    settings: Settings
    reaches_m: tuple[float, ...] = ()
    select: tuple[str, ...] = ()
    keep: tuple[str, ...] = ()
    prices: tuple[tuple[str, float], ...] = ()
    limit_s: float | None = None
    working_crs: str | None = None

    @property
    def parcels(self) -> Source:
        """The file of parcels."""
        found = [source for source in self.sources if source.role == "parcels"]
        if len(found) != 1:
            message = f"A screening works through one file of parcels; {len(found)} were given."
            raise InputError(message)
        return found[0]

    @property
    def variants(self) -> tuple[Settings, ...]:
        """The settings for each reach."""
        if not self.reaches_m:
            return (self.settings,)
        return tuple(self.settings.model_copy(update={"reach_m": reach_m}) for reach_m in self.reaches_m)


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One row: what became of one parcel at one reach.  The columns are described in ``layers.SCREENING``."""

    kept: dict[str, Any] = field(default_factory=dict)
    position: int
    parcel_id: str
    status: Status
    reason: str = ""
    reach_m: float = 0.0
    area_m2: float = 0.0
    enclosed_m2: float = 0.0
    free_m2: float = 0.0
    loop_m: float = 0.0
    wire_m: float = 0.0
    cost: float | None = None
    must_fix: int = 0
    cautions: int = 0
    notes: int = 0
    rules: str = ""
    wire: bytes = b""


def count_parcels(job: ScreeningJob) -> int:
    """Count the features of the file of parcels, usable or not; raises InputError if it cannot be opened."""
    source = job.parcels
    count = count_features(source.path, layer=source.layer, role=source.role)
    found = _whole(source).features if count is None else count
    fields = (_whole(source) if count is None else read_table(source, window=Rows(0, 1))).fields
    for name in (*job.keep, *(choice.partition("=")[0].strip() for choice in job.select)):
        if name not in fields and name != "feature":
            raise InputError(
                Fault(where=source.name, found=f"there is no field {name!r}", remedy=near_matches(name, fields))
            )
    return found


def slices(job: ScreeningJob, *, size: int | None = None) -> list[Task]:
    """Cut the parcels of a job into slices, each from a first place up to but without a last one."""
    count = count_parcels(job)
    size = size or max(SLICE, count // _MOST_TASKS)
    return [(start, min(start + size, count)) for start in range(0, count, size)]


def screen(
    job: ScreeningJob, tasks: Sequence[Task], *, executor: Executor | None = None, ahead: int = 64
) -> Iterator[tuple[Task, list[Outcome]]]:
    """Work through slices.

    Parameters
    ----------
    job : ScreeningJob
        Inputs and settings.
    tasks : sequence of (int, int)
        Slices still to be done; leave out those that an earlier run finished.
    executor : Executor, optional
        Where to work; in this process where left out.
    ahead : int
        Tasks that are handed to the executor at a time.

    Yields
    ------
    tuple
        Each slice with its outcomes, as it is finished.

    Raises
    ------
    ParcelFenceError
        If a file cannot be used.
    """
    if executor is None:
        yield from ((task, outcomes(job, task)) for task in tasks)
        return
    waiting = iter(tasks)
    running: dict[Future[list[Outcome]], Task] = {
        executor.submit(alone, job, task): task for task in islice(waiting, ahead)
    }
    while running:
        finished, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in finished:
            task = running.pop(future)
            for following in islice(waiting, 1):
                running[executor.submit(alone, job, following)] = following
            try:
                found = future.result()
            except ParcelFenceError:
                raise
            except Exception:  # noqa: BLE001  (every kind of executor has its own word for a lost worker)
                found = _one_by_one(job, task, executor=executor)
            yield task, found


def _one_by_one(job: ScreeningJob, task: Task, *, executor: Executor) -> list[Outcome]:
    """Work parcel by parcel, so that one that ends its worker costs no other its row; raises ParcelFenceError."""
    found: list[Outcome] = []
    for position in range(*task):
        try:
            found += executor.submit(alone, job, (position, position + 1)).result()
        except ParcelFenceError:
            raise
        except Exception as error:  # noqa: BLE001  (as above)
            reason = f"what planned it ended without a word, perhaps for want of memory ({type(error).__name__})"
            found.append(
                Outcome(position=position + 1, parcel_id=f"parcel {position + 1}", status="failed", reason=reason)
            )
    return found


def alone(job: ScreeningJob, task: Task) -> list[Outcome]:
    """Do as :func:`outcomes` in a worker that stands beside others: without threads of its own for every core."""
    os.environ["NUMBA_NUM_THREADS"] = "1"
    return outcomes(job, task)


def outcomes(job: ScreeningJob, task: Task) -> list[Outcome]:
    """Plan every parcel of one slice, at every reach."""
    parcels = _part(job.parcels, Rows(*task))
    records = {record.position: record for record in parcels.records}
    chosen = [
        position
        for position in range(*task)
        if not job.select or (position in records and answers(records[position], job.select))
    ]
    found: list[Outcome] = []
    for positions, tables in _groups(job, chosen, parcels=parcels):
        for position in positions:
            attributes = records[position].attributes if position in records else {}
            kept = {name: attributes.get(name) for name in job.keep}
            for settings in job.variants:
                lot = plan_lot(position, tables, settings=settings, working_crs=job.working_crs, limit_s=job.limit_s)
                found.append(_outcome(lot, kept=kept, settings=settings, prices=dict(job.prices)))
    return sorted(found, key=lambda one: one.position)


def _outcome(lot: Lot, *, kept: dict[str, Any], settings: Settings, prices: dict[str, float]) -> Outcome:
    row = Outcome(
        kept=kept,
        position=lot.position + 1,
        parcel_id=lot.parcel_id,
        status=lot.status,
        reason=lot.reason,
        reach_m=settings.reach_m,
    )
    if lot.measured is None:
        return row
    draft = lot.measured.draft
    loops = shapely.MultiLineString([run.line for run in draft.loop.signal_runs])
    severities = [conflict.severity for conflict in lot.conflicts]
    must_fix = {conflict.rule for conflict in lot.conflicts if conflict.severity == "must_fix"}
    return replace(
        row,
        area_m2=draft.site.parcel.area,
        enclosed_m2=draft.loop.enclosed.area,
        free_m2=draft.zones.free_ground.area,
        loop_m=loops.length,
        wire_m=lot.measured.sequence.conductor_length_m,
        cost=finish(lot.measured, prices=prices).take_off.cost if prices else None,
        must_fix=severities.count("must_fix"),
        cautions=severities.count("caution"),
        notes=severities.count("note"),
        rules=",".join(sorted(must_fix)),
        wire=shapely.to_wkb(draft.site.frame.to_wgs84().geometry(loops)),
    )


def _groups(job: ScreeningJob, positions: list[int], *, parcels: Table) -> Iterator[tuple[list[int], list[Table]]]:
    """Give parcels that lie together with all that lies around them."""
    bounds = {record.position: record.geometry.bounds for record in parcels.records}
    usable = [position for position in positions if position in bounds]
    without = [position for position in positions if position not in bounds]
    if without:
        yield without, [parcels]
    for group in _clusters(usable, np.array([bounds[position] for position in usable]).reshape(-1, 4)):
        boxes = np.array([bounds[position] for position in group])
        box = (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())
        yield group, [_around(source, box, parcels=parcels, settings=job.settings) for source in job.sources]


def _clusters(positions: list[int], bounds: np.ndarray[Any, Any]) -> Iterator[list[int]]:
    """Part parcels into groups whose common box is not much larger than they are."""
    if not positions:
        return
    size = bounds[:, 2:].max(axis=0) - bounds[:, :2].min(axis=0)
    own = np.prod(bounds[:, 2:] - bounds[:, :2], axis=1).sum()
    if len(positions) == 1 or np.prod(size) <= _SPARSE * own:
        yield positions
        return
    order = np.argsort(bounds[:, int(size[1] > size[0])], kind="stable")
    for half in (order[: len(order) // 2], order[len(order) // 2 :]):
        yield from _clusters([positions[place] for place in half], bounds[half])


def _around(source: Source, box: tuple[float, float, float, float], *, parcels: Table, settings: Settings) -> Table:
    """Read what lies in a box and near it, without what is said of the whole file."""
    count = _counted(source)
    if count is None:
        return _whole(source)
    bounds = box_around(box, parcels.crs, into=_crs(source), mark_join_gap_m=settings.mark_join_gap_m)
    near = _part(source, Box(bounds))
    if source.role != "parcels":
        return near
    own = {record.position for record in parcels.records}
    others = [record for record in near.records if record.position not in own]
    return replace(parcels, records=tuple(sorted((*parcels.records, *others), key=lambda one: one.position)))


def _part(source: Source, window: Rows | Box) -> Table:
    """Read a part of a file, or cut it out of one that can only be read whole."""
    if _counted(source) is not None:
        return _without_whole(read_table(source, window=window))
    table = _whole(source)
    if isinstance(window, Box):
        return table
    records = tuple(record for record in table.records if window.start <= record.position < window.stop)
    return replace(table, records=records)


@lru_cache(maxsize=16)
def _counted(source: Source) -> int | None:
    return count_features(source.path, layer=source.layer, role=source.role)


@lru_cache(maxsize=16)
def _crs(source: Source) -> CRS:
    return read_table(source, window=Rows(0, 1)).crs


@lru_cache(maxsize=16)
def _whole(source: Source) -> Table:
    """Read a file that can only be read whole, once for all slices of this process."""
    return _without_whole(read_table(source))


def _without_whole(table: Table) -> Table:
    """Leave out what is said of a file, or of a part of it, as a whole: a row speaks of its parcel."""
    return replace(table, remarks=(), left_out=table.left_out if table.source.role == "parcels" else {})
