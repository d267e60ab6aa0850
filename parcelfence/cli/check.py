"""The command that checks a wire that somebody drew, or surveyed after laying."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import InputPath, OutputPath
from parcelfence.cli.options import (
    SectionedCommand,
    elevation_options,
    given_elevation,
    given_settings,
    setting_options,
)
from parcelfence.cli.run import finish, progress, run_options

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.finished_plan import Plan
    from parcelfence.inputs.project_file import Project
    from parcelfence.inputs.source import Source
    from parcelfence.layout.loop import Loop
    from parcelfence.service.differences import Differences
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["check"]

_SITE_WORD: Final = "site"
_PLAN_LAYER: Final = "wire"
_MOST_SHOWN: Final = 8


@click.command(cls=SectionedCommand)
@click.argument("wire", type=InputPath(), metavar="WIRE")
@click.option("--site", "project", required=True, type=InputPath(), metavar="SITE.toml", help="site and settings")
@click.option("--plan", "plan_folder", type=InputPath(), metavar="DIR", help="plan to compare with")
@click.option("--tolerance", default="0.3 m", show_default=True, metavar="LENGTH", help="offset that is allowed for")
@click.option("--differences", type=OutputPath(), metavar="FILE", help="CSV to write the offset along the wire into")
@click.option("--record", type=InputPath(), metavar="FILE", help="date, ohms, splices and photos of the wire as laid")
@click.option("--layer", metavar="NAME", help="layer of the wire in a file that holds several")
@click.option("--wire-crs", metavar="CRS", help="CRS of the wire if its file states none; 'site' for the working CRS")
@click.option("--wire-accuracy", metavar="LENGTH", help="accuracy of the wire's own positions, as surveyed or recorded")
@click.option("--out", type=OutputPath(), metavar="DIR", help="folder to write the checked plan into")
@click.option("--overwrite", is_flag=True, help="replace an earlier plan in that folder")
@run_options
@elevation_options
@setting_options
def check(wire: Path, project: Path, **options: Any) -> None:
    """Check a wire by the rules of a plan, with its signal and its lengths.

    WIRE is GeoJSON, shapefile, GeoPackage, FlatGeobuf, DXF, GPX or survey points in CSV, drawn elsewhere or surveyed
    as built. With --record (TOML: laid_on, laid_by, resistance_ohm, temperature_c, level, depth, notes, [[splice]] and
    [[photo]]) the folder is the as-built record that replaces the plan, with a sheet for the next digging crew. Exit
    status: 0 nothing must be fixed; 3 something must be; 2 unusable input, with the reason.
    """
    from dataclasses import replace

    from parcelfence.cli.report import conflict_report, plan_report, plan_result, plan_status
    from parcelfence.inputs.project_file import read_project
    from parcelfence.outputs.folder import check_target
    from parcelfence.units import parse_length_m

    job, out = read_project(project, overrides=given_settings(options)), options["out"]
    tolerance_m = parse_length_m(options["tolerance"])
    table: Path | None = options["differences"]
    _check_options(table, plan_folder=options["plan_folder"], overwrite=options["overwrite"])
    if out is not None:
        check_target(out, overwrite=options["overwrite"])
    with progress("reading", "checking", "writing") as step:
        step("reading")
        from parcelfence.site.reading import project_site

        site = project_site(replace(job, elevation=given_elevation(options, named=job.elevation)))
        from parcelfence.service.checking import read_loop

        site, loop = read_loop(_source(wire, options, site=site), site=site, settings=job.settings)
        found = _compared(loop, options["plan_folder"], site=site, settings=job.settings, tolerance_m=tolerance_m)
        step("checking")
        if found is not None:
            loop = _with_remarks(loop, found, settings=job.settings, tolerance_m=tolerance_m)
        finished = _assessed(loop, job, site=site, record=options["record"], found=found, tolerance_m=tolerance_m)
        step("writing")
        if out is not None:
            finished.write(out, overwrite=options["overwrite"])
    lines = conflict_report(finished) if out is None else [plan_report(finished, out=out)]
    result = plan_result(finished, out=out)
    if not options["wire_accuracy"]:
        lines.append(
            "How exact the positions of the wire are is not stated (--wire-accuracy): they are taken as they are."
        )
    if found is not None:
        lines.append(_difference_report(found, settings=job.settings))
        result["differences"] = _difference_result(found)
        if table is not None:
            _write_differences(found, table)
    finish("\n".join(lines), result, status=plan_status(finished))


def _source(wire: Path, options: dict[str, Any], *, site: Site) -> Source:
    from parcelfence.inputs.source import Source
    from parcelfence.units import parse_length_m

    crs = site.frame.crs.to_wkt() if options["wire_crs"] == _SITE_WORD else options["wire_crs"]
    accuracy_m = parse_length_m(options["wire_accuracy"]) if options["wire_accuracy"] else None
    return Source(role="wire", path=wire, layer=options["layer"], crs=crs, accuracy_m=accuracy_m)


def _check_options(table: Path | None, *, plan_folder: Path | None, overwrite: bool) -> None:
    if table is None:
        return
    if plan_folder is None:
        raise click.UsageError("--differences needs --plan DIR to compare with.")
    if table.exists() and not overwrite:
        raise click.UsageError(f"{table} exists already; choose another name, or replace it with --overwrite.")


def _compared(
    loop: Loop, folder: Path | None, *, site: Site, settings: Settings, tolerance_m: float
) -> Differences | None:
    if folder is None:
        return None
    from parcelfence.inputs.source import Source
    from parcelfence.layers import PLAN_FILE
    from parcelfence.service.checking import read_loop
    from parcelfence.service.differences import differences

    source = Source(role="wire", path=folder / PLAN_FILE, layer=_PLAN_LAYER)
    _, planned = read_loop(source, site=site, settings=settings)
    return differences(loop, planned, tolerance_m=tolerance_m)


def _with_remarks(loop: Loop, found: Differences, *, settings: Settings, tolerance_m: float) -> Loop:
    from dataclasses import replace

    from parcelfence.service.differences import off_plan_remarks

    remarks = off_plan_remarks(found, settings=settings, tolerance_m=tolerance_m)
    return replace(loop, remarks=(*loop.remarks, *remarks))


def _assessed(
    loop: Loop, job: Project, *, site: Site, record: Path | None, found: Differences | None, tolerance_m: float
) -> Plan:
    """Assess the wire, with the record of the crew where there is one."""
    from parcelfence.planning import assess

    if record is None:
        return assess(site, job.settings, loop=loop, prices=job.prices, crew=job.crew)
    from parcelfence.inputs.as_built_notes import read_as_built_notes
    from parcelfence.service.as_built import recorded
    from parcelfence.takeoff.as_built import recorded_splices

    notes = read_as_built_notes(record)
    splices = recorded_splices(notes, loop=loop, settings=job.settings, where=record.name)
    plan = assess(site, job.settings, loop=loop, prices=job.prices, crew=job.crew, splices=splices)
    return recorded(plan, notes, found=found, tolerance_m=tolerance_m)


def _write_differences(found: Differences, path: Path) -> None:
    """Write the offset along the wire: run, chainage, northing, easting, offset (positive outside the plan)."""
    import csv

    from parcelfence.outputs.escaping import csv_text
    from parcelfence.outputs.folder import whole_file

    with whole_file(path) as partial, partial.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("loop_id", "station_m", "northing_m", "easting_m", "offset_m"))
        for run, station_m, point, offset_m in zip(
            found.run_of, found.station_m, found.points, found.offset_m, strict=True
        ):
            place = f"{station_m:.3f}", f"{point.y:.3f}", f"{point.x:.3f}"
            rows.writerow((csv_text(found.runs[run].loop_id), *place, f"{offset_m + 0.0:.3f}"))


def _difference_result(found: Differences) -> dict[str, Any]:
    return {
        "greatest_m": round(found.greatest_m, 4),
        "root_mean_square_m": round(found.root_mean_square_m, 4),
        "length_m": round(found.length_m, 4),
        "planned_length_m": round(found.planned_length_m, 4),
        "stretches_off": len(found.off),
        "stretches_missed": len(found.missed),
    }


def _difference_report(found: Differences, *, settings: Settings) -> str:
    from parcelfence.wording import Wording

    words = Wording(settings, several_runs=True)
    summary = (
        f"Against the plan: greatest offset {words.length(found.greatest_m)}, root mean square "
        f"{words.length(found.root_mean_square_m)}; {words.length(found.length_m)} of wire, "
        f"{words.length(found.planned_length_m)} planned."
    )
    lines = [summary]
    lines += [f"  {words.length(-own.measured)} off {words.along(own)}" for own in found.off[:_MOST_SHOWN]]
    lines += [f"  nothing laid {words.along(own)} of the plan" for own in found.missed[:_MOST_SHOWN]]
    more = max(0, len(found.off) - _MOST_SHOWN) + max(0, len(found.missed) - _MOST_SHOWN)
    return "\n".join([*lines, f"  ... and {more} more"] if more else lines)
