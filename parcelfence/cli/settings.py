"""The command that shows every setting with its value and where it comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parcelfence.cli.boundary import InputPath
from parcelfence.cli.options import SectionedCommand, given_settings, setting_options
from parcelfence.cli.reference import form_option, listing

if TYPE_CHECKING:
    from pathlib import Path

    from parcelfence.setting_info import SettingInfo
    from parcelfence.settings import Settings

__all__ = ["settings"]


@click.command(cls=SectionedCommand)
@click.argument("project", required=False, metavar="[SITE.toml]", type=InputPath())
@click.option("--changed", is_flag=True, help="only those that are not at their defaults")
@form_option
@setting_options
def settings(project: Path | None, *, form: str, changed: bool, **options: Any) -> None:
    """Show every setting: its value in a plan of this project file and these options, and where that comes from."""
    from parcelfence.inputs.project_file import read_project, stated_settings
    from parcelfence.setting_info import describe_settings
    from parcelfence.settings import Settings, full_name

    given = given_settings(options)
    by_option = {full_name(name) for name in given_settings({**options, "settings": None})}
    sources = dict.fromkeys((full_name(name) for name in given), str(options["settings"]))
    sources |= dict.fromkeys(by_option, "option")
    if project is None:
        effective = Settings.from_words(given, where="options")
    else:
        effective = read_project(project, overrides=given).settings
        sources = dict.fromkeys(stated_settings(project), project.name) | sources
    rows = [
        {
            "group": info.group,
            "setting": info.short,
            "value": _value(effective, info),
            "source": sources.get(info.name) or ("default" if info.default is not None else _unstated(info)),
            "allowed": " or ".join(info.choices) or info.limits,
            "meaning": info.meaning,
        }
        for info in describe_settings()
        if not changed or info.name in sources
    ]
    click.echo(listing(rows, form=form, once=1) if rows else "Every setting is at its default.")


def _value(effective: Settings, info: SettingInfo) -> str:
    value = getattr(effective, info.name)
    if value is None or not str(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g} {info.unit}".rstrip() if isinstance(value, float | int) else str(value)


def _unstated(info: SettingInfo) -> str:
    return info.default_text if "+" in info.default_text or "follows" in info.default_text else "not given"
