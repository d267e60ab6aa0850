"""A project file: the site, its layers and the settings, as a person writes them in TOML."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from parcelfence.animal import Animal
from parcelfence.errors import Fault, SettingsError, near_matches
from parcelfence.inputs.elevation_unit import elevation_unit_m
from parcelfence.inputs.source import ElevationSource, Source
from parcelfence.layers import INPUT_ROLES
from parcelfence.setting_info import describe_settings
from parcelfence.settings import Settings, full_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

__all__ = ["Project", "ProjectKey", "files_named", "project_keys", "read_project", "read_settings", "stated_settings"]

Positive = Annotated[float, Field(ge=0, allow_inf_nan=False)]


def _as_list(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


class _LayerEntry(BaseModel):
    model_config = ConfigDict(extra="forbid")
    path: str = Field(description="The file, relative to the project file")
    layer: str | None = Field(default=None, description="Layer of a file that holds several")
    crs: str | None = Field(default=None, description="Its CRS, if it states none")
    id_field: str | None = Field(default=None, description="Field with the identifier of a feature")
    kind: str | None = Field(default=None, description="Kind of all its features, in the words of the role")
    kind_field: str | None = Field(default=None, description="Field with the kind of a feature")
    accuracy_m: Positive | None = Field(default=None, description="Accuracy of its positions, in metres")


def _as_entry(value: Any) -> Any:
    return {"path": value} if isinstance(value, str) else value


_Entries = Annotated[list[Annotated[_LayerEntry, BeforeValidator(_as_entry)]], BeforeValidator(_as_list)]


class _ElevationEntry(BaseModel):
    model_config = ConfigDict(extra="forbid")
    path: str = Field(description="Raster of elevations; lengths are then along the ground")
    crs: str | None = Field(default=None, description="Its CRS, if it states none")
    unit: str | None = Field(default=None, description="Its unit, whatever the file says: m, ft, usft")


class _SiteTable(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str | None = Field(default=None, description="Name of the site; that of the file where left out")
    select: Annotated[list[str], BeforeValidator(_as_list)] = Field(
        default=[], description="Which parcel, as FIELD=VALUE; a list takes several as one property"
    )
    crs: str | None = Field(default=None, description="CRS of the files that state none")
    working_crs: str | None = Field(default=None, description="Projected CRS to work in, instead of a local one")
    elevation: Annotated[_ElevationEntry | None, BeforeValidator(_as_entry)] = Field(
        default=None, description="File of elevations, or a table with the keys below"
    )


class _ProjectTable(BaseModel):
    model_config = ConfigDict(extra="forbid")
    site: _SiteTable = _SiteTable()
    layers: dict[str, _Entries]
    settings: dict[str, Any] = {}
    prices: dict[str, Positive] = {}
    crew: dict[str, Positive] = {}
    animal: list[dict[str, Any]] = []


_TABLES: Final[dict[tuple[str, ...], type[BaseModel]]] = {
    ("layers",): _LayerEntry,
    ("site", "elevation"): _ElevationEntry,
    ("site",): _SiteTable,
    (): _ProjectTable,
}
"""Tables by the place at which they begin, the deepest first."""


@dataclass(frozen=True, kw_only=True)
class ProjectKey:
    """One key of a project file: the table in which it stands, its name, what it takes and what it means."""

    table: str
    key: str
    takes: str
    meaning: str


def project_keys(*, prices: Mapping[str, str], crew: Mapping[str, str]) -> tuple[ProjectKey, ...]:
    """List every key that a project file may hold, table by table.

    Parameters
    ----------
    prices, crew : mapping of str to str
        Names of unit prices and crew rates with their meaning, from :mod:`parcelfence.takeoff.pricing`.
    """
    roles = [ProjectKey(table="layers", key=role, takes="file", meaning=text) for role, text in INPUT_ROLES.items()]
    settings = [
        ProjectKey(
            table="settings",
            key=info.short,
            takes=" or ".join(info.choices) or f"{info.kind} {f'({info.unit})' if info.unit else ''}".rstrip(),
            meaning=info.meaning,
        )
        for info in describe_settings()
    ]
    return (
        *_keys(_SiteTable, table="site"),
        *_keys(_ElevationEntry, table="site.elevation"),
        *roles,
        *_keys(_LayerEntry, table="layers.ROLE, where a file needs more than its path"),
        *settings,
        *_keys(Animal, table="animal, one for each", names=Animal.names()),
        *(ProjectKey(table="prices", key=name, takes="number", meaning=text) for name, text in prices.items()),
        *(ProjectKey(table="crew", key=name, takes="number", meaning=text) for name, text in crew.items()),
    )


def _keys(model: type[BaseModel], *, table: str, names: Sequence[str] = ()) -> list[ProjectKey]:
    return [
        ProjectKey(
            table=table,
            key=key,
            takes="number" if name in _NUMBERS else "text",
            meaning=field.description or "",
        )
        for key, (name, field) in zip(names or model.model_fields, model.model_fields.items(), strict=True)
    ]


_NUMBERS: Final = frozenset({"accuracy_m", "core_ratio", "animal_speed_m_per_s", "receiver_delay_s"})


@dataclass(frozen=True, kw_only=True)
class Project:
    """What a project file says.

    Parameters
    ----------
    name : str
        Name of the site; the file's own name where none is given.
    select : tuple of str
        Which parcels, each ``FIELD=VALUE``.
    sources : tuple of Source
        Input files with their roles.
    settings : Settings
        All settings.
    working_crs : str or None
        Projected CRS to work in, instead of a local one.
    elevation : ElevationSource or None
        Raster of elevations.
    prices, crew : mapping of str to float
        Unit prices and crew rates; empty where none are given, and none are assumed.
    """

    name: str
    select: tuple[str, ...]
    sources: tuple[Source, ...]
    settings: Settings
    working_crs: str | None = None
    elevation: ElevationSource | None = None
    prices: Mapping[str, float] = field(default_factory=dict)
    crew: Mapping[str, float] = field(default_factory=dict)


def read_project(path: Path, *, overrides: Mapping[str, Any] | None = None) -> Project:
    """Read a project file.

    Parameters
    ----------
    path : Path
        A TOML file with the tables ``site``, ``layers`` and ``settings``, optionally ``prices``, ``crew`` and one
        ``[[animal]]`` for each of several.
        Paths in it are relative to its own folder.
    overrides : mapping, optional
        Settings that win over those of the file.

    Raises
    ------
    SettingsError
        With every fault of the file at once.
    """
    table = _validated(_parsed(path), where=path.name)
    sources, faults = _sources(table, folder=path.parent, where=path.name)
    elevation, elevation_faults = _elevation(table.site.elevation, folder=path.parent, where=path.name)
    faults += elevation_faults
    settings = Settings()
    try:
        settings = Settings.from_words(
            {**({"animals": table.animal} if table.animal else {}), **table.settings, **(overrides or {})},
            where=f"{path.name} [settings]" if not overrides else f"{path.name} [settings] and options",
        )
    except SettingsError as error:
        faults += error.faults
    if faults:
        raise SettingsError(faults)
    return Project(
        name=path.stem if table.site.name is None else table.site.name,
        select=tuple(table.site.select),
        sources=sources,
        settings=settings,
        working_crs=table.site.working_crs,
        elevation=elevation,
        prices=table.prices,
        crew=table.crew,
    )


def files_named(path: Path) -> tuple[Path, ...]:
    """Files that a project file names, whatever else is wrong with it; none if it cannot be read."""
    try:
        table = _validated(_parsed(path), where=path.name)
    except SettingsError:
        return ()
    entries = [entry.path for entries in table.layers.values() for entry in entries]
    if table.site.elevation is not None:
        entries.append(table.site.elevation.path)
    return tuple(path.parent / entry for entry in entries)


def stated_settings(path: Path) -> set[str]:
    """Give the full names of the settings that a project file states; errors as for :func:`read_project`."""
    table = _validated(_parsed(path), where=path.name)
    return {full_name(name) for name in table.settings} | ({"animals"} if table.animal else set())


def read_settings(path: Path) -> dict[str, Any]:
    """Read a file of settings alone: names and values in JSON or TOML, at the top or in a table ``settings``.

    Raises
    ------
    SettingsError
        If it cannot be read.
    """
    if path.suffix.lower() != ".json":
        content: Any = _parsed(path)
    else:
        try:
            content = json.loads(path.read_text(encoding="utf-8-sig"))
        except OSError as error:
            raise SettingsError(
                Fault(where=str(path), found=f"it cannot be read ({error.strerror})", remedy="check the path")
            ) from error
        except ValueError as error:
            raise SettingsError(Fault(where=path.name, found=f"it is not JSON ({error})")) from error
    if isinstance(content, dict):
        content = content.get("settings", content)
    if not isinstance(content, dict):
        raise SettingsError(
            Fault(where=path.name, found="it holds no settings", must="it must hold names and their values")
        )
    return dict(content)


def _parsed(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        reason = error.strerror or str(error)
        raise SettingsError(
            Fault(where=str(path), found=f"it cannot be read ({reason})", remedy="check the path")
        ) from error
    except (ValueError, RecursionError) as error:  # no TOML, no UTF-8, a number of thousands of digits, deep nesting
        reason = "it nests too deeply" if isinstance(error, RecursionError) else str(error)
        raise SettingsError(
            Fault(where=path.name, found=f"it is not TOML ({reason})", must="a project file is TOML in UTF-8")
        ) from error


def _validated(parsed: dict[str, Any], *, where: str) -> _ProjectTable:
    try:
        return _ProjectTable.model_validate(parsed)
    except ValidationError as error:
        raise SettingsError([_as_fault(detail, where=where) for detail in error.errors()]) from error


def _as_fault(detail: Any, *, where: str) -> Fault:
    path = [str(part) for part in detail["loc"]]
    place = f"{where} [{'.'.join(path[:-1])}]" if len(path) > 1 else where
    if detail["type"] == "extra_forbidden":
        known = next(table for place, table in _TABLES.items() if tuple(path[: len(place)]) == place)
        return Fault(
            where=place, found=f"{path[-1]!r} is not known here", remedy=near_matches(path[-1], known.model_fields)
        )
    if detail["type"] == "missing":
        return Fault(where=place, found=f"{path[-1]!r} is missing", remedy="add it")
    return Fault(where=place, found=f"{path[-1]} = {detail['input']!r}", must=detail["msg"])


def _sources(table: _ProjectTable, *, folder: Path, where: str) -> tuple[tuple[Source, ...], list[Fault]]:
    faults = [
        Fault(where=f"{where} [layers]", found=f"there is no role {role!r}", remedy=near_matches(role, INPUT_ROLES))
        for role in table.layers
        if role not in INPUT_ROLES
    ]
    sources = []
    for role, entries in table.layers.items():
        for entry in entries:
            source = Source(
                role=role,
                path=folder / entry.path,
                crs_if_missing=table.site.crs,
                **entry.model_dump(exclude={"path"}),
            )
            if not source.path.exists():
                place, found = f"{where} [layers] {role}", f"the file {entry.path} does not exist"
                faults.append(Fault(where=place, found=found, remedy="check the path"))
            sources.append(source)
    if "parcels" not in table.layers:
        faults.append(Fault(where=f"{where} [layers]", found="no parcels are named", remedy='add parcels = "FILE"'))
    return tuple(sources), faults


def _elevation(
    entry: _ElevationEntry | None, *, folder: Path, where: str
) -> tuple[ElevationSource | None, list[Fault]]:
    if entry is None:
        return None, []
    place, faults = f"{where} [site] elevation", []
    path = folder / entry.path
    if not path.exists():
        faults.append(Fault(where=place, found=f"the file {entry.path} does not exist", remedy="check the path"))
    try:
        elevation_unit_m(entry.unit or "m", where=place)
    except SettingsError as error:
        faults += error.faults
    return ElevationSource(path=path, crs_if_missing=entry.crs, unit=entry.unit), faults
