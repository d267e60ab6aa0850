"""Features of a site: what stands, lies or is buried there, in the working CRS."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Feature", "Utility"]


@dataclass(frozen=True, kw_only=True)
class Feature:
    """One thing on or near the property.

    Parameters
    ----------
    id : str
        Identifier, unique within its layer.
    kind : str
        What it is; for a plain feature the word of the file, or the name of the layer.
    source_id : str
        File and position of the record it came from.
    geometry : BaseGeometry
        In the working CRS, metres.
    """

    id: str
    kind: str
    source_id: str
    geometry: BaseGeometry


@dataclass(frozen=True, kw_only=True)
class Utility(Feature):
    """A buried line (or a tolerance area) as it was located.

    Parameters
    ----------
    apwa_color : str
        Colour by the APWA uniform colour code.
    tolerance_m : float
        Half-width of the tolerance zone each side.
    metallic : bool
        Whether a current can be coupled into it; unknown kinds count as metallic.
    quality_level : str
        ``"A"`` to ``"D"`` of ASCE 38 or ``"B1"`` to ``"B4"`` of PAS 128, empty if not stated.
    inferred : bool
        Whether the line was joined from point marks.
    marked_on : str
        Date of the mark (ISO 8601), empty if not stated.
    ticket : str
        Locate ticket, empty if not stated.
    raw_kind : str
        The words from which the kind was read.
    depth_m : float or None
        Depth below the ground, None if not stated.
    """

    apwa_color: str
    tolerance_m: float
    metallic: bool = True
    quality_level: str = ""
    inferred: bool = False
    marked_on: str = ""
    ticket: str = ""
    raw_kind: str = ""
    depth_m: float | None = None
