"""The layers of a plan as tables: exact columns, exact types, right even when empty.

Every output reads its layers from here, and what a layer holds is said in :mod:`parcelfence.layers` alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from parcelfence.errors import CrsError, Fault, OutputError, near_matches
from parcelfence.layers import LAYERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from parcelfence.finished_plan import Plan
    from parcelfence.layers import LayerSchema
    from parcelfence.site.feature import Feature
    from parcelfence.site.frame import Conversion

__all__ = ["chosen", "converted", "rounded", "tables"]

Row = tuple[Any, ...]
"""Values of the columns in the order of the schema, and last the geometry."""

_REACH_INTERVAL_M: Final = 3.0
_DECIMALS: Final = 5
"""A hundredth of a millimetre: far below what can be laid, far above what versions of the libraries differ by."""
_DECIMALS_OF_DEGREES: Final = 10
"""The same on the globe."""
_DTYPES: Final = {"text": "str", "real": "float64", "integer": "int64", "boolean": "bool"}


def tables(plan: Plan) -> dict[str, GeoDataFrame]:
    """Make the table of every layer.

    Parameters
    ----------
    plan : Plan
        A finished plan.

    Returns
    -------
    dict of str to GeoDataFrame
        By layer name, in the order of :data:`parcelfence.layers.LAYERS`, in the working CRS.  A layer without
        features is there too, with its columns and their types.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> layers = parcelfence.layer_tables(plan)  # or plan.layers()
    >>> layers["zones"]["kind"].tolist()
    ['roam', 'signal', 'core']
    >>> layers["wire"].crs.axis_info[0].unit_name
    'metre'
    """
    crs = plan.site.frame.crs
    return {schema.name: _table(schema, _ROWS[schema.name](plan), crs=crs) for schema in LAYERS}


def converted(layers: Mapping[str, GeoDataFrame], conversion: Conversion, *, crs: CRS) -> dict[str, GeoDataFrame]:
    """Carry tables into another CRS by one stated datum operation.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        Tables in the working CRS.
    conversion : Conversion
        Way into `crs`, from :meth:`parcelfence.site.frame.LocalFrame.conversion_to`.
    crs : CRS
        The CRS of the result.

    Returns
    -------
    dict of str to GeoDataFrame
        New tables; the given ones are left as they are.

    Raises
    ------
    CrsError
        If a coordinate lies where `crs` is not defined.
    """
    carried = {}
    for name, table in layers.items():
        geometries = conversion.geometries(np.asarray(table.geometry.array, dtype=object))
        if not np.isfinite(shapely.get_coordinates(geometries)).all():
            raise CrsError(
                Fault(
                    where=f"layer {name}",
                    found=f"coordinates lie where {crs.name} is not defined",
                    must="the CRS of the outputs must be made for the place of the property",
                    remedy="choose another one, or leave it out to get the working CRS",
                )
            )
        carried[name] = table.set_geometry(geopandas.GeoSeries(geometries, index=table.index, crs=crs), crs=crs)
    return carried


def rounded(layers: Mapping[str, GeoDataFrame]) -> dict[str, GeoDataFrame]:
    """Round coordinates and real columns, so that the same plan gives the same bytes whatever it was computed with."""
    made = {}
    for name, table in layers.items():
        decimals = _DECIMALS_OF_DEGREES if table.crs.is_geographic else _DECIMALS

        def nearest(coordinates: NDArray[np.float64], decimals: int = decimals) -> NDArray[np.float64]:
            return np.round(coordinates, decimals)

        shapes = shapely.transform(np.asarray(table.geometry.array, dtype=object), nearest)
        real = {column: table[column].round(_DECIMALS) for column in table.columns if table[column].dtype == "float64"}
        made[name] = table.assign(**real).set_geometry(geopandas.GeoSeries(shapes, index=table.index, crs=table.crs))
    return made


def chosen(layers: Mapping[str, GeoDataFrame], names: Iterable[str] | None) -> dict[str, GeoDataFrame]:
    """Keep the layers of the given names, in their own order; None keeps all.

    Raises
    ------
    OutputError
        With every name that is no layer.
    """
    if names is None:
        return dict(layers)
    wanted = list(names)
    faults = [
        Fault(where="layers", found=f"there is no layer {name!r}", remedy=near_matches(name, layers))
        for name in wanted
        if name not in layers
    ]
    if faults:
        raise OutputError(faults)
    return {name: table for name, table in layers.items() if name in wanted}


def _table(schema: LayerSchema, rows: Iterable[Row], *, crs: CRS) -> GeoDataFrame:
    listed = list(rows)
    columns: dict[str, Any] = {
        column.name: pd.Series([row[place] for row in listed], dtype=_DTYPES[column.dtype])
        for place, column in enumerate(schema.columns)
    }
    geometry = geopandas.GeoSeries([row[-1] for row in listed], crs=crs)
    return geopandas.GeoDataFrame(columns, geometry=geometry, crs=crs)


def _features(role: str) -> Callable[[Plan], list[Row]]:
    def rows(plan: Plan) -> list[Row]:
        features: tuple[Feature, ...] = getattr(plan.site, role)
        return [(feature.id, feature.kind, feature.source_id, feature.geometry) for feature in features]

    return rows


def _parcel(plan: Plan) -> list[Row]:
    return [(plan.site.parcel_id, plan.site.parcel.area, plan.site.parcel)]


def _wanted_area(plan: Plan) -> list[Row]:
    area = plan.site.wanted_area
    if area is None:
        return []
    files = [record.name for record in plan.site.provenance.inputs if record.role == "wanted_area"]
    return [("wanted_area", "wanted_area", " ".join(files), area)]


def _utilities(plan: Plan) -> list[Row]:
    return [
        (
            utility.id,
            utility.kind,
            utility.source_id,
            utility.apwa_color,
            utility.tolerance_m,
            utility.quality_level,
            utility.inferred,
            utility.marked_on,
            utility.geometry,
        )
        for utility in plan.site.utilities
    ]


def _zones(plan: Plan) -> list[Row]:
    zones: tuple[tuple[str, BaseGeometry], ...] = (
        ("roam", plan.zones.roam),
        ("signal", plan.zones.signal),
        ("core", plan.zones.core),
        ("indoors", plan.zones.indoors),
    )
    return [(kind, zone.area, zone) for kind, zone in zones if not zone.is_empty]


def _animal_zones(plan: Plan) -> list[Row]:
    return [
        (one.animal.name, kind, one.zones.receiver.reach_m, zone.area, zone)
        for one in plan.animals
        if one.zones.receiver != plan.zones.receiver
        for kind, zone in (("roam", one.zones.roam), ("signal", one.zones.signal))
        if not zone.is_empty
    ]


def _wire(plan: Plan) -> list[Row]:
    return [
        (
            leg.leg,
            leg.part,
            leg.loop_id,
            leg.twisted,
            leg.start_station_m,
            leg.ground_length_m,
            leg.conductor_length_m,
            leg.line,
        )
        for leg in plan.take_off.sequence.legs
    ]


def _crossings(plan: Plan) -> list[Row]:
    return [
        (crossing.crosses, crossing.kind, crossing.angle_deg, crossing.station_m, crossing.length_m, crossing.point)
        for crossing in plan.crossings
    ]


def _flags(plan: Plan) -> list[Row]:
    return [(flag.flag, flag.station_m, flag.removal_round, flag.point) for flag in plan.take_off.flags]


def _stations(plan: Plan) -> list[Row]:
    return [
        (station.station_m, station.label, station.point_kind, station.point.y, station.point.x, station.point)
        for station in plan.take_off.stations
    ]


def _reach(plan: Plan) -> list[Row]:
    """Every few metres; the profiles follow the runs that carry the signal."""
    rows: list[Row] = []
    for run, profile in zip(plan.loop.signal_runs, plan.profiles, strict=True):
        kept = np.flatnonzero(np.diff(np.floor_divide(profile.station_m, _REACH_INTERVAL_M), prepend=-1.0))
        inside, outside = (
            np.where(np.isfinite(reach_m), reach_m, np.nan)
            for reach_m in (profile.reach_inside_m, profile.reach_outside_m)
        )
        rows += [
            (
                run.loop_id,
                run.start_station_m + float(profile.station_m[at]),
                float(inside[at]),
                float(outside[at]),
                shapely.Point(profile.points[at]),
            )
            for at in kept
        ]
    return rows


def _splices(plan: Plan) -> list[Row]:
    return [(splice.id, splice.station_m, splice.note, splice.point) for splice in plan.take_off.sequence.splices]


def _ties(plan: Plan) -> list[Row]:
    return [
        (
            tie.name,
            tie.kind,
            tie.loop_id,
            tie.station_m,
            f"{tie.first.tag} {tie.first.words}",
            tie.first_m,
            f"{tie.second.tag} {tie.second.words}",
            tie.second_m,
            tie.side,
            tie.cut_deg,
            tie.within_m,
            tie.line,
        )
        for tie in plan.take_off.ties
    ]


def _transmitter(plan: Plan) -> list[Row]:
    transmitter = plan.loop.transmitter
    return [] if transmitter is None else [("transmitter", transmitter.note, transmitter.point)]


def _conflicts(plan: Plan) -> list[Row]:
    return [
        (
            conflict.rule,
            conflict.severity,
            conflict.station_m,
            conflict.measured,
            conflict.limit,
            conflict.unit,
            conflict.message,
            conflict.remedy,
            conflict.basis,
            conflict.layer,
            conflict.feature,
            conflict.geometry,
        )
        for conflict in plan.conflicts
    ]


_ROWS: Final[dict[str, Callable[[Plan], list[Row]]]] = {
    "parcel": _parcel,
    **{
        role: _features(role)
        for role in (
            "neighbours",
            "buildings",
            "water",
            "watercourses",
            "hardscape",
            "joints",
            "easements",
            "roads",
            "keep_outs",
            "no_dig",
            "trees",
            "fences",
            "gates",
            "doors",
            "metal",
            "other_loops",
            "open_sides",
            "passages",
        )
    },
    "wanted_area": _wanted_area,
    "utilities": _utilities,
    "zones": _zones,
    "animal_zones": _animal_zones,
    "wire": _wire,
    "crossings": _crossings,
    "flags": _flags,
    "stations": _stations,
    "reach": _reach,
    "splices": _splices,
    "ties": _ties,
    "transmitter": _transmitter,
    "conflicts": _conflicts,
}
