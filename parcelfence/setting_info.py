"""The settings as data: what help, reference, forms of other programs and the command line show of each.

Everything is read off :class:`parcelfence.settings.Settings`; only the titles of the groups stand here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel

from parcelfence.settings import Settings, short_name
from parcelfence.units import parse_length_m

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["GROUPS", "SettingInfo", "describe_settings", "setting_groups"]

GROUPS: Final = {
    "Signal": "reach_m",
    "Clearances": "lot_line_setback_m",
    "What is contained": "layout",
    "Lines that stand for areas": "drive_width_m",
    "Shape": "bend_radius_m",
    "Wire and its laying": "wire_gauge_awg",
    "Flags and stations": "flag_spacing_max_m",
    "Marks": "colour_scheme",
    "Rating of the transmitter": "transmitter_volts",
    "Animal": "animal_speed_m_per_s",
    "Presentation": "units",
}
"""Titles of the groups, each with the setting at which it begins; a group reaches as far as the next one."""


def setting_groups() -> dict[str, tuple[str, ...]]:
    """Give the names of all settings by the title of their group, in their order."""
    names = list(Settings.model_fields)
    starts = [names.index(first) for first in GROUPS.values()]
    return {
        title: tuple(names[start:stop])
        for title, start, stop in zip(GROUPS, starts, [*starts[1:], len(names)], strict=True)
    }


Kind = Literal["length", "area", "number", "integer", "choice", "flag", "date", "text", "table", "tables"]
COMMON: Final = frozenset({
    *("reach_m", "lot_line_setback_m", "building_clearance_m", "utility_separation_m", "bend_radius_m"),
    *("receiver_height_m", "flag_spacing_max_m", "slack_percent", "spare_percent", "units", "layout"),
})
"""Settings that most people meet; a short help names these alone."""
_UNITS: Final = {
    "m": "m",
    "ohm_m": "ohm m",
    "m2": "m2",
    "deg": "degrees",
    "hz": "Hz",
    "awg": "AWG",
    "c": "deg C",
    "s": "s",
    "percent": "%",
}
_FOLLOWING: Final = {
    "lot_line_setback_m": "reach + 0.3 m",
    "building_clearance_m": "reach + 0.3 m",
    "station_format": "follows the units",
}


@dataclass(frozen=True, kw_only=True)
class SettingInfo:
    """One setting as help, reference and forms show it.

    Parameters
    ----------
    name, short : str
        Full name, with its unit, and the name that a person writes.
    group : str
        Title of its group.
    kind : str
        What kind of value it takes; lengths and areas may carry a unit of their own.
    unit : str
        Unit of a bare number; empty if it has none.
    default : Any
        Its default; None where there is none.
    default_text : str
        The default in words.
    choices : tuple of str
        The values that are allowed, where they can be listed.
    limits : str
        What a number must hold, such as ``> 0``.
    meaning : str
        What it does, and why it has its default.
    common : bool
        Whether most people meet it.
    """

    name: str
    short: str
    group: str
    kind: Kind
    unit: str
    default: Any
    default_text: str
    choices: tuple[str, ...]
    limits: str
    meaning: str
    common: bool


def describe_settings() -> tuple[SettingInfo, ...]:
    """Describe all settings, in the order of their groups."""
    return tuple(_described(name, group=group) for group, names in setting_groups().items() for name in names)


def _described(name: str, *, group: str) -> SettingInfo:
    field = Settings.model_fields[name]
    annotation = next((part for part in get_args(field.annotation) if part is not type(None)), field.annotation)
    choices = tuple(map(str, get_args(field.annotation))) if _is_choice(field.annotation) else ()
    suffix = "" if name.endswith("_per_s") else name.removeprefix(short_name(name)).removeprefix("_")
    unit = "m/s" if name.endswith("_m_per_s") else _UNITS.get(suffix, "")
    metadata = [
        *field.metadata,
        *(part for whole in get_args(annotation)[1:] for part in getattr(whole, "metadata", [whole])),
    ]
    following = name in _FOLLOWING
    return SettingInfo(
        name=name,
        short=short_name(name),
        group=group,
        kind="choice"
        if choices
        else "tables"
        if get_origin(field.annotation) is tuple
        else _kind(name, annotation=annotation, metadata=metadata),
        unit=unit,
        default=None if following else field.default,
        default_text=_FOLLOWING.get(name) or _default_text(field.default, unit=unit),
        choices=choices,
        limits=", ".join(_limits(metadata)),
        meaning=field.description or "",
        common=name in COMMON,
    )


def _is_choice(annotation: Any) -> bool:
    return bool(get_args(annotation)) and all(isinstance(part, str) for part in get_args(annotation))


def _kind(name: str, *, annotation: Any, metadata: list[Any]) -> Kind:
    plain = next(iter(get_args(annotation)), annotation)
    if isinstance(plain, type) and issubclass(plain, BaseModel):
        return "table"
    if name == "as_of":
        return "date"
    if name.endswith("_m2"):
        return "area"
    if name.endswith("_m") and any(getattr(part, "func", None) is parse_length_m for part in metadata):
        return "length"  # one that takes a unit; a resistivity in ohm m and a height of the ground are plain numbers
    kinds: dict[Any, Kind] = {bool: "flag", int: "integer", float: "number", str: "text"}
    return kinds[plain]


def _default_text(default: Any, *, unit: str) -> str:
    if isinstance(default, bool):
        return "yes" if default else "no"
    if isinstance(default, float | int):
        return f"{default:g} {unit}".rstrip()
    return default if isinstance(default, str) else ""


def _limits(metadata: list[Any]) -> Iterator[str]:
    """Say the least and the most, each once: a length that is above zero and at least a decimetre is the latter."""
    least = [("> ", part.gt) for part in metadata if getattr(part, "gt", None) is not None]
    least += [(">= ", part.ge) for part in metadata if getattr(part, "ge", None) is not None]
    most = [("< ", part.lt) for part in metadata if getattr(part, "lt", None) is not None]
    most += [("<= ", part.le) for part in metadata if getattr(part, "le", None) is not None]
    if least:
        word, value = max(least, key=lambda limit: (limit[1], limit[0] == "> "))
        yield f"{word}{value:g}"
    if most:
        word, value = min(most, key=lambda limit: (limit[1], limit[0] != "< "))
        yield f"{word}{value:g}"
