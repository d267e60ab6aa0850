"""The command that screens many parcels."""

from __future__ import annotations

from collections import Counter
from contextlib import nullcontext
from typing import TYPE_CHECKING, Any

import click

from parcelfence.cli.boundary import InputPath, OutputPath
from parcelfence.cli.options import SectionedCommand, given_settings, given_sources, input_options, setting_options
from parcelfence.cli.run import counted, finish, run_options

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from pathlib import Path

    from parcelfence.screening import Outcome, ScreeningJob

__all__ = ["screen"]


@click.command(cls=SectionedCommand)
@click.argument("table_of_parcels", metavar="PARCELS", type=InputPath())
@click.option("--out", type=OutputPath(), required=True, metavar="TABLE", help="table to write")
@click.option("--overwrite", is_flag=True, help="replace an earlier table")
@click.option("--workers", type=click.IntRange(min=1), help="processes of this machine  [default: one per core]")
@click.option("--working-crs", metavar="CRS", help="projected CRS to work in, instead of a local one for each parcel")
@run_options
@input_options
@setting_options
def screen(table_of_parcels: Path, out: Path, **options: Any) -> None:
    """Plan a loop on every parcel of a file, and write one row each.

    The ending of TABLE names the format: gpkg, parquet, fgb, geojson or csv. A parcel without a plan has its reason
    in its row. A run that was stopped goes on where it was.
    """
    from parcelfence import __version__
    from parcelfence.outputs.screening_table import Parts, check_ending, refuse_existing, write_table
    from parcelfence.screening import screen as work
    from parcelfence.screening import slices

    check_ending(out)
    refuse_existing(out, overwrite=options["overwrite"])
    job = _job(table_of_parcels, options)
    parts = Parts.of(out, job, version=__version__)
    tasks = slices(job)
    done = parts.finished(tasks)
    left = [task for task in tasks if task not in done]
    with (
        _executor(options["workers"], tasks=len(left)) as executor,
        counted("screening", total=len(tasks), finished=len(done)) as advance,
    ):
        for task, outcomes in work(job, left, executor=executor):
            parts.keep(task, outcomes)
            done[task] = outcomes
            advance()
    rows = [outcome for outcomes in done.values() for outcome in outcomes]
    write_table(rows, out)
    parts.forget()
    finish(_report(rows, out=out), _result(rows, out=out))


def _job(parcels: Path, options: dict[str, Any]) -> ScreeningJob:
    from parcelfence.screening import ScreeningJob
    from parcelfence.settings import Settings

    return ScreeningJob(
        sources=given_sources({**options, "parcels": (parcels, *options["parcels"])}),
        settings=Settings.from_words(given_settings(options), where="options"),
        working_crs=options["working_crs"],
    )


def _executor(workers: int | None, *, tasks: int) -> AbstractContextManager[Any]:
    import os
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    count = min(workers or os.cpu_count() or 1, tasks)
    return nullcontext() if count <= 1 else ProcessPoolExecutor(count, mp_context=get_context("spawn"))


def _result(rows: list[Outcome], *, out: Path) -> dict[str, Any]:
    counts = Counter(row.status for row in rows)
    return {
        "out": str(out),
        "parcels": len(rows),
        **{status: counts[status] for status in ("planned", "no_loop", "refused", "failed")},
        "without_must_fix": sum(row.status == "planned" and not row.must_fix for row in rows),
    }


def _report(rows: list[Outcome], *, out: Path) -> str:
    counts = Counter(row.status for row in rows)
    clean = sum(row.status == "planned" and not row.must_fix for row in rows)
    figures = (
        f"{len(rows):,} parcels: {counts['planned']:,} planned ({clean:,} without a conflict that must be fixed), "
        f"{counts['no_loop']:,} without room for a loop, {counts['refused']:,} refused, {counts['failed']:,} failed"
    )
    lines = [figures, f"Written to {out}"]
    if counts["failed"]:
        lines.append("A failed parcel is a fault of parcelfence: its reason stands in its row. Please report it.")
    return "\n".join(lines)
