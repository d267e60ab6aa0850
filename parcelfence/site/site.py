"""The site: the property and everything on it that matters, in one local metric CRS."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from parcelfence.site.buried_lines import BuriedLine, join_segments
from parcelfence.text import on_one_line
from parcelfence.units import METRIC

if TYPE_CHECKING:
    from shapely import MultiPolygon, Point, Polygon

    from parcelfence.site.feature import Feature, Utility
    from parcelfence.site.frame import LocalFrame
    from parcelfence.site.provenance import Provenance
    from parcelfence.site.terrain import Terrain

__all__ = ["Site"]


@dataclass(frozen=True, kw_only=True, repr=False)
class Site:
    """A property, ready for design.

    All geometries are valid, two-dimensional, in metres of ``frame.crs``.

    Parameters
    ----------
    name : str
        What the person calls it.
    parcel_id : str
        Identifier of the parcel, or of several joined by ``+``.
    parcel : Polygon or MultiPolygon
        The property.
    frame : LocalFrame
        Working CRS and the ways into others.
    provenance : Provenance
        Inputs, repairs, datum operations.
    neighbours, buildings, easements, roads, doors, metal, other_loops : tuple of Feature
        Features within reach of the property; whole, not clipped.
    overlaps : tuple of Feature
        Ground of the property that another parcel of the file holds too.
    keep_outs, no_dig : tuple of Feature
        Ground that the animal must stay out of; ground that must not be dug, where the animal may walk.
    water, watercourses : tuple of Feature
        Open water; the banks of creeks and ditches, which wire may cross.
    hardscape, joints : tuple of Feature
        Hard surfaces (see :func:`parcelfence.site.meaning.surface`); joints in them, as lines.
    fences, gates : tuple of Feature
        Fences along which wire may be fixed, as lines; gates in them.
    trees : tuple of Feature
        Ground of the roots of trees.
    passages : tuple of Feature
        Ways that are kept free of signal, as lines that the wire crosses.
    utilities : tuple of Utility
        Located lines and tolerance areas in the ground.
    overhead : tuple of Utility
        Lines among the marks that are said to hang in the air.
    open_sides : tuple of Feature
        Stretches along which no signal is wanted.
    wanted_area : Polygon or MultiPolygon or None
        Part of the property to be contained; None for all of it.
    transmitter : Point or None
        Place of the transmitter, if it was given.
    terrain : Terrain or None
        Heights of the ground, if they were given; without them the ground is flat.

    Examples
    --------
    >>> import parcelfence
    >>> parcelfence.read_site(
    ...     parcels="sample_geodata/parcels.geojson",
    ...     buildings="sample_geodata/buildings.geojson",
    ...     select="parcel_no=31-07",
    ... )
    <Site 31-07, parcel 31-07 of 2.91 ha: 5 in neighbours, 8 in buildings>
    """

    name: str
    parcel_id: str
    parcel: Polygon | MultiPolygon
    frame: LocalFrame
    provenance: Provenance
    neighbours: tuple[Feature, ...] = ()
    overlaps: tuple[Feature, ...] = ()
    buildings: tuple[Feature, ...] = ()
    utilities: tuple[Utility, ...] = ()
    overhead: tuple[Utility, ...] = ()
    keep_outs: tuple[Feature, ...] = ()
    no_dig: tuple[Feature, ...] = ()
    water: tuple[Feature, ...] = ()
    watercourses: tuple[Feature, ...] = ()
    hardscape: tuple[Feature, ...] = ()
    joints: tuple[Feature, ...] = ()
    fences: tuple[Feature, ...] = ()
    gates: tuple[Feature, ...] = ()
    trees: tuple[Feature, ...] = ()
    passages: tuple[Feature, ...] = ()
    easements: tuple[Feature, ...] = ()
    roads: tuple[Feature, ...] = ()
    doors: tuple[Feature, ...] = ()
    metal: tuple[Feature, ...] = ()
    other_loops: tuple[Feature, ...] = ()
    open_sides: tuple[Feature, ...] = ()
    wanted_area: Polygon | MultiPolygon | None = None
    transmitter: Point | None = None
    terrain: Terrain | None = None

    def __repr__(self) -> str:
        near = {name: len(value) for name, value in vars(self).items() if isinstance(value, tuple) and value}
        counts = ", ".join(f"{count} in {name}" for name, count in near.items()) or "nothing near it"
        area = METRIC.area(self.parcel.area)
        return f"<Site {on_one_line(self.name)}, parcel {on_one_line(self.parcel_id)} of {area}: {counts}>"

    @cached_property
    def roofs(self) -> MultiPolygon:
        """Ground that buildings stand on."""
        from shapely import MultiPolygon, Polygon, get_parts, union_all

        parts = get_parts(union_all([building.geometry for building in self.buildings]))
        return MultiPolygon([part for part in parts if isinstance(part, Polygon)])

    @cached_property
    def buried_lines(self) -> tuple[BuriedLine, ...]:
        """The utilities, segments that lie end to end joined: what is crossed, and what a wire runs beside."""
        return join_segments(self.utilities)
