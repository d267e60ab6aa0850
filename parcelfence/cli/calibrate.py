"""The command that fits the reach to points walked with the receiver."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parcelfence.cli.boundary import InputPath
from parcelfence.cli.run import RunCommand, finish, run_options
from parcelfence.errors import Fault, SettingsError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["calibrate"]


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
    from parcelfence.service.walking import calibrate as fit

    common = options["common_accuracy"]
    test = fit(
        walk,
        folder,
        wire=options["wire"],
        walk_crs=options["walk_crs"],
        wire_crs=options["wire_crs"],
        accuracy_m=_accuracy_m(options["accuracy"], where="--accuracy"),
        common_accuracy_m=None if common is None else _accuracy_m(common, where="--common-accuracy"),
    )
    report = CalibrationReport(test, test.troubles)
    finish(report.as_text(), report.as_data())


def _accuracy_m(text: str, *, where: str) -> float:
    from parcelfence.units import parse_length_m

    accuracy_m = parse_length_m(text)
    if accuracy_m <= 0.0:
        raise SettingsError(Fault(where=where, found=f"found {text}", must="it must be more than nothing"))
    return accuracy_m
