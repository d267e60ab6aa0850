"""A source: one input file or table, the role it plays and what the person said about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.layers import INPUT_ROLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from geopandas import GeoDataFrame

    Given: TypeAlias = Path | str | GeoDataFrame

__all__ = ["ElevationSource", "Source", "check_roles", "sources_of"]


@dataclass(frozen=True, kw_only=True)
class Source:
    """One file (or one layer of it) in one role.

    Parameters
    ----------
    role : str
        One of :data:`parcelfence.layers.INPUT_ROLES`.
    path : Path
        The file.
    layer : str, optional
        Layer of a file that holds several.
    crs : str, optional
        Coordinate reference system of this file, if it does not say it. Against a file that says another one it is
        refused, unless it is written as ``override:EPSG:2229``.
    crs_if_missing : str, optional
        The same for every file of a plan that states none; left aside where the file states one.
    id_field : str, optional
        Attribute to take as identifier.
    kind : str, optional
        Kind of every feature of the file, whatever its attributes say.
    kind_field : str, optional
        Attribute to read the kind from, instead of any likely one.
    accuracy_m : float, optional
        Accuracy of the source as its maker states it.
    frame : GeoDataFrame, optional
        The features themselves, where they come from no file; `path` is then what to call them.
    """

    role: str
    path: Path
    layer: str | None = None
    crs: str | None = None
    crs_if_missing: str | None = None
    id_field: str | None = None
    kind: str | None = None
    kind_field: str | None = None
    accuracy_m: float | None = None
    frame: GeoDataFrame | None = field(default=None, compare=False, repr=False)

    @classmethod
    def of(cls, given: Given, *, role: str, crs_if_missing: str | None = None) -> Source:
        """Make a source of what a caller hands over: a path, ``FILE:LAYER``, or a GeoDataFrame."""
        if isinstance(given, Path | str):
            return cls.named(given, role=role, crs_if_missing=crs_if_missing)
        return cls(role=role, path=Path(role), frame=given)

    @classmethod
    def named(cls, words: Path | str, *, role: str, crs_if_missing: str | None = None) -> Source:
        """Make a source of what a person writes: a path, or ``FILE:LAYER`` for a file that holds several layers."""
        path = Path(words)
        file, colon, layer = str(words).rpartition(":")
        if colon and layer and not path.exists() and Path(file).exists():
            return cls(role=role, path=Path(file), layer=layer, crs_if_missing=crs_if_missing)
        return cls(role=role, path=path, crs_if_missing=crs_if_missing)

    @property
    def name(self) -> str:
        """File name, with the layer where one is named."""
        return f"{self.path.name}:{self.layer}" if self.layer else self.path.name

    @property
    def crs_argument(self) -> str:
        """Argument by which a person gives the CRS of this file, as messages name it."""
        return f"`{self.role}_crs`" if self.role in {"wire", "walk"} else "`crs`"


@dataclass(frozen=True, kw_only=True)
class ElevationSource:
    """A raster of elevations, and what the person says about it.

    Parameters
    ----------
    path : Path
        The file.
    crs_if_missing : str, optional
        Its CRS, if it states none.
    unit : str, optional
        Unit of the elevations, whatever the file says.
    """

    path: Path
    crs_if_missing: str | None = None
    unit: str | None = None

    @property
    def name(self) -> str:
        """File name."""
        return self.path.name


def sources_of(
    parcels: Given, *, crs: str | None, layers: Mapping[str, Given | Sequence[Given] | None]
) -> tuple[Source, ...]:
    """Make the sources of what a caller hands over by role, the parcels first.

    Parameters
    ----------
    parcels : path or GeoDataFrame
        The parcels.
    crs : str or None
        CRS of the files that state none.
    layers : mapping
        What else there is, by role: one or several of each, or None.

    Raises
    ------
    InputError
        If a role is none.
    """
    check_roles(layers)
    sources = [Source.of(parcels, role="parcels", crs_if_missing=crs)]
    for role, given in layers.items():
        listed = list(given) if isinstance(given, list | tuple) else [] if given is None else [given]
        sources += [Source.of(one, role=role, crs_if_missing=crs) for one in listed]
    return tuple(sources)


def check_roles(roles: Iterable[str]) -> None:
    """Refuse roles that there are not beside the parcels, with what may have been meant; raises InputError."""
    known = [role for role in INPUT_ROLES if role != "parcels"]
    faults = [
        Fault(where="layers", found=f"there is no role {role!r}", remedy=near_matches(role, known))
        for role in roles
        if role not in known
    ]
    if faults:
        raise InputError(faults)
