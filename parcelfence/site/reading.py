"""Reading a site: sources become one frozen :class:`Site` in its own working CRS."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import shapely
from shapely import Point

from parcelfence.errors import Fault, InputError
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import ElevationSource, Source, sources_of
from parcelfence.inputs.source_crs import crs_from_words
from parcelfence.layers import INPUT_ROLES
from parcelfence.settings import Settings
from parcelfence.site.features import features, identifier, other_parcels
from parcelfence.site.frame import LocalFrame
from parcelfence.site.grids import box_holds
from parcelfence.site.marks import MarkRecord, utilities
from parcelfence.site.meaning import meanings
from parcelfence.site.property import property_ground
from parcelfence.site.provenance import Provenance
from parcelfence.site.selection import chosen_by, select_parcels
from parcelfence.site.site import Site
from parcelfence.site.surroundings import Surroundings, surroundings
from parcelfence.site.terrain import read_terrain

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parcelfence.inputs.project_file import Project
    from parcelfence.inputs.source import Given
    from parcelfence.inputs.table import Record, Table
    from parcelfence.site.feature import Feature


__all__ = ["build_site", "on_terrain", "project_site", "read_site", "site_of"]

_PLAIN_ROLES: Final = tuple(
    role
    for role in INPUT_ROLES
    if role
    not in {"parcels", "marks", "wanted_area", "transmitter", "keep_outs", "no_animal", "no_dig", "water"}
    | {"hardscape", "trees"}
)


def read_site(
    *,
    parcels: Given,
    select: str | Sequence[str] | Mapping[str, object] = (),
    settings: Settings | None = None,
    name: str = "",
    crs: str | None = None,
    working_crs: str | None = None,
    elevation: ElevationSource | Path | str | None = None,
    **layers: Given | Sequence[Given] | None,
) -> Site:
    """Read a site from files, or from tables that are at hand.

    Parameters
    ----------
    parcels : path or GeoDataFrame
        Parcels, in any format that the reader knows; ``FILE:LAYER`` for one layer of several.
    select : mapping, str or sequence of str
        Which of them: ``{"parcel_no": "31-07"}``, or ``FIELD=VALUE``; several are taken together as one property.
    settings : Settings, optional
        Settings that matter while reading: how far marks are joined, elevation, ballpark operations.
    name : str, optional
        Name of the site.
    crs : str, optional
        CRS of the files that do not state one.
    working_crs : str, optional
        Projected CRS to work in, instead of a local one.
    elevation : path or ElevationSource, optional
        Raster of elevations, by which lengths are along the ground.
    **layers : path, GeoDataFrame, or sequence of these
        Others by role: ``buildings``, ``marks``, ``keep_outs`` and so on, see
        :data:`parcelfence.layers.INPUT_ROLES`.

    Returns
    -------
    Site
        Complete, in metres.

    Raises
    ------
    InputError
        If a file, field or value cannot be used; the message names it.

    Examples
    --------
    >>> import geopandas, shapely, parcelfence
    >>> boxes = [shapely.box(500000, 4700000, 500050, 4700040), shapely.box(500050, 4700000, 500090, 4700040)]
    >>> lots = geopandas.GeoDataFrame({"no": ["a", "b"]}, geometry=boxes, crs="EPSG:32618")
    >>> site = parcelfence.read_site(parcels=lots, select={"no": "a"})
    >>> site.parcel_id, round(site.parcel.area), len(site.neighbours)
    ('a', 2002, 1)
    """
    sources = sources_of(parcels, crs=crs, layers=layers)
    if isinstance(elevation, str | Path):
        elevation = ElevationSource(path=Path(elevation), crs_if_missing=crs)
    return build_site(
        sources, select=chosen_by(select), settings=settings, name=name, working_crs=working_crs, elevation=elevation
    )


def build_site(
    sources: Sequence[Source],
    *,
    select: Sequence[str] = (),
    settings: Settings | None = None,
    name: str = "",
    working_crs: str | None = None,
    elevation: ElevationSource | None = None,
) -> Site:
    """Read a site from sources; parameters and errors as for :func:`read_site`."""
    settings = settings or Settings()
    tables = _tables(sources)
    parcels = [table for table in tables if table.source.role == "parcels"]
    if len(parcels) != 1:
        raise InputError(
            Fault(
                where="parcels",
                found=f"{len(parcels)} files were given",
                must="the property is selected from one file of parcels",
                remedy="give exactly one",
            )
        )
    chosen = select_parcels(parcels[0], select)
    parcel_id = "+".join(dict.fromkeys(choice.partition("=")[2].strip() for choice in select))
    site = site_of(chosen, tables, settings=settings, parcel_id=parcel_id, name=name, working_crs=working_crs)
    return site if elevation is None else on_terrain(site, elevation)


def on_terrain(site: Site, source: ElevationSource) -> Site:
    """Give a site the heights of a raster, and enter the raster in its provenance; raises as :func:`read_terrain`."""
    terrain, said = read_terrain(site.frame, source, ground=site.parcel)
    provenance = Provenance(
        inputs=(*site.provenance.inputs, *said.inputs), remarks=(*site.provenance.remarks, *said.remarks)
    )
    return replace(site, provenance=provenance, terrain=terrain)


def project_site(project: Project) -> Site:
    """Read the site that a project file describes; errors as for :func:`read_site`."""
    return build_site(
        project.sources,
        select=project.select,
        settings=project.settings,
        name=project.name,
        working_crs=project.working_crs,
        elevation=project.elevation,
    )


def site_of(
    chosen: Sequence[Record],
    tables: Sequence[Table],
    *,
    settings: Settings,
    parcel_id: str = "",
    name: str = "",
    working_crs: str | None = None,
) -> Site:
    """Make a site from tables that were read before, as a screening of many parcels does.

    Parameters
    ----------
    chosen : sequence of Record
        Records of the table of parcels that make up the property.
    tables : sequence of Table
        All tables, one of them of parcels.
    settings, name, working_crs
        As for :func:`read_site`.
    parcel_id : str
        What to call the property; by its identifier or its place in the file where left out.

    Raises
    ------
    InputError
        If a table cannot be brought into the working CRS, or the property has no ground.
    """
    parcels = next(table for table in tables if table.source.role == "parcels")
    parcel_id = parcel_id or identifier(chosen[0], parcels)
    frame = _frame(parcels, chosen, settings=settings, working_crs=working_crs)
    conversion = frame.conversion_from(parcels.crs, where=parcels.source.name)
    ground = property_ground([conversion.geometry(record.geometry) for record in chosen], where=parcels.source.name)
    around = [
        surroundings(table, frame=frame, ground=ground.area, mark_join_gap_m=settings.mark_join_gap_m)
        for table in tables
    ]
    marks = utilities(_mark_records(around), settings=settings)
    meant = meanings(around, settings=settings)
    wanted = features(around, "wanted_area")
    return Site(
        name=name or parcel_id,
        parcel_id=parcel_id,
        parcel=ground.area,
        frame=frame,
        provenance=Provenance(
            inputs=tuple(one.input_record for one in around),
            remarks=(*_out_of_area(parcels, frame), *ground.remarks, *marks.remarks, *meant.remarks),
        ),
        **other_parcels(around, chosen={record.position for record in chosen}, ground=ground.area),
        utilities=marks.utilities,
        overhead=marks.overhead,
        wanted_area=property_ground([feature.geometry for feature in wanted], where="wanted_area").area
        if wanted
        else None,
        transmitter=_transmitter(features(around, "transmitter")),
        terrain=None,
        **meant.features,
        **{role: features(around, role) for role in _PLAIN_ROLES},
    )


def _out_of_area(parcels: Table, frame: LocalFrame) -> tuple[str, ...]:
    area = parcels.crs.area_of_use
    if area is None or box_holds(area.bounds, frame.centre_lon_lat):
        return ()
    return (f"the parcels lie outside the area for which {parcels.crs.name} is made ({area.name}): is the CRS right?",)


def _mark_records(around: Sequence[Surroundings]) -> list[MarkRecord]:
    return [
        MarkRecord(geometry=geometry, attributes=record.attributes, source=one.table.source, position=record.position)
        for one in around
        if one.role == "marks"
        for record, geometry in one.records
    ]


def _tables(sources: Sequence[Source]) -> list[Table]:
    """Read all sources, gathering the faults of all files before giving up."""
    tables, faults, first = [], list[Fault](), None
    for source in sources:
        try:
            tables.append(read_table(source))
        except InputError as error:
            first = first or error
            faults += error.faults or [Fault(where=source.name, found=str(error))]
    if first is not None:
        raise type(first)(faults)
    return tables


def _frame(parcels: Table, chosen: Sequence[Record], *, settings: Settings, working_crs: str | None) -> LocalFrame:
    extent = shapely.union_all([shapely.box(*record.geometry.bounds) for record in chosen])
    if working_crs is None:
        return LocalFrame.around(
            extent,
            parcels.crs,
            ground_elevation_m=settings.ground_elevation_m,
            allow_ballpark=settings.allow_ballpark,
        )
    crs = crs_from_words(working_crs, where="working CRS")
    return LocalFrame.on(crs, extent, source_crs=parcels.crs, allow_ballpark=settings.allow_ballpark)


def _transmitter(given: Sequence[Feature]) -> Point | None:
    if not given:
        return None
    if len(given) > 1:
        raise InputError(
            Fault(
                where="transmitter",
                found=f"{len(given)} places lie near the property",
                must="one transmitter drives the loop",
                remedy="leave one in the file",
            )
        )
    return given[0].geometry.centroid
