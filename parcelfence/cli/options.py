"""Options that several commands share, among them one for every setting."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import Command, InputPath
from parcelfence.errors import Fault, InputError, SettingsError
from parcelfence.layers import INPUT_ROLES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parcelfence.inputs.source import ElevationSource, Source

__all__ = [
    "SectionedCommand",
    "elevation_options",
    "given_elevation",
    "given_settings",
    "given_sources",
    "input_options",
    "setting_options",
]

_PREFIX: Final = "setting_"
_SECTIONS: Final = ("Input files", "Options", "Settings (lengths as '8 ft', '2.4 m' or bare metres)")


class SectionedCommand(Command):
    """A command whose help lists inputs, settings and the rest apart."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options by section."""
        sections: dict[str, list[tuple[str, str]]] = {title: [] for title in _SECTIONS}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None and isinstance(parameter, click.Option):
                sections[_section(parameter.name or "")].append(record)
        for title, records in sections.items():
            if records:
                with formatter.section(title):
                    formatter.write_dl(records)


def _section(name: str) -> str:
    inputs, other, settings = _SECTIONS
    if name.startswith(_PREFIX):
        return settings
    return inputs if name in {*INPUT_ROLES, "elevation", "elevation_unit", "select", "crs"} else other


def input_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add an option for every role, for the selection and for the CRS of files."""
    options = [
        click.option(_flag(role), role, type=InputPath(), multiple=True, help=meaning, metavar="FILE")
        for role, meaning in INPUT_ROLES.items()
    ]
    options += [
        click.option("--select", multiple=True, metavar="FIELD=VALUE", help="which parcel; repeat for several as one"),
        click.option("--crs", metavar="CRS", help="CRS of the files that state none, such as EPSG:2229"),
    ]
    for option in reversed(options):
        function = option(function)
    return function


def elevation_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options for a raster of elevations."""
    file = click.option(
        "--elevation",
        type=InputPath(),
        metavar="FILE",
        help="raster of elevations: lengths are then along the ground",
    )
    unit = click.option(
        "--elevation-unit", metavar="UNIT", help="its unit, if the file does not say it or says it wrongly: m, ft, usft"
    )
    return file(unit(function))


def setting_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add an option for every setting."""
    from parcelfence.settings import Settings, short_name

    for name, field in reversed(Settings.model_fields.items()):
        flag = _flag(short_name(name))
        if field.annotation is bool:
            option = click.option(flag, _PREFIX + name, is_flag=True, default=None, help=field.description)
        else:
            text = f"{field.description}{_default(name, field.default)}"
            option = click.option(flag, _PREFIX + name, help=text, metavar="VALUE")
        function = option(function)
    return function


def _flag(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _default(name: str, default: Any) -> str:
    if default in {None, "", 0.0}:
        return ""
    from parcelfence.settings import short_name

    unit = name.removeprefix(short_name(name)).removeprefix("_")
    return f"  [default: {default:g} {unit}]" if unit else f"  [default: {default}]"


def given_settings(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Pick out the settings that were given on the command line, by their full names."""
    return {
        name.removeprefix(_PREFIX): value
        for name, value in parameters.items()
        if name.startswith(_PREFIX) and value is not None
    }


def given_elevation(parameters: Mapping[str, Any], *, named: ElevationSource | None) -> ElevationSource | None:
    """Pick out the raster of elevations that was given on the command line, or the one named in the project file.

    Raises
    ------
    SettingsError
        If a unit is given that is not known, or that belongs to no raster.
    """
    from dataclasses import replace

    from parcelfence.inputs.elevation_unit import elevation_unit_m
    from parcelfence.inputs.source import ElevationSource

    if parameters["elevation"] is not None:
        named = ElevationSource(path=parameters["elevation"], crs_if_missing=parameters.get("crs"))
    unit = parameters["elevation_unit"]
    if unit is None:
        return named
    if named is None:
        raise SettingsError("--elevation-unit was given without a raster of elevations. Give it with --elevation FILE.")
    elevation_unit_m(unit)
    return replace(named, unit=unit)


def given_sources(parameters: Mapping[str, Any]) -> tuple[Source, ...]:
    """Pick out the input files that were given on the command line.

    Raises
    ------
    InputError
        If a file does not exist.
    """
    from parcelfence.inputs.source import Source

    sources = tuple(
        Source.named(path, role=role, crs_if_missing=parameters.get("crs"))
        for role in INPUT_ROLES
        for path in parameters.get(role, ())
    )
    missing = [
        Fault(where=_flag(source.role), found=f"the file {source.path} does not exist", remedy="check the path")
        for source in sources
        if not source.path.exists()
    ]
    if missing:
        raise InputError(missing)
    return sources
