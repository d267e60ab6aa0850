"""The command that writes out the sample property."""

from __future__ import annotations

from pathlib import Path

import click

from parcelfence.cli.boundary import Command, OutputPath

__all__ = ["sample", "sample_folder"]


@click.command(cls=Command)
@click.argument("folder", metavar="DIR", type=OutputPath())
def sample(folder: Path) -> None:
    """Write the invented sample property into a new folder: parcels, buildings, locate marks and their SITE.toml.

    The same property stands in the subfolder state_plane_feet as shapefiles in US survey feet.
    """  # noqa: DOC501  (click shows this text to people)
    import shutil

    from parcelfence.errors import Fault, OutputError

    if folder.exists():
        raise OutputError(Fault(where=str(folder), found="it exists already", remedy="name a new folder"))
    try:
        shutil.copytree(sample_folder(), folder)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(
            Fault(where=str(folder), found=f"it could not be written: {reason}", remedy="choose another place")
        ) from error
    click.echo(f"Written to {folder}. Now plan it:\n  parcelfence plan {folder / 'SITE.toml'} --out my-plan")


def sample_folder() -> Path:
    """Find the sample: inside the installed package, or beside it where it runs from its source.

    Raises
    ------
    FileNotFoundError
        If the installation is not complete.
    """
    import parcelfence

    package = Path(parcelfence.__file__).parent
    for place in (package / "sample_geodata", package.parent / "sample_geodata"):
        if (place / "SITE.toml").is_file():
            return place
    raise FileNotFoundError("the sample is missing from this installation; install parcelfence again")
