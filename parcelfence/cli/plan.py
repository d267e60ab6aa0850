"""The command that plans a loop and writes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import InputPath, OutputPath
from parcelfence.cli.options import (
    SectionedCommand,
    elevation_options,
    given_elevation,
    given_settings,
    given_sources,
    input_options,
    setting_options,
)
from parcelfence.cli.run import finish, progress, run_options
from parcelfence.errors import NoLoopError, SettingsError
from parcelfence.layers import PROJECT_FILE

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.inputs.project_file import Project

__all__ = ["plan", "planning_job"]

_HEAD: Final = """The project of this plan: parcelfence plan and parcelfence check take it in place of options.
Paths are relative to this folder."""


@click.command(cls=SectionedCommand)
@click.argument("project", required=False, metavar="[SITE.toml]", type=InputPath())
@click.option("--out", type=OutputPath(), metavar="DIR", help="folder to write into")
@click.option("--dry-run", is_flag=True, help="design and check, but write nothing")
@click.option("--overwrite", is_flag=True, help="replace an earlier plan in that folder")
@click.option("--name", help="name of the site")
@click.option("--working-crs", metavar="CRS", help="projected CRS to work in, instead of a local one")
@click.option("--formats", metavar="A,B", help="which outputs to write, by name")
@click.option("--layers", "layer_names", metavar="A,B", help="which layers to write, by name")
@click.option("--dst-crs", metavar="CRS", help="CRS of the outputs that allow one")
@run_options
@input_options
@elevation_options
@setting_options
def plan(project: Path | None, out: Path | None, **options: Any) -> None:
    """Design the boundary wire of a property, check it, and write maps, layers and crew sheets.

    Everything may stand in a SITE.toml, or be given by options; options win over the file.
    Exit status: 0 done; 3 done, but conflicts must be fixed; 2 unusable input, with the reason.
    """  # noqa: DOC501  (click shows this text to people)
    from parcelfence.cli.report import plan_report, plan_result, plan_status
    from parcelfence.outputs.folder import check_target

    if (out is None) is not options["dry_run"]:
        raise click.UsageError("Give either --out DIR, a folder to write into, or --dry-run.")
    job = planning_job(project, options)
    if out is not None:
        check_target(out, overwrite=options["overwrite"])
    with progress("reading", "designing and checking", "writing") as step:
        step("reading")
        from parcelfence import planning
        from parcelfence.advice import explained
        from parcelfence.inputs.project_text import project_text
        from parcelfence.outputs.registry import write
        from parcelfence.site.reading import project_site

        site = project_site(job)
        step("designing and checking")
        try:
            finished = planning.plan(site, job.settings, prices=job.prices, crew=job.crew)
        except NoLoopError as error:
            raise explained(error, site=site, settings=job.settings) from error
        step("writing")
        if out is not None:
            write(
                finished,
                out,
                overwrite=options["overwrite"],
                formats=_listed(options["formats"]),
                layers=_listed(options["layer_names"]),
                dst_crs=options["dst_crs"],
                beside={PROJECT_FILE: project_text(job, folder=out, head=_HEAD)},
            )
    finish(plan_report(finished, out=out), plan_result(finished, out=out), status=plan_status(finished))


def planning_job(path: Path | None, options: dict[str, Any]) -> Project:
    """Put the project file and the options together.

    Raises
    ------
    SettingsError
        If neither names parcels, or a setting is wrong.
    """
    from dataclasses import replace

    from parcelfence.inputs.project_file import Project, read_project
    from parcelfence.settings import Settings

    settings, sources = given_settings(options), given_sources(options)
    if path is None:
        if not options["parcels"]:
            raise SettingsError("Neither a project file nor parcels were given. Try: parcelfence plan --help")
        project = Project(name="", select=(), sources=(), settings=Settings.from_words(settings, where="options"))
    else:
        project = read_project(path, overrides=settings)
    replaced = {source.role for source in sources}
    return replace(
        project,
        name=options["name"] or project.name,
        select=tuple(options["select"]) or project.select,
        sources=(*(source for source in project.sources if source.role not in replaced), *sources),
        working_crs=options["working_crs"] or project.working_crs,
        elevation=given_elevation(options, named=project.elevation),
    )


def _listed(text: str | None) -> tuple[str, ...] | None:
    return None if text is None else tuple(part.strip() for part in text.split(",") if part.strip())
