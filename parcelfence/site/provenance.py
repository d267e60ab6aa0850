"""Provenance: where every number of a plan came from, and how accurately."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parcelfence.errors import Fault

__all__ = ["DatumOperation", "InputRecord", "Provenance"]


@dataclass(frozen=True, kw_only=True)
class DatumOperation:
    """How coordinates came from one CRS into another.

    Parameters
    ----------
    source, target : str
        Names of the two systems.
    name : str
        PROJ's name of the operation.
    definition : str
        PROJ's pipeline.
    accuracy_m : float or None
        PROJ's stated accuracy; None if PROJ states none.
    ballpark : bool
        Whether the datum shift was left out.
    missing_grids : tuple of str
        Grids that would have given a better operation.
    """

    source: str
    target: str
    name: str
    definition: str
    accuracy_m: float | None
    ballpark: bool = False
    missing_grids: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class InputRecord:
    """One input file as it was used; of a raster the features are its cells.

    Parameters
    ----------
    role, name, sha256 : str
        What it was used as, its name, its hash.
    crs, crs_origin : str
        Its CRS, and how that is known.
    features, used : int
        What it holds, and how much of that lies near the property.
    operation : DatumOperation
        Way into the working CRS.
    accuracy_m : float or None
        Stated accuracy of its positions.
    rounded_to_m : float
        Step to which its coordinates are rounded, where it is coarse enough to matter; else 0.
    away_m : float or None
        Where nothing of it lies near the property: how far away its nearest feature is.
    elsewhere : bool
        Whether all of it lies so far away that it is hardly meant for this property.
    repairs : tuple of Fault
        What was mended near the property, and what was left out.
    """

    role: str
    name: str
    sha256: str
    crs: str
    crs_origin: str
    features: int
    used: int
    operation: DatumOperation
    accuracy_m: float | None = None
    rounded_to_m: float = 0.0
    away_m: float | None = None
    elsewhere: bool = False
    repairs: tuple[Fault, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """All inputs of a site, and remarks on what was made of them."""

    inputs: tuple[InputRecord, ...]
    remarks: tuple[str, ...] = ()

    @property
    def repairs(self) -> tuple[Fault, ...]:
        """Everything that was mended or left out, over all inputs."""
        return tuple(repair for record in self.inputs for repair in record.repairs)
