"""A delivery: one plan with its layers in the systems in which they are handed out; what every writer gets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final

from parcelfence.antimeridian import TURN_DEG, cut_in_two
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.outputs.tables import chosen, converted, rounded, tables
from parcelfence.site.frame import WGS84, horizontal
from parcelfence.units import FOOT_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame
    from pyproj import CRS

    from parcelfence.finished_plan import Plan
    from parcelfence.site.provenance import DatumOperation

__all__ = ["DRAWN_UNITS", "Delivery", "delivery", "public_code"]

DRAWN_UNITS: Final = {"metre": 6, "foot": 2, "US survey foot": 21}
"""Units of drawings, by PROJ's name, with the value of $INSUNITS (DXF reference, header variables)."""
_SYSTEMS: Final = 64
"""Far more systems than the outputs of one plan stand in."""


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """What is handed out, and in which systems.

    Parameters
    ----------
    plan : Plan
        The plan.
    crs : CRS
        System of the layers: the working CRS, or the one that was asked for.
    operation : DatumOperation or None
        How the layers came into `crs`; None for the working CRS.
    tables : dict of str to GeoDataFrame
        Every layer in `crs`, in the order of the schema table.
    layer_names : tuple of str
        The layers that were asked for; files with one layer each, or with layers by name, hold these.
    """

    plan: Plan
    crs: CRS
    operation: DatumOperation | None
    tables: dict[str, GeoDataFrame]
    layer_names: tuple[str, ...]

    @property
    def layers(self) -> dict[str, GeoDataFrame]:
        """The layers that were asked for, in `crs`."""
        return {name: self.tables[name] for name in self.layer_names}

    @cached_property
    def working(self) -> dict[str, GeoDataFrame]:
        """Every layer in the working CRS."""
        return self.tables if self.operation is None else rounded(tables(self.plan))

    @cached_property
    def wgs84(self) -> dict[str, GeoDataFrame]:
        """Every layer in longitude and latitude on WGS 84, of one piece across the antimeridian."""
        return converted(self.working, self.plan.site.frame.to_wgs84(), crs=WGS84)

    @property
    def layers_wgs84(self) -> dict[str, GeoDataFrame]:
        """The layers that were asked for, on WGS 84 with all longitudes within -180 and 180 (RFC 7946)."""
        return {name: _cut(self.wgs84[name]) for name in self.layer_names}

    @cached_property
    def plane(self) -> dict[str, GeoDataFrame]:
        """Every layer in :attr:`plane_crs`."""
        crs, frame = self.plane_crs, self.plan.site.frame
        if crs == self.crs:
            return self.tables
        if crs == frame.crs:
            return self.working
        conversion = frame.conversion_to(crs, where="CRS of the points to set out")
        return rounded(converted(self.working, conversion, crs=crs))

    @cached_property
    def plane_crs(self) -> CRS:
        """System of what is set out, surveyed and drawn.

        The one that was asked for, if it is projected; else the public one in which the parcels came, so that the
        points fit what a surveyor has; else the working CRS, a local grid that only this plan knows.
        """
        if self.operation is not None and self.crs.is_projected:
            return self.crs
        return _public_crs(self.plan) or self.plan.site.frame.crs

    @property
    def is_local_grid(self) -> bool:
        """Whether :attr:`plane_crs` is a local grid, of which nobody else knows."""
        return public_code(self.plane_crs) is None

    @property
    def station_style(self) -> str:
        """How chainage is written beside coordinates of :attr:`plane`: in feet beside feet, else as was asked for."""
        unit_m = self.plane_crs.axis_info[0].unit_conversion_factor
        in_feet = math.isclose(unit_m, FOOT_M, rel_tol=1e-5)  # the survey foot too
        return "us" if in_feet else self.plan.settings.station_format


def delivery(plan: Plan, *, layers: Sequence[str] | None = None, dst_crs: CRS | str | None = None) -> Delivery:
    """Prepare a plan for its writers.

    Parameters
    ----------
    plan : Plan
        The plan.
    layers : sequence of str, optional
        Layers to hand out; all of them if left out.
    dst_crs : CRS or str, optional
        System to hand them out in; the working CRS if left out.

    Raises
    ------
    OutputError
        If there is no layer of a given name.
    CrsError
        If the CRS is none, or is not reached with a known accuracy.
    """
    working = rounded(tables(plan))
    names = tuple(chosen(working, layers))
    if dst_crs is None:
        return Delivery(plan=plan, crs=plan.site.frame.crs, operation=None, tables=working, layer_names=names)
    crs = horizontal(_crs(dst_crs))
    conversion = plan.site.frame.conversion_to(crs, where="CRS of the outputs")
    carried = rounded(converted(working, conversion, crs=crs))
    return Delivery(plan=plan, crs=crs, operation=conversion.operation, tables=carried, layer_names=names)


@lru_cache(maxsize=_SYSTEMS)
def public_code(crs: CRS) -> tuple[str, str] | None:
    """Give authority and code of a system that is exactly one of a public list; looked up once, for it takes long."""
    known = crs.to_authority(min_confidence=100)
    return (str(known[0]), str(known[1])) if known else None


def _cut(table: GeoDataFrame) -> GeoDataFrame:
    west, _, east, _ = table.total_bounds
    within = not (east > TURN_DEG / 2 or west < -TURN_DEG / 2)
    return table if within else table.set_geometry(table.geometry.apply(cut_in_two), crs=table.crs)


def _public_crs(plan: Plan) -> CRS | None:
    """Give the projected system with a public code in which the parcels came; None if they came in none."""
    codes = [record.crs for record in plan.site.provenance.inputs if record.role == "parcels"]
    if not codes or not codes[0].startswith("EPSG:"):
        return None
    crs = crs_from_words(codes[0], where="parcels")
    known = crs.is_projected and all(axis.unit_name in DRAWN_UNITS for axis in crs.axis_info)
    return crs if known and "seudo" not in crs.name else None  # a pseudo-Mercator is no measure of length


def _crs(given: CRS | str) -> CRS:
    return crs_from_words(given, where="CRS of the outputs") if isinstance(given, str) else given
