"""Options that several commands share, among them one for every setting."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Final

import click

from parcelfence.cli.boundary import InputPath
from parcelfence.cli.run import RunCommand
from parcelfence.errors import Fault, InputError, SettingsError
from parcelfence.layers import INPUT_ROLES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parcelfence.inputs.source import ElevationSource, Source
    from parcelfence.setting_info import SettingInfo

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
_INPUTS: Final = "Input files"
_OPTIONS: Final = "Options"
_ROLES_IN_SHORT: Final = frozenset({"parcels", "buildings", "marks"})
_HELP_ALL: Final = "parcelfence.help_all"
_METAVARS: Final = {
    "length": "LENGTH",
    "area": "AREA",
    "number": "NUMBER",
    "integer": "INTEGER",
    "date": "DATE",
    "text": "TEXT",
    "table": "NAME=VALUE",
    "tables": "NAME,KEY=VALUE,...",
}


class SectionedCommand(RunCommand):
    """A command whose help lists inputs, settings by group, and the rest apart: the usual ones first, all on demand."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options by section; what is seldom needed only by ``--help-all``."""
        everything = bool(ctx.meta.get(_HELP_ALL))
        sections: dict[str, list[tuple[str, str]]] = {}
        hidden = 0
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is None or not isinstance(parameter, click.Option):
                continue
            title, usual = _section(parameter.name or "")
            if everything or usual:
                sections.setdefault(title if everything else title.partition(":")[0], []).append(record)
            else:
                hidden += 1
        for title, records in sections.items():
            with formatter.section(title):
                formatter.write_dl(records)
        if hidden:
            formatter.write_paragraph()
            formatter.write_text(f"{hidden} more options: {ctx.command_path} --help-all")


def _section(name: str) -> tuple[str, bool]:
    """Give the section of an option, and whether most people need it."""
    if name.startswith(_PREFIX):
        info = _described()[name.removeprefix(_PREFIX)]
        return f"Settings (lengths as '8 ft', '2.4 m' or bare metres): {info.group}", info.common
    if name in INPUT_ROLES:
        return _INPUTS, name in _ROLES_IN_SHORT
    return _INPUTS if name in {"elevation", "elevation_unit", "select", "crs"} else _OPTIONS, True


@cache
def _described() -> dict[str, SettingInfo]:
    from parcelfence.setting_info import describe_settings

    return {info.name: info for info in describe_settings()}


def _show_all(ctx: click.Context, *given: Any) -> None:
    if given[1] and not ctx.resilient_parsing:
        ctx.meta[_HELP_ALL] = True
        click.echo(ctx.get_help())
        ctx.exit()


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
    """Add an option for every setting, one for a file of settings, and ``--help-all``."""
    for info in reversed(_described().values()):
        function = _setting_option(info)(function)
    file = click.option(
        "--settings", type=InputPath(), metavar="FILE", help="settings in a TOML or JSON file; options win over it"
    )
    everything = click.option(
        "--help-all", is_flag=True, is_eager=True, expose_value=False, callback=_show_all, help="show every option"
    )
    return file(everything(function))


def _setting_option(info: SettingInfo) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    flag, name = _flag(info.short), _PREFIX + info.name
    default = (
        f"  [default: {info.default_text}]"
        if info.default_text and info.kind not in {"flag", "table", "tables"}
        else ""
    )
    text = f"{info.meaning}{default}"
    if info.kind == "flag":
        return click.option(flag, name, is_flag=True, default=None, help=text)
    if info.kind == "choice":
        return click.option(flag, name, type=click.Choice(info.choices), help=text)
    several = info.kind in {"table", "tables"}
    return click.option(flag, name, metavar=_METAVARS[info.kind], multiple=several, help=text)


def _flag(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def given_settings(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Pick out the settings that were given by options or by a file of settings; options win.

    Raises
    ------
    SettingsError
        If the file cannot be read.
    """
    given: dict[str, Any] = {}
    if parameters.get("settings") is not None:
        from parcelfence.inputs.project_file import read_settings

        given = read_settings(parameters["settings"])
    for name, value in parameters.items():
        if name.startswith(_PREFIX) and value not in {None, ()}:
            given.pop(name.removeprefix(_PREFIX), None)
            kind = _described()[name.removeprefix(_PREFIX)].kind
            taken = _rows(value) if kind == "tables" else _pairs(value) if kind == "table" else value
            given[name.removeprefix(_PREFIX)] = taken
    return given


def _rows(words: tuple[str, ...]) -> list[dict[str, str]]:
    """Take rows apart: a name first, then what belongs to it, as in ``"Bramble, reach=6 ft"``."""
    return [_pairs(tuple(part if "=" in part else f"name={part}" for part in word.split(","))) for word in words]


def _pairs(words: tuple[str, ...]) -> dict[str, str]:
    return {name.strip(): value.strip() for name, _, value in (word.partition("=") for word in words)}


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
