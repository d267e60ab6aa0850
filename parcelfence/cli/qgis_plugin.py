"""The command that packs the plug-in for QGIS."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parcelfence.cli.boundary import Command, OutputPath

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["qgis_plugin"]


@click.command(cls=Command)
@click.argument("out", metavar="OUT.zip", type=OutputPath())
@click.option("--overwrite", is_flag=True, help="replace a file of that name")
def qgis_plugin(out: Path, *, overwrite: bool) -> None:
    """Pack the plug-in for QGIS 3.22 and later into a zip.

    In QGIS: Plugins > Manage and Install Plugins > Install from ZIP. Then name this program under Settings > Options >
    Processing > Providers > parcelfence, unless it is on the path.
    """
    import sys

    from parcelfence.outputs.plugin_archive import write_plugin

    write_plugin(out, overwrite=overwrite)
    click.echo(
        f"Written to {out}.\nIn QGIS: Plugins > Manage and Install Plugins > Install from ZIP; then, under Settings > "
        f"Options > Processing > Providers > parcelfence, name {sys.executable}"
    )
