"""A project as the text of a project file: what :func:`parcelfence.inputs.project_file.read_project` reads back."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from parcelfence.layers import INPUT_ROLES
from parcelfence.setting_info import COMMON, describe_settings
from parcelfence.settings import short_name
from parcelfence.units import FOOT_M, parse_length_m

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from parcelfence.inputs.project_file import Project
    from parcelfence.inputs.source import Source
    from parcelfence.setting_info import SettingInfo
    from parcelfence.settings import Settings

__all__ = ["project_text", "text_value"]

_OF_A_SOURCE: Final = ("layer", "crs", "id_field", "kind", "kind_field", "accuracy_m")


def project_text(project: Project, *, folder: Path, head: str, hints: bool = False) -> str:
    """Write a project as TOML.

    Parameters
    ----------
    project : Project
        What is to be planned.
    folder : Path
        Folder in which the file will stand; paths are written relative to it.
    head : str
        What to say at the top of the file.
    hints : bool
        Whether the usual settings that were not given stand there as comments, with their meaning.

    Returns
    -------
    str
        It ends in a line end.
    """
    tables = [
        "\n".join(f"# {line}".rstrip() for line in head.splitlines()),
        "\n".join(_site(project, folder=folder)),
        "\n".join(_layers(project.sources, folder=folder)),
        "\n".join(_settings(project, hints=hints)),
        *("\n".join(["[[animal]]", *_pairs(animal)]) for animal in _animals(project)),
        *(
            "\n".join([f"[{name}]", *_pairs(rates)])
            for name, rates in (("prices", project.prices), ("crew", project.crew))
            if rates
        ),
    ]
    return "\n\n".join(table for table in tables if table) + "\n"


def text_value(value: Any) -> str:
    """Write one value as TOML; of texts its rules are those of JSON, but for the delete character."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(text_value(one) for one in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(name)} = {text_value(one)}" for name, one in value.items()) + " }"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _site(project: Project, *, folder: Path) -> Iterator[str]:
    yield "[site]"
    yield f"name = {text_value(project.name)}"
    if project.select:
        yield f"select = {text_value(project.select[0] if len(project.select) == 1 else list(project.select))}"
    for crs in sorted({source.crs_if_missing for source in project.sources if source.crs_if_missing}):
        yield f"crs = {text_value(crs)}"
    if project.working_crs:
        yield f"working_crs = {text_value(project.working_crs)}"
    if project.elevation is not None:
        entry = {"path": _relative(project.elevation.path, folder=folder)}
        if project.elevation.crs_if_missing:
            entry["crs"] = project.elevation.crs_if_missing
        if project.elevation.unit:
            entry["unit"] = project.elevation.unit
        yield f"elevation = {text_value(entry if len(entry) > 1 else entry['path'])}"


def _layers(sources: Iterable[Source], *, folder: Path) -> Iterator[str]:
    by_role: dict[str, list[Any]] = {}
    for source in sources:
        entry = {"path": _relative(source.path, folder=folder)} | {
            name: getattr(source, name) for name in _OF_A_SOURCE if getattr(source, name) is not None
        }
        by_role.setdefault(source.role, []).append(entry if len(entry) > 1 else entry["path"])
    yield "[layers]"
    for role in INPUT_ROLES:
        if role in by_role:
            entries = by_role[role]
            yield f"{role} = {text_value(entries[0] if len(entries) == 1 else entries)}"


def _settings(project: Project, *, hints: bool) -> Iterator[str]:
    yield "[settings]"
    names = (project.settings.given_names() | {"units"}) - {"animals"}
    for info in describe_settings():
        if getattr(project.settings, info.name) is None:
            continue  # nothing is assumed, and nothing stands for nothing in TOML
        if info.name in names:
            yield f"{info.short} = {_setting(info, project.settings)}"
        elif hints and info.name in COMMON:
            yield f"# {info.short} = {_setting(info, project.settings)}   # {info.meaning}"


def _setting(info: SettingInfo, settings: Settings) -> str:
    """Write the value of a setting; a length in the person's unit, where that gives the same number of metres."""
    value = getattr(settings, info.name)
    if info.kind == "length":
        in_feet = f"{value / FOOT_M:.6g} ft"
        if settings.units == "us" and parse_length_m(in_feet) == value:
            return text_value(in_feet)
        return text_value(f"{value!r} m")
    return text_value(value)


def _animals(project: Project) -> Iterator[dict[str, Any]]:
    for animal in project.settings.animals:
        yield {short_name(name): value for name, value in animal.model_dump(exclude_defaults=True).items()}


def _pairs(values: Any) -> list[str]:
    return [f"{_key(name)} = {text_value(value)}" for name, value in values.items()]


def _key(name: str) -> str:
    plain = name.replace("_", "").replace("-", "")
    return name if plain.isascii() and plain.isalnum() else text_value(name)


def _relative(path: Path, *, folder: Path) -> str:
    """Write a path as seen from a folder; as it is where there is no way, as from drive to drive."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return Path(path).absolute().as_posix()
