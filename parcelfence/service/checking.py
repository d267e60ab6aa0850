"""Checking a wire that somebody drew, or surveyed as laid: it is read, taken as a loop, and measured as a plan is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from shapely import LineString, get_coordinates

from parcelfence.inputs.coordinates import crs_code
from parcelfence.inputs.source import Source
from parcelfence.inputs.wire_file import read_wire
from parcelfence.layout.arrangement import followed, part_remark
from parcelfence.layout.drawn import drawn_loop, is_doubled_back
from parcelfence.planning import assess
from parcelfence.settings import Settings
from parcelfence.site.provenance import InputRecord

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parcelfence.finished_plan import Plan
    from parcelfence.inputs.source import Given
    from parcelfence.layout.loop import Loop
    from parcelfence.site.site import Site

__all__ = ["check", "read_loop"]


def check(
    wire: Given,
    site: Site,
    *,
    settings: Settings | None = None,
    crs: str | None = None,
    accuracy_m: float | None = None,
    prices: Mapping[str, float] | None = None,
    crew: Mapping[str, float] | None = None,
) -> Plan:
    """Check a wire by the rules of a plan, with its signal and its lengths.

    Parameters
    ----------
    wire : path or GeoDataFrame
        Lines of wire, drawn or surveyed: GeoJSON, shapefile, GeoPackage, FlatGeobuf, DXF, GPX, survey points in CSV.
    site : Site
        The property.
    settings : Settings, optional
        Defaults where left out.
    crs : str, optional
        CRS of a file that states none.
    accuracy_m : float, optional
        Accuracy of its positions.
    prices, crew : mapping of str to float, optional
        As for :func:`parcelfence.plan`.

    Returns
    -------
    Plan
        Of the wire as it is, with every conflict that is found in it.

    Raises
    ------
    InputError
        If it cannot be read, or is no loop on this property.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> wire = plan.layers()["wire"]
    >>> moved = wire.set_geometry(wire.translate(5.0, 0.0))
    >>> checked = parcelfence.check(moved, site, settings=plan.settings)
    >>> "lot-line-wire" in {conflict.rule for conflict in checked.conflicts if conflict.severity == "must_fix"}
    True
    """
    settings = settings or Settings()
    source = replace(Source.of(wire, role="wire"), crs=crs, accuracy_m=accuracy_m)
    own, loop = read_loop(source, site=site, settings=settings)
    return assess(own, settings, loop=loop, prices=prices, crew=crew)


def read_loop(source: Source, *, site: Site, settings: Settings) -> tuple[Site, Loop]:
    """Read a wire into the working CRS and take it as a loop.

    Returns
    -------
    site : Site
        With the file in its provenance, and what the named layout contains and leaves open, as for a plan.
    loop : Loop
        The wire.

    Raises
    ------
    InputError
        If it cannot be read, or is no loop on this property.
    SettingsError
        If the layout asks for something that the site does not have.
    """
    drawn = read_wire(source)
    conversion = site.frame.conversion_from(drawn.crs, where=drawn.name)
    moved = [replace(one, line=LineString(conversion.coordinates(get_coordinates(one.line)))) for one in drawn.lines]
    record = InputRecord(
        role="wire",
        name=drawn.name,
        sha256=drawn.sha256,
        crs=crs_code(drawn.crs),
        crs_origin=drawn.crs_origin,
        features=len(drawn.lines),
        used=len(moved),
        operation=conversion.operation,
        accuracy_m=source.accuracy_m,
        repairs=drawn.repairs,
    )
    provenance = replace(site.provenance, inputs=(*site.provenance.inputs, record))
    way = followed(site, settings, doubled=is_doubled_back(moved, site=site, settings=settings))
    kept = settings.replaced(**way.clearances)
    loop = drawn_loop(moved, site=way.site, settings=kept, name=drawn.name)
    remarks = (*loop.remarks, *way.remarks, *part_remark(loop, site=site, settings=settings))
    return replace(way.site, provenance=provenance), replace(loop, remarks=remarks)
