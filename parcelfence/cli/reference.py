"""The commands that list what there is: layers with their columns, outputs, and the keys of a project file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parcelfence.layers import LAYERS, SCREENING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["form_option", "formats", "keys", "layers", "listing"]


def form_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the option for the form of a list."""
    forms = click.Choice(["text", "markdown", "json"])
    return click.option("--format", "form", type=forms, default="text", show_default=True, help="form of the list")(
        function
    )


@click.command()
@form_option
@click.argument("names", nargs=-1, metavar="[LAYER]...")
def layers(names: tuple[str, ...], *, form: str) -> None:
    """List columns, units and meanings of the layers of a plan and of the table of a screening; all, or those named."""
    unknown = sorted(set(names) - {schema.name for schema in (*LAYERS, SCREENING)})
    if unknown:
        from parcelfence.errors import near_matches

        known = [schema.name for schema in (*LAYERS, SCREENING)]
        raise click.UsageError(f"There is no layer {unknown[0]!r}; {near_matches(unknown[0], known)}")
    rows = [
        {
            "layer": schema.name,
            "geometry": schema.geometry.replace("Unknown", "any"),
            "column": column.name,
            "type": column.dtype,
            "unit": column.unit,
            "meaning": column.meaning,
        }
        for schema in (*LAYERS, SCREENING)
        if not names or schema.name in names
        for column in schema.columns
    ]
    click.echo(listing(rows, form=form, once=2))


@click.command()
@form_option
def formats(*, form: str) -> None:
    """List the outputs that can be written, those of plug-ins included, and what is wrong with those that cannot."""
    from parcelfence.outputs.registry import plugins
    from parcelfence.outputs.writer import BUILT_IN

    found = plugins()
    rows = [
        {
            "format": writer.name,
            "files": writer.files,
            "default": "yes" if writer.default else "",
            "extra": writer.extra,
            "meaning": writer.meaning,
        }
        for writer in BUILT_IN.values()
    ]
    rows += [
        {"format": name, "files": writer.files, "default": "", "extra": "plug-in", "meaning": writer.meaning}
        for name, writer in sorted(found.writers.items())
    ]
    click.echo(listing(rows, form=form, once=1))
    for _, fault in sorted(found.faults.items()):
        click.echo(f"parcelfence: {fault}", err=True)


@click.command()
@form_option
def keys(*, form: str) -> None:
    """List every key that a project file may hold, table by table."""
    from dataclasses import asdict

    from parcelfence.inputs.project_file import project_keys
    from parcelfence.takeoff.pricing import CREW, PRICES

    click.echo(listing([asdict(key) for key in project_keys(prices=PRICES, crew=CREW)], form=form, once=1))


def listing(rows: Sequence[dict[str, Any]], *, form: str, once: int) -> str:
    """Set rows as a table.

    Parameters
    ----------
    rows : sequence of dict
        All with the same keys, the heads of the columns.
    form : str
        ``text``, ``markdown`` or ``json``.
    once : int
        How many columns at the left are written only where they change, in plain text.
    """
    if form == "json":
        import json

        return json.dumps(list(rows), indent=1, ensure_ascii=False)
    heads = list(rows[0])
    cells = [[str(value) for value in row.values()] for row in rows]
    if form == "markdown":
        plain = [[cell.replace("|", "\\|") for cell in line] for line in cells]
        return "\n".join("| " + " | ".join(line) + " |" for line in [heads, ["---"] * len(heads), *plain])
    for before, after in zip(reversed(cells[:-1]), reversed(cells[1:]), strict=True):
        if before[0] == after[0]:
            after[:once] = [""] * once
    widths = [max(len(line[place]) for line in [heads, *cells]) for place in range(len(heads))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in [heads, *cells]
    )
