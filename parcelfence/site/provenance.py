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
    """One input file as it was used; of a raster the features are its cells."""

    role: str
    name: str
    sha256: str
    crs: str
    crs_origin: str
    features: int
    used: int
    operation: DatumOperation
    accuracy_m: float | None = None
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
