"""The command that begins a new property."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parcelfence.cli.boundary import OutputPath
from parcelfence.cli.options import SectionedCommand, given_settings, given_sources, input_options, setting_options

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["new"]


@click.command(cls=SectionedCommand)
@click.argument("folder", metavar="DIR", type=OutputPath())
@click.option("--name", help="name of the property; that of the folder where left out")
@click.option("--at", metavar="LON,LAT", help="a point on the parcel, in degrees, instead of --select")
@input_options
@setting_options
def new(folder: Path, **options: Any) -> None:
    """Begin a new property: a commented SITE.toml, and a GeoPackage with a layer for every kind of thing to draw.

    Without files all layers are empty; draw in any GIS. With --parcels and --select or --at, the lot, its neighbours
    and what the other files hold around it are cut out.
    """
    from parcelfence.inputs.source_crs import crs_from_words
    from parcelfence.layers import PROJECT_FILE
    from parcelfence.outputs.new_project import FILE, write_new_project
    from parcelfence.settings import Settings

    sources = given_sources(options)
    said = write_new_project(
        folder,
        name=options["name"] or folder.name,
        settings=Settings.from_words(given_settings(options), where="options"),
        crs=crs_from_words(options["crs"] or "EPSG:4326", where="--crs"),
        sources=sources,
        select=tuple(options["select"]),
        at=_point(options["at"]) if options["at"] else None,
    )
    for line in said:
        click.echo(f"taken  {line}")
    click.echo(
        f"Written to {folder}. Open {FILE} in a GIS, draw what is known, and save. Then plan it:\n"
        f"  parcelfence plan {folder / PROJECT_FILE} --out my-plan"
    )


def _point(words: str) -> tuple[float, float]:
    try:
        longitude, latitude = (float(part) for part in words.split(","))
    except ValueError:
        raise click.UsageError(f"--at {words!r} is not LON,LAT, such as --at=-72.56,42.85") from None
    return longitude, latitude
