"""A written plan, read back: its settings, its working CRS, its wire and its layers."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import starmap
from typing import TYPE_CHECKING, Any, Final, get_args

from shapely import GeometryCollection, LineString

from parcelfence.errors import Fault, InputError
from parcelfence.field.current import Receiver
from parcelfence.inputs.formats import read_raw
from parcelfence.inputs.source import Source
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.inputs.wire_file import read_wire
from parcelfence.layers import PLAN_FILE, PROGRAM, SUMMARY
from parcelfence.layout.laid import laid_loops
from parcelfence.layout.loop import Part, Run
from parcelfence.settings import Settings
from parcelfence.site.frame import LocalFrame

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

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
    runs : tuple of Run
        Every leg as it lies, lead-ins among them, in the order of pulling.
    folder : Path
        Where it stands.
    summary : mapping
        All of its summary.
    """

    settings: Settings
    receiver: Receiver
    frame: LocalFrame
    loops: tuple[LaidLoop, ...]
    runs: tuple[Run, ...]
    folder: Path
    summary: Mapping[str, Any]

    def features(self, layer: str) -> tuple[tuple[BaseGeometry, Mapping[str, Any]], ...]:
        """Give the features of a layer in the working CRS with their attributes; raises as its reader does."""
        source = Source(role=layer, path=self.folder / PLAN_FILE, layer=layer)
        raw = read_raw(source)
        if raw.crs is None or not raw.features:
            return ()
        conversion = self.frame.conversion_from(raw.crs, where=f"{PLAN_FILE} {layer}")
        found = ((feature.geometry, feature.attributes) for feature in raw.features)
        return tuple((conversion.geometry(shape), words) for shape, words in found if shape is not None)

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
        raise InputError(Fault(where=str(folder), found=found, remedy="write the plan again with `formats` gpkg"))
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
    bare = WrittenPlan(
        settings=settings,
        receiver=receiver,
        frame=frame,
        loops=_loops(wire, frame=frame),
        runs=(),
        folder=folder,
        summary=summary,
    )
    return replace(bare, runs=tuple(starmap(_run, bare.features(_LAYER))))


def _run(line: BaseGeometry, words: Mapping[str, Any]) -> Run:
    """Take one leg of the wire layer as the run that it is."""
    parts: tuple[Part, ...] = get_args(Part)
    part: Part = next((known for known in parts if known == words.get("part")), "loop")
    return Run(
        part=part,
        loop_id=str(words.get("loop_id") or ""),
        line=LineString(line.coords),
        current=0.0 if part == "lead_in" else 1.0,
        start_station_m=float(words.get("start_station_m") or 0.0),
    )


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
        where=str(folder),
        found=found,
        must="it must be a folder that parcelfence plan or parcelfence check has written",
        remedy="give the folder that a plan was written into",
    )


def _loops(wire: DrawnWire, *, frame: LocalFrame) -> tuple[LaidLoop, ...]:
    conversion = frame.conversion_from(wire.crs, where=wire.name)
    moved = [replace(one, line=LineString(conversion.geometry(one.line).coords)) for one in wire.lines]
    return tuple(sorted(laid_loops(moved, name=wire.name), key=lambda loop: loop.inner))
