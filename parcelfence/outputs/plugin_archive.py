"""The plug-in for QGIS as a zip: its source, its metadata, and the roles and settings of this version as a schema.

The same version gives the same bytes.
"""

from __future__ import annotations

import json
import zipfile
from dataclasses import asdict
from pathlib import Path
from typing import Final

import parcelfence
from parcelfence.errors import Fault, OutputError
from parcelfence.inputs.repair import ROLE_DIMENSIONS
from parcelfence.layers import INPUT_ROLES
from parcelfence.outputs.folder import whole_file
from parcelfence.setting_info import SettingInfo, describe_settings

__all__ = ["FOLDER", "write_plugin"]

FOLDER: Final = "parcelfence_qgis"
"""Folder in the zip, and so the name of the plug-in's package: not that of the library, which it must not hide."""
_SOURCE: Final = Path(parcelfence.__file__).with_name("qgis_plugin")
_SUFFIXES: Final = (".py", ".svg")
_FIXED_TIME: Final = (2000, 1, 1, 0, 0, 0)
_READABLE: Final = 0o100644 << 16
_SHOWN: Final = ("name", "short", "kind", "unit", "default", "default_text", "choices", "meaning", "common")
_METADATA: Final = """\
[general]
name=parcelfence
qgisMinimumVersion=3.22
description=Plans buried boundary wire that keeps pets on a property, from the layers of a project
about=Processing algorithms that design, compute, check and count a loop of buried boundary wire. They call the
    program parcelfence, which is installed in a Python of its own and named in the options of Processing. Before any
    digging call the utility locating service.
version={version}
author=parcelfence contributors
email=
hasProcessingProvider=yes
category=Analysis
tags=parcels,utilities,wire,pets
icon=icon.svg
experimental=False
"""


def write_plugin(path: Path, *, overwrite: bool = False) -> None:
    """Write the zip, whole or not at all.

    Parameters
    ----------
    path : Path
        The zip.
    overwrite : bool
        Whether a file that stands there may be replaced.

    Raises
    ------
    OutputError
        If it stands there already, or cannot be written.
    """
    if path.exists() and not overwrite:
        raise OutputError(
            Fault(
                where=str(path), found="it exists already", remedy="choose another name, or replace it with --overwrite"
            )
        )
    contents = {entry.name: entry.read_bytes() for entry in sorted(_SOURCE.iterdir()) if entry.suffix in _SUFFIXES}
    contents["metadata.txt"] = _METADATA.format(version=parcelfence.__version__).encode()
    contents["schema.json"] = json.dumps(_schema(), indent=1, ensure_ascii=False).encode()
    with whole_file(path) as partial, zipfile.ZipFile(partial, "w") as archive:
        for name, content in sorted(contents.items()):
            entry = zipfile.ZipInfo(f"{FOLDER}/{name}", date_time=_FIXED_TIME)
            entry.external_attr = _READABLE
            archive.writestr(entry, content)  # stored: versions of zlib pack differently


def _schema() -> dict[str, object]:
    return {
        "version": parcelfence.__version__,
        "roles": [
            {"name": role, "meaning": meaning, "dimensions": ROLE_DIMENSIONS[role]}
            for role, meaning in INPUT_ROLES.items()
        ],
        "settings": [_described(info) for info in describe_settings()],
    }


def _described(info: SettingInfo) -> dict[str, object]:
    every = asdict(info)
    return {name: every[name] for name in _SHOWN}
