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
    from collections.abc import Iterable
    from contextlib import AbstractContextManager
    from pathlib import Path

    from parcelfence.screening import Outcome, ScreeningJob

__all__ = ["screen"]


@click.command(cls=SectionedCommand)
@click.argument("table_of_parcels", metavar="PARCELS", type=InputPath())
@click.option("--out", type=OutputPath(), required=True, metavar="TABLE", help="table to write")
@click.option("--overwrite", is_flag=True, help="replace an earlier table")
@click.option("--keep", metavar="FIELD,...", help="columns of the parcels that stand in the rows, the key first")
@click.option("--reaches", metavar="REACH,...", help="several reaches, one row for each: '4 ft,6 ft,8 ft'")
@click.option("--price", "prices", multiple=True, metavar="NAME=PRICE", help="unit price, as in a project file; repeat")
@click.option("--limit-seconds", type=click.FloatRange(min=0.1), help="longest time for one parcel")
@click.option("--workers", type=click.IntRange(min=1), help="processes of this machine  [default: one per core]")
@click.option("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster that does the work instead")
@click.option("--partitioned", is_flag=True, help="a folder of GeoParquet files instead of one")
@click.option("--working-crs", metavar="CRS", help="projected CRS to work in, instead of a local one for each parcel")
@run_options
@input_options
@setting_options
def screen(table_of_parcels: Path, out: Path, **options: Any) -> None:
    """Plan a loop on every parcel of a file, or on those selected, and write one row each.

    The ending of TABLE names the format: gpkg, parquet, fgb, geojson or csv. A parcel without a plan has its reason
    in its row. A run that was stopped goes on where it was. 'parcelfence layers screening' describes the columns.
    """
    from parcelfence import __version__
    from parcelfence.outputs.screening_table import Parts, check_ending, refuse_existing, write_table
    from parcelfence.screening import screen as work
    from parcelfence.screening import slices

    check_ending(out, partitioned=options["partitioned"])
    job = _job(table_of_parcels, options)
    tasks = slices(job)
    earlier = Parts.waiting(out, job, version=__version__)
    if earlier is None or earlier.lacking(tasks):
        refuse_existing(out, overwrite=options["overwrite"])
    parts = Parts.of(out, job, version=__version__)
    left = parts.lacking(tasks)
    total = tasks[-1][1] if tasks else 0
    done = total - sum(stop - start for start, stop in left)
    with (
        _executor(options, tasks=len(left)) as executor,
        counted("screening", total=total, finished=done) as advance,
    ):
        for task, outcomes in work(job, left, executor=executor):
            parts.keep(task, outcomes)
            advance(task[1] - task[0])
    write_table(parts, tasks, table=out, partitioned=options["partitioned"])
    counts = _counts(parts.rows(tasks))
    parts.forget()
    finish(_report(counts, out=out), {"out": str(out), **counts})


def _job(parcels: Path, options: dict[str, Any]) -> ScreeningJob:
    from parcelfence.screening import ScreeningJob
    from parcelfence.settings import Settings
    from parcelfence.takeoff.pricing import checked_prices

    if options["parcels"]:
        raise click.UsageError("The file of parcels is the argument; it is not given again by --parcels.")
    words = given_settings(options)
    reaches = [word.strip() for word in (options["reaches"] or "").split(",") if word.strip()]
    settings = Settings.from_words(words, where="options")
    variants = [Settings.from_words(words | {"reach_m": word}, where="--reaches").reach_m for word in reaches]
    return ScreeningJob(
        sources=given_sources({**options, "parcels": (parcels,)}),
        settings=settings,
        reaches_m=tuple(dict.fromkeys(variants)),
        select=tuple(options["select"]),
        keep=tuple(word.strip() for word in (options["keep"] or "").split(",") if word.strip()),
        prices=tuple(checked_prices(dict(_price(word) for word in options["prices"])).items()),
        limit_s=options["limit_seconds"],
        working_crs=options["working_crs"],
    )


def _price(word: str) -> tuple[str, float]:
    name, _, value = word.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise click.UsageError(f"--price {word}: a price is written as NAME=NUMBER.") from None


def _executor(options: dict[str, Any], *, tasks: int) -> AbstractContextManager[Any]:
    import os

    from parcelfence.workers import Workers, cluster

    if options["cluster"]:
        return cluster(options["cluster"])
    count = min(options["workers"] or os.cpu_count() or 1, tasks)
    return nullcontext() if count <= 1 else Workers(count)


def _counts(slices: Iterable[list[Outcome]]) -> dict[str, int]:
    counts = Counter[str]()
    for rows in slices:
        counts["rows"] += len(rows)
        counts["parcels"] += len({row.position for row in rows})
        counts.update(row.status for row in rows)
        counts["without_must_fix"] += sum(row.status == "planned" and not row.must_fix for row in rows)
    names = ("parcels", "rows", "planned", "no_loop", "refused", "failed", "without_must_fix")
    return {name: counts[name] for name in names}


def _report(counts: dict[str, int], *, out: Path) -> str:
    of = f", {counts['rows']:,} rows" if counts["rows"] != counts["parcels"] else ""
    figures = (
        f"{counts['parcels']:,} parcels{of}: {counts['planned']:,} planned "
        f"({counts['without_must_fix']:,} without a conflict that must be fixed), "
        f"{counts['no_loop']:,} without room for a loop, {counts['refused']:,} refused, {counts['failed']:,} failed"
    )
    lines = [figures, f"Written to {out}"]
    if counts["failed"]:
        lines.append("A failed parcel is a fault of parcelfence: its reason stands in its row. Please report it.")
    return "\n".join(lines)
