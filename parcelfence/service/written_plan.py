"""A written plan, read back: its settings, its working CRS and its loops."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from shapely import GeometryCollection, LineString

from parcelfence.errors import Fault, InputError
from parcelfence.field.current import Receiver
from parcelfence.inputs.source import Source
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.inputs.wire_file import read_wire
from parcelfence.layers import PLAN_FILE, PROGRAM, SUMMARY
from parcelfence.layout.laid import laid_loops
from parcelfence.settings import Settings
from parcelfence.site.frame import LocalFrame

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.inputs.wire_file import DrawnWire
    from parcelfence.layout.laid import LaidLoop

__all__ = ["WrittenPlan", "read_plan"]

_LAYER: Final = "wire"


@dataclass(frozen=True, kw_only=True)
class WrittenPlan:
    """What a walk is held against.

    Parameters
    ----------
    settings : Settings
        As the plan was made with.
    receiver : Receiver
        Reach beside a long straight wire, height and core ratio.
    frame : LocalFrame
        Working CRS.
    loops : tuple of LaidLoop
        As planned, outer loops first, in the working CRS.
    """

    settings: Settings
    receiver: Receiver
    frame: LocalFrame
    loops: tuple[LaidLoop, ...]

    def laid(self, wire: DrawnWire) -> tuple[LaidLoop, ...]:
        """Take the loops of a surveyed wire into the working CRS; raises as its parts do."""
        return _loops(wire, frame=self.frame)


def read_plan(folder: Path) -> WrittenPlan:
    """Read a folder that ``parcelfence plan`` or ``parcelfence check`` wrote.

    Parameters
    ----------
    folder : Path
        With ``summary.json`` and ``plan.gpkg``.

    Raises
    ------
    InputError
        If there is no such folder, or it holds no plan.
    """
    summary = _summary(folder)
    if not (folder / PLAN_FILE).is_file():
        found = f"the plan was written without {PLAN_FILE}"
        raise InputError(Fault(where=str(folder), found=found, remedy="write the plan again with --formats gpkg"))
    try:
        settings = Settings.from_words(summary["settings"], where=f"{folder / SUMMARY}")
        receiver = Receiver(**summary["receiver"])
        working = summary["crs"]["working"]
        crs = crs_from_words(working["code"] or working["wkt"], where=str(folder / SUMMARY))
    except (KeyError, TypeError) as error:
        raise InputError(_no_plan(folder, found=f"its {SUMMARY} lacks what a plan states ({error})")) from error
    wire = read_wire(Source(role="wire", path=folder / PLAN_FILE, layer=_LAYER))
    around = GeometryCollection([one.line for one in wire.lines])
    frame = LocalFrame.on(crs, around, source_crs=wire.crs, allow_ballpark=settings.allow_ballpark)
    return WrittenPlan(settings=settings, receiver=receiver, frame=frame, loops=_loops(wire, frame=frame))


def _summary(folder: Path) -> dict[str, Any]:
    if not folder.is_dir():
        what = "it is a file" if folder.exists() else "there is no such folder"
        raise InputError(_no_plan(folder, found=what))
    try:
        content = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
        ours = content["program"]["name"] == PROGRAM
    except FileNotFoundError as error:
        raise InputError(_no_plan(folder, found=f"it holds no {SUMMARY}")) from error
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(_no_plan(folder, found=f"its {SUMMARY} is not one of a plan")) from error
    if not ours:
        raise InputError(_no_plan(folder, found=f"its {SUMMARY} was not written by {PROGRAM}"))
    summary: dict[str, Any] = content
    return summary


def _no_plan(folder: Path, *, found: str) -> Fault:
    return Fault(
        where=f"--plan {folder}",
        found=found,
        must="it must be a folder that parcelfence plan or parcelfence check has written",
        remedy="give the folder that was named after --out",
    )


def _loops(wire: DrawnWire, *, frame: LocalFrame) -> tuple[LaidLoop, ...]:
    conversion = frame.conversion_from(wire.crs, where=wire.name)
    moved = [replace(one, line=LineString(conversion.geometry(one.line).coords)) for one in wire.lines]
    return tuple(sorted(laid_loops(moved, name=wire.name), key=lambda loop: loop.inner))
