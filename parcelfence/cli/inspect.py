"""The command that says what files hold and what is wrong with them."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from parcelfence.cli.run import UNUSABLE, RunCommand, finish, in_options, run_options
from parcelfence.layers import INPUT_ROLES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parcelfence.site.inspection import LayerReport

__all__ = ["inspect"]

_MARGIN: Final = 14
_WIDTH: Final = 110
_PLACES_FOR_DEGREES, _PLACES_FOR_LENGTHS = 6, 2
_DEGREES: Final = 360.0
_ORIGINS: Final = {"file": "stated by the file", "GeoJSON standard": "by the GeoJSON standard", "given": "as given"}
_CRS_SHORT: Final = "not stated; give it with --crs, it is never guessed"


@click.command(cls=RunCommand)
@click.argument("files", nargs=-1, required=True, metavar="FILES...")
@click.option(
    "--role", type=click.Choice(list(INPUT_ROLES)), help="what the files are to be used as; guessed otherwise"
)
@click.option("--crs", metavar="CRS", help="CRS of the files that state none, such as EPSG:2229")
@run_options
def inspect(files: tuple[str, ...], *, role: str | None, crs: str | None) -> None:
    """Say what files hold: role, features, CRS, place, attributes, kinds of utility, and what is wrong.

    A layer of a GeoPackage is named as FILE:LAYER. Exit status: 0 all can be used; 2 at least one cannot, with the
    reason.
    """
    from parcelfence.site.inspection import inspect_files

    reports = inspect_files(*files, role=role, crs=crs)
    status = UNUSABLE if any(report.faults for report in reports) else 0
    finish(
        "\n\n".join(_as_text(report) for report in reports), {"layers": [asdict(one) for one in reports]}, status=status
    )


def _as_text(report: LayerReport) -> str:
    own_name = not report.layer or report.layer in {Path(report.file).name, Path(report.file).stem}
    title = report.file if own_name else f"{report.file}, layer {report.layer}"
    lines = [click.style(title, bold=True)]
    if report.role:
        lines += [line for name, text in _rows(report) for line in _row(name, text)]
    for number, repair in enumerate(report.repairs):
        lines += _row("repairs" if number == 0 else "", repair)
    for number, caution in enumerate(report.cautions):
        lines += _row("caution" if number == 0 else "", caution)
    for number, fault in enumerate(report.faults):
        lines += _row("CANNOT BE USED" if number == 0 else "", in_options(fault))
    return "\n".join(lines)


def _rows(report: LayerReport) -> Iterator[tuple[str, str]]:
    yield "role", f"{report.role} ({report.role_reason}): {INPUT_ROLES[report.role]}"
    types = ", ".join(f"{count:,} {name}" for name, count in report.geometry_types.items())
    yield "features", f"{report.features:,}" + (f": {types}" if types else "")
    if not report.faults:
        yield "usable", f"{report.usable:,} of {report.features:,}"
    if report.duplicates:
        yield "duplicates", f"{report.duplicates:,} with the same geometry as an earlier one"
    yield "CRS", f"{report.crs}, {_ORIGINS[report.crs_origin]}" if report.crs else _CRS_SHORT
    if report.bounds is not None:
        yield "bounds", _extent(report.bounds)
    if report.bounds_lon_lat is not None:
        yield "longitude", f"{report.bounds_lon_lat[0]:.6f} to {report.bounds_lon_lat[2]:.6f}"
        yield "latitude", f"{report.bounds_lon_lat[1]:.6f} to {report.bounds_lon_lat[3]:.6f}"
        yield "to WGS 84", _accuracy(report)
    for number, (name, values) in enumerate(report.fields.items()):
        yield "fields" if number == 0 else "", f"{name:<{_field_width(report)}}  {values}"
    for number, (name, (count, raws)) in enumerate(report.kinds.items()):
        yield "kinds" if number == 0 else "", f"{name:<11}{count:>6,}  from {raws}"


def _extent(bounds: tuple[float, ...]) -> str:
    places = _PLACES_FOR_DEGREES if max(map(abs, bounds)) <= _DEGREES else _PLACES_FOR_LENGTHS
    west, south, east, north = (f"{value:,.{places}f}" for value in bounds)
    return f"{west} to {east} east, {south} to {north} north"


def _accuracy(report: LayerReport) -> str:
    if not report.operation:
        return "it is WGS 84"
    stated = "PROJ states no accuracy" if report.accuracy_m is None else f"within {report.accuracy_m:g} m by PROJ"
    return f"{stated} ({report.operation})"


def _field_width(report: LayerReport) -> int:
    return min(max(len(name) for name in report.fields), 24)


def _row(name: str, text: str) -> list[str]:
    indent = " " * _MARGIN
    lines = textwrap.wrap(text, width=_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ") or [indent]
    label = f"  {name}"
    if len(label) >= _MARGIN:
        return [label, *lines]
    return [label.ljust(_MARGIN) + lines[0][_MARGIN:], *lines[1:]]
