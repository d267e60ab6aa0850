"""The command that fits the reach to points walked with the receiver."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import InputPath
from parcelfence.cli.run import RunCommand, finish, run_options
from parcelfence.errors import Fault, InputError, SettingsError

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from parcelfence.inputs.walk_file import WalkedPoints, WalkedStations
    from parcelfence.inputs.wire_file import DrawnWire
    from parcelfence.layout.laid import LaidLoop
    from parcelfence.service.written_plan import WrittenPlan

__all__ = ["calibrate"]

_PLAN_WORD: Final = "plan"
_FARTHEST_REACHES: Final = 10.0
_HANDHELD_M: Final = 3.0
"""What a handheld satellite receiver may be off for the whole of a walk (from memory: three to five metres)."""
_ON_THE_WIRE_M: Final = 0.2
"""Nearer than any reach in use: common practice begins at 2 ft (0.61 m)."""


@click.command(cls=RunCommand)
@click.argument("walk", type=InputPath(), metavar="WALK")
@click.option("--plan", "folder", required=True, type=InputPath(), metavar="DIR", help="folder of a plan")
@click.option("--wire", type=InputPath(), metavar="FILE", help="wire as laid, instead of the planned one")
@click.option("--walk-crs", metavar="CRS", help="CRS of a walk that states none; 'plan' for that of the plan")
@click.option("--wire-crs", metavar="CRS", help="CRS of a wire that states none; 'plan' for that of the plan")
@click.option("--accuracy", default="0.15 m", show_default=True, metavar="LENGTH", help="accuracy of a point by itself")
@click.option(
    "--common-accuracy",
    metavar="LENGTH",
    help="what all points may be off together, as by GPS  [default: 3 m for GPX, the setting unstated_accuracy for "
    "other coordinates, nothing for taped distances]",
)
@run_options
def calibrate(walk: Path, folder: Path, **options: Any) -> None:
    """Fit the reach to points where a person who walked up to the wire first heard it with the receiver.

    WALK is points in GeoJSON, shapefile or GeoPackage, waypoints in GPX, or CSV: survey points in the order
    point,northing,easting,elevation,description (with --walk-crs); points with columns longitude and latitude; or
    stations of the plan with the distance taped square from the wire, in columns station, distance, side (inside or
    outside) and loop. FILE:LAYER names one of several layers. Where the signal reaches less far than computed along a
    stretch, causes are weighed; what all points have in common is told from what each has by chance. Exit status: 0
    done; 2 unusable input, with the reason.
    """
    from parcelfence.cli.calibration_report import CalibrationReport
    from parcelfence.field.current import CurrentLoop
    from parcelfence.service import calibration
    from parcelfence.service.causes import surroundings
    from parcelfence.service.signal_trouble import explain_weak_signal
    from parcelfence.service.walk_test import WalkTest
    from parcelfence.service.written_plan import read_plan

    accuracy_m = _accuracy_m(options["accuracy"], where="--accuracy")
    plan = read_plan(folder)
    wire = _wire(options["wire"], crs=options["wire_crs"], plan=plan)
    laid = plan.loops if wire is None else plan.laid(wire)
    walked = _walk(walk, crs=options["walk_crs"], plan=plan)
    points, conversion_m = _points(walked, plan=plan, laid=laid)
    common_m = _common_m(options["common_accuracy"], walk=walk, walked=walked, conversion_m=conversion_m, plan=plan)
    _check_nearness(points, walked=walked, laid=laid, reach_m=plan.receiver.reach_m)
    loops = tuple(CurrentLoop.from_line(loop.line) for loop in laid)
    test = WalkTest(
        found=calibration.calibrate(
            points, loops, receiver=plan.receiver, point_accuracy_m=accuracy_m, common_accuracy_m=common_m
        ),
        plan=plan,
        laid=laid,
        walk_name=walked.name,
        names=walked.names,
        points=points,
        wire_name="" if wire is None else wire.name,
        remarks=(*walked.repairs, *(() if wire is None else wire.repairs)),
    )
    placed = points - test.found.fit.shift_m
    troubles = explain_weak_signal(placed, loops, receiver=plan.receiver, found=test.found, around=surroundings(plan))
    report = CalibrationReport(test, troubles)
    finish(report.as_text(), report.as_data())


def _common_m(
    stated: str | None,
    *,
    walk: Path,
    walked: WalkedPoints | WalkedStations,
    conversion_m: float,
    plan: WrittenPlan,
) -> float:
    """Give what all points may be off together: nothing where distances were taped from the wire itself."""
    import math

    from parcelfence.inputs.walk_file import WalkedStations

    if isinstance(walked, WalkedStations):
        return 0.0
    unstated_m = _HANDHELD_M if walk.suffix.lower() == ".gpx" else plan.settings.unstated_accuracy_m
    own_m = unstated_m if stated is None else _accuracy_m(stated, where="--common-accuracy")
    return math.hypot(own_m, conversion_m)


def _accuracy_m(text: str, *, where: str) -> float:
    from parcelfence.units import parse_length_m

    accuracy_m = parse_length_m(text)
    if accuracy_m <= 0.0:
        raise SettingsError(Fault(where=where, found=f"found {text}", must="it must be more than nothing"))
    return accuracy_m


def _wire(path: Path | None, *, crs: str | None, plan: WrittenPlan) -> DrawnWire | None:
    if path is None:
        return None
    from parcelfence.inputs.source import Source
    from parcelfence.inputs.wire_file import read_wire

    return read_wire(replace(Source.named(path, role="wire"), crs=_crs(crs, plan=plan)))


def _walk(path: Path, *, crs: str | None, plan: WrittenPlan) -> WalkedPoints | WalkedStations:
    from parcelfence.inputs.source import Source
    from parcelfence.inputs.walk_file import read_walk

    return read_walk(replace(Source.named(path, role="walk"), crs=_crs(crs, plan=plan)), settings=plan.settings)


def _crs(given: str | None, *, plan: WrittenPlan) -> str | None:
    """Let a word stand for the CRS of the plan, which is a local one without a code."""
    return plan.frame.crs.to_wkt() if given == _PLAN_WORD else given


def _points(
    walked: WalkedPoints | WalkedStations, *, plan: WrittenPlan, laid: tuple[LaidLoop, ...]
) -> tuple[NDArray[np.float64], float]:
    """Give the points in the working CRS, shape (n, 2), and the stated accuracy of the way there."""
    from shapely import MultiPoint, get_coordinates

    from parcelfence.inputs.walk_file import WalkedStations
    from parcelfence.service.walk_test import points_beside

    if isinstance(walked, WalkedStations):
        return points_beside(walked, planned=plan.loops, laid=laid), 0.0
    conversion = plan.frame.conversion_from(walked.crs, where=walked.name)
    points: NDArray[np.float64] = get_coordinates(conversion.geometry(MultiPoint(walked.coordinates)))
    return points, conversion.operation.accuracy_m or 0.0


def _check_nearness(
    points: NDArray[np.float64],
    *,
    walked: WalkedPoints | WalkedStations,
    laid: tuple[LaidLoop, ...],
    reach_m: float,
) -> None:
    """Refuse a walk that lies elsewhere, or on the wire itself."""
    import numpy as np
    import shapely

    wire = shapely.MultiLineString([loop.line for loop in laid])
    away_m = float(np.median(shapely.distance(shapely.points(points), wire)))
    if away_m > _FARTHEST_REACHES * reach_m:
        found = f"half of its points lie {away_m:,.0f} m and more from the wire"
        must = f"a walk lies beside the wire, which is set to a reach of {reach_m:.2f} m"
        remedy = "check that it belongs to this plan, and its CRS"
    elif away_m < _ON_THE_WIRE_M:
        found = f"half of its points lie within {_ON_THE_WIRE_M} m of the wire"
        must = "it holds the places where the receiver was first heard, not the wire"
        remedy = "walk up to the wire and mark where the receiver is first heard"
    else:
        return
    raise InputError([Fault(where=walked.name, found=found, must=must, remedy=remedy), *walked.repairs])
