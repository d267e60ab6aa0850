"""One parcel of many: planned as a property of its own, whatever becomes of it.

The screening of a file, the functions from GeoDataFrame to GeoDataFrame and the sub-commands of ``fio`` all ask here.
"""

from __future__ import annotations

import ctypes
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from parcelfence.errors import NoLoopError, ParcelFenceError
from parcelfence.planning import measure
from parcelfence.rules.registry import find_conflicts
from parcelfence.site.features import identifier
from parcelfence.site.reading import site_of

if TYPE_CHECKING:
    from collections.abc import Generator, Sequence

    from parcelfence.conflict import Conflict
    from parcelfence.inputs.table import Record, Table
    from parcelfence.planning import Measured
    from parcelfence.settings import Settings

__all__ = ["Lot", "Status", "plan_lot"]

Status = Literal["planned", "no_loop", "refused", "failed"]


@dataclass(frozen=True, kw_only=True)
class Lot:
    """What became of one parcel.

    Parameters
    ----------
    position : int
        Its place in the table, from 0.
    parcel_id : str
        Its identifier.
    status : str
        ``"planned"``; ``"no_loop"``: the land leaves no room; ``"refused"``: its input cannot be used, or it took too
        long; ``"failed"``: a fault of parcelfence itself, to be reported.
    reason : str
        Why there is no plan; empty for a plan.
    measured : Measured or None
        The loop with its zones, if it was planned.
    conflicts : tuple of Conflict
        What the rules say of it.
    """

    position: int
    parcel_id: str
    status: Status
    reason: str = ""
    measured: Measured | None = None
    conflicts: tuple[Conflict, ...] = ()


class _TimeLimitError(BaseException):
    """Raised in the thread that plans a parcel for too long; nothing on the way catches it."""


def plan_lot(
    position: int,
    tables: Sequence[Table],
    *,
    settings: Settings,
    working_crs: str | None = None,
    limit_s: float | None = None,
) -> Lot:
    """Plan one parcel of a table; never raises.

    Parameters
    ----------
    position : int
        Its place in the table of parcels, from 0.
    tables : sequence of Table
        The parcels and all that lies around them.
    settings : Settings
        How it is planned.
    working_crs : str, optional
        Projected CRS to work in, instead of a local one.
    limit_s : float, optional
        Longest time that it may take.

    Returns
    -------
    Lot
        With the same figures as a full plan of the parcel.
    """
    parcels = next(table for table in tables if table.source.role == "parcels")
    record = _record(parcels, position)
    if record is None:
        left_out = parcels.left_out.get(position)
        reason = left_out.reason if left_out is not None else "its geometry cannot be used"
        where = f"{parcels.source.name}, feature {position + 1}: {reason}"
        return Lot(position=position, parcel_id=f"parcel {position + 1}", status="refused", reason=where)
    parcel_id = identifier(record, parcels)

    def without_plan(status: Status, error: Exception) -> Lot:
        reason = str(error) if isinstance(error, ParcelFenceError) else f"{type(error).__name__}: {error}"
        return Lot(position=position, parcel_id=parcel_id, status=status, reason=reason)

    try:
        with _time_limit(limit_s):
            site = site_of([record], tables, settings=settings, parcel_id=parcel_id, working_crs=working_crs)
            measured = measure(site, settings)
            conflicts = find_conflicts(measured.draft)
    except _TimeLimitError:
        reason = f"it was not planned within {limit_s:g} s"
        return Lot(position=position, parcel_id=parcel_id, status="refused", reason=reason)
    except NoLoopError as error:
        return without_plan("no_loop", error)
    except ParcelFenceError as error:
        return without_plan("refused", error)
    except Exception as error:  # noqa: BLE001  (one parcel must not end the planning of thousands)
        return without_plan("failed", error)
    return Lot(position=position, parcel_id=parcel_id, status="planned", measured=measured, conflicts=tuple(conflicts))


def _record(parcels: Table, position: int) -> Record | None:
    """Find a record by its place in the file; records stand in the order of the file."""
    low, high = 0, len(parcels.records)
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if parcels.records[middle].position < position else (low, middle)
    found = parcels.records[low] if low < len(parcels.records) else None
    return found if found is not None and found.position == position else None


@contextmanager
def _time_limit(limit_s: float | None) -> Generator[None]:
    """End what is done inside after a time, in whatever thread that is; compiled code runs to its end first."""
    if limit_s is None:
        yield
        return
    thread, over, lock = threading.get_ident(), threading.Event(), threading.Lock()

    def end() -> None:
        with lock:
            if not over.is_set():
                ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(_TimeLimitError))

    timer = threading.Timer(limit_s, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        with lock:
            over.set()
        timer.cancel()
