"""The command that lists the layers of a plan, their columns, and the formats in which they can be had."""

from __future__ import annotations

import click

from parcelfence.layers import LAYERS

__all__ = ["layers"]


@click.command()
@click.option(
    "--format", "form", type=click.Choice(["text", "markdown", "json"]), default="text", help="form of the list"
)
@click.option("--formats", "outputs", is_flag=True, help="list the outputs that can be written instead")
@click.argument("names", nargs=-1, metavar="[LAYER]...")
def layers(names: tuple[str, ...], *, form: str, outputs: bool) -> None:
    """List the layers of a plan with their columns, units and meanings; all of them, or those named.

    With --formats: the outputs, those of plug-ins included, and what is wrong with plug-ins that cannot be used.
    """  # noqa: DOC501  (click shows this text to people)
    if outputs:
        rows, faults = _outputs()
        click.echo(_json(rows) if form == "json" else _listing(rows, form=form))
        for fault in faults:
            click.echo(f"parcelfence: {fault}", err=True)
        return
    chosen = [schema for schema in LAYERS if not names or schema.name in names]
    unknown = sorted(set(names) - {schema.name for schema in LAYERS})
    if unknown:
        from parcelfence.errors import near_matches

        known = [schema.name for schema in LAYERS]
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
        for schema in chosen
        for column in schema.columns
    ]
    click.echo(_json(rows) if form == "json" else _listing(rows, form=form))


def _outputs() -> tuple[list[dict[str, str]], list[str]]:
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
    return rows, [str(fault) for _, fault in sorted(found.faults.items())]


def _json(rows: list[dict[str, str]]) -> str:
    import json

    return json.dumps(rows, indent=1)


def _listing(rows: list[dict[str, str]], *, form: str) -> str:
    """Set rows as a table, in plain text or Markdown; the first column is written where it changes."""
    heads = list(rows[0])
    cells = [list(row.values()) for row in rows]
    for before, after in zip(reversed(cells[:-1]), reversed(cells[1:]), strict=True):
        if form == "text" and before[0] == after[0]:
            after[:2] = ["", ""]
    if form == "markdown":
        lines = [heads, ["---"] * len(heads), *cells]
        return "\n".join("| " + " | ".join(line) + " |" for line in lines)
    widths = [max(len(line[place]) for line in [heads, *cells]) for place in range(len(heads))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in [heads, *cells]
    )
