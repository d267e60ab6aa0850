"""Roles and settings as the command line declares them: written into the plug-in when it is packed, read here."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

__all__ = ["Role", "SettingField", "roles", "settings", "version"]

_FILE = "schema.json"


@dataclass(frozen=True)
class Role:
    """One role of an input layer, and the dimensions of geometry that it takes: 0 points, 1 lines, 2 areas."""

    name: str
    meaning: str
    dimensions: tuple[int, ...]


@dataclass(frozen=True)
class SettingField:
    """One setting as a form shows it."""

    name: str
    short: str
    kind: str
    unit: str
    default: Any
    default_text: str
    choices: tuple[str, ...]
    meaning: str
    common: bool


@lru_cache(maxsize=1)
def _read() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(Path(__file__).with_name(_FILE).read_text(encoding="utf-8"))
    return found


def version() -> str:
    """Give the version of parcelfence that this plug-in was packed by."""
    return str(_read()["version"])


def roles() -> tuple[Role, ...]:
    """Give every role, the parcels first."""
    return tuple(
        Role(name=one["name"], meaning=one["meaning"], dimensions=tuple(one["dimensions"])) for one in _read()["roles"]
    )


def settings() -> tuple[SettingField, ...]:
    """Give every setting, in the order of their groups."""
    return tuple(SettingField(**{**one, "choices": tuple(one["choices"])}) for one in _read()["settings"])
