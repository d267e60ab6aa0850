"""The finished plan: what every output is made from, and nothing that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import parcelfence
from parcelfence.conflict import severity_tally
from parcelfence.text import on_one_line
from parcelfence.units import unit_system

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from folium import Map
    from geopandas import GeoDataFrame
    from matplotlib.axes import Axes

    from parcelfence.animal import Animal
    from parcelfence.circuit.circuit import Circuit
    from parcelfence.conflict import Conflict
    from parcelfence.field.profile import ReachProfile
    from parcelfence.field.zones import Zones
    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site
    from parcelfence.takeoff.as_built import AsBuilt
    from parcelfence.takeoff.take_off import TakeOff

__all__ = ["Plan", "PlanOfAnimal"]


@dataclass(frozen=True, kw_only=True)
class PlanOfAnimal:
    """The plan as one of several animals meets it: its settings, and its zones by the one level that all share."""

    animal: Animal
    settings: Settings
    zones: Zones
    profiles: tuple[ReachProfile, ...]


@dataclass(frozen=True, kw_only=True, repr=False)
class Plan:
    """A finished plan: design, signal, checks and counts.  Complete when it exists.

    ``zones`` and ``profiles`` are those of the greatest reach; ``animals`` has them for each of several animals.
    ``as_built`` is the record of a wire that lies in the ground; None for one that is only planned.

    Its methods are the package's public functions of a plan, written behind a dot.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> repr(plan).split(":")[0]
    '<Plan of 31-05, parcel 31-05'
    >>> {conflict.severity for conflict in plan.conflicts} <= {"must_fix", "caution", "note"}
    True
    """

    site: Site
    settings: Settings
    loop: Loop
    crossings: tuple[Crossing, ...]
    zones: Zones
    profiles: tuple[ReachProfile, ...]
    circuit: Circuit
    conflicts: tuple[Conflict, ...]
    take_off: TakeOff
    animals: tuple[PlanOfAnimal, ...] = ()
    as_built: AsBuilt | None = None

    def __repr__(self) -> str:
        units, site = unit_system(self.settings.units), self.site
        wire_m, free_m2 = self.take_off.sequence.conductor_length_m, self.zones.free_ground.area
        return (
            f"<Plan of {on_one_line(site.name)}, parcel {on_one_line(site.parcel_id)}: reach "
            f"{units.length(self.settings.reach_m)}, {units.length(wire_m, digits=0)} of wire, "
            f"{units.area(free_m2)} free to roam; {severity_tally(self.conflicts)}>"
        )

    def _repr_html_(self) -> str:  # noqa: PLW3201  (notebooks look for it)
        """Show it in a notebook: a small picture, and what its line of text says."""
        return f"<figure>{parcelfence.picture(self)}<figcaption>{escape(repr(self)[1:-1])}</figcaption></figure>"

    def explore(self, *, tiles: str | None = None) -> Map:
        """Make a folium map of the plan: :func:`parcelfence.explore` of this plan."""
        return parcelfence.explore(self, tiles=tiles)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the plan with matplotlib: :func:`parcelfence.plot` of this plan."""
        return parcelfence.plot(self, ax)

    def layers(self) -> dict[str, GeoDataFrame]:
        """Give every layer as a table in the working CRS: :func:`parcelfence.layer_tables` of this plan."""
        return parcelfence.layer_tables(self)

    def write(
        self,
        directory: Path | str,
        *,
        overwrite: bool = False,
        formats: Sequence[str] | None = None,
        layers: Sequence[str] | None = None,
        dst_crs: str | None = None,
    ) -> None:
        """Write the plan into a folder, whole or not at all: :func:`parcelfence.write` of this plan."""
        parcelfence.write(self, directory, overwrite=overwrite, formats=formats, layers=layers, dst_crs=dst_crs)
