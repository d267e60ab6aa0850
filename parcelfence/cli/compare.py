"""The command that plans a property in several ways and sets them side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parcelfence.cli.boundary import InputPath, OutputPath
from parcelfence.cli.options import SectionedCommand, elevation_options, input_options, setting_options
from parcelfence.cli.plan import planning_job
from parcelfence.cli.run import counted, finish, run_options

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.alternatives import Comparison

__all__ = ["compare"]


@click.command(cls=SectionedCommand)
@click.argument("project", required=False, metavar="[SITE.toml]", type=InputPath())
@click.option("--out", type=OutputPath(), required=True, metavar="DIR", help="folder to write into")
@click.option("--reaches", metavar="A,B", default="", help="reaches to compare, such as '4 ft, 6 ft, 8 ft'")
@click.option("--layouts", metavar="A,B", default="", help="layouts to compare, such as 'whole-lot, back-yard'")
@click.option("--choose", type=int, metavar="N", help="number of the alternative whose plan is written as well")
@click.option("--overwrite", is_flag=True, help="replace an earlier comparison in that folder")
@click.option("--name", help="name of the site")
@click.option("--working-crs", metavar="CRS", help="projected CRS to work in, instead of a local one")
@run_options
@input_options
@elevation_options
@setting_options
def compare(project: Path | None, out: Path, **options: Any) -> None:
    """Plan a property with several reaches and layouts, and write one table with a picture of each.

    Look at DIR/compare.html, then run it again with --choose N --overwrite: the plan of that line is written into
    DIR/plan, as parcelfence plan would.
    Exit status: 0 done; 2 unusable input, with the reason.
    """
    from parcelfence import alternatives
    from parcelfence.outputs.comparison import comparison_record
    from parcelfence.outputs.folder import check_target
    from parcelfence.site.reading import project_site

    job = planning_job(project, options)
    check_target(out, overwrite=options["overwrite"])
    wanted = alternatives.combinations(
        job.settings, reaches=_listed(options["reaches"]), layouts=_listed(options["layouts"])
    )
    site = project_site(job)
    with counted("planning", total=len(wanted)) as planned:
        found = alternatives.compare_settings(
            site, wanted, settings=job.settings, prices=job.prices, crew=job.crew, planned=planned
        )
    found.write(out, overwrite=options["overwrite"], choose=options["choose"])
    record = {"folder": str(out), **comparison_record(found, choose=options["choose"])}
    finish(_report(found, out=out, choose=options["choose"]), record)


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _report(found: Comparison, *, out: Path, choose: int | None) -> str:
    """Write the table for a terminal."""
    from parcelfence.units import unit_system

    units = unit_system(found.settings.units)
    width = max(len(one.settings.layout) for one in found.alternatives)
    heads = f"{'':5}{'layout':<{width}}{'reach':>10}{'free':>14}{'wire':>11}  must fix  cautions"
    lines = [click.style(heads, bold=True)]
    for one in found.alternatives:
        mark = "  " if one.beaten or one.plan is None else "* "
        line = f"{mark}{one.number:>2} {one.settings.layout:<{width}}{units.length(one.settings.reach_m):>10}"
        if one.plan is None:
            lines.append(f"{line}  no plan: {one.reason}")
            continue
        figures = f"{units.area(one.free_m2):>14}{units.length(one.wire_m, digits=0):>11}"
        lines.append(f"{line}{figures}{one.must_fix:>10}{one.cautions:>10}")
    lines += ["", "* not beaten by another line in reach, free ground, wire, crossings and things to fix"]
    lines.append(f"Written to {out}: open compare.html in a browser")
    if choose is None:
        lines.append("The plan of one of them: the same command with --choose N --overwrite")
    else:
        lines.append(f"The plan of number {choose} is in {out / 'plan'}")
    return "\n".join(lines)
