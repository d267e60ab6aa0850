"""From GeoDataFrame to GeoDataFrame: loops, zones and flags of many parcels at once, with their index and CRS kept.

Every row of the parcels is planned as a property of its own; the others are its neighbours.  The same functions stand
behind the sub-commands of ``fio``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from parcelfence.errors import Fault, InputError, near_matches
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.repair import ROLE_DIMENSIONS
from parcelfence.inputs.source import Source, sources_of
from parcelfence.inputs.vector_file import Rows as FileRows
from parcelfence.many import plan_lot
from parcelfence.outputs.screening_table import outcome_table
from parcelfence.screening import ScreeningJob, slices
from parcelfence.screening import screen as screen_slices
from parcelfence.settings import Settings
from parcelfence.site.selection import chosen_by
from parcelfence.takeoff.flags import flags as place_flags

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from parcelfence.inputs.table import Table
    from parcelfence.many import Lot

__all__ = ["flags", "flags_of", "loops", "loops_of", "screen", "table_of", "zones", "zones_of"]

Rows = list[tuple[dict[str, Any], "BaseGeometry | None"]]

_LOOP_TYPES: Final = {
    "status": "str",
    "remark": "str",
    "loop_m": "float64",
    "enclosed_m2": "float64",
    "free_m2": "float64",
    "must_fix": "int64",
}
_ZONE_TYPES: Final = {"kind": "str", "area_m2": "float64"}
_FLAG_TYPES: Final = {"flag": "int64", "station_m": "float64", "removal_round": "int64"}


def loops(parcels: GeoDataFrame, settings: Settings | None = None, **layers: GeoDataFrame | None) -> GeoDataFrame:
    """Design a loop on every parcel.

    Parameters
    ----------
    parcels : GeoDataFrame
        One property a row, with a CRS; nothing in it is changed.
    settings : Settings, optional
        Defaults where left out.
    **layers : GeoDataFrame
        Other layers by role: ``buildings``, ``marks``, ``keep_outs`` and so on, each with its CRS.

    Returns
    -------
    GeoDataFrame
        One row for every row of `parcels`, with its index, in its CRS: the single loops as a MultiLineString with
        status (see :class:`parcelfence.many.Lot`), remark (the reason where there is none), loop_m, enclosed_m2,
        free_m2, must_fix (number of conflicts that must be fixed).  Lengths and areas are metres on the ground.

    Raises
    ------
    CrsError
        If a table has no CRS.
    InputError
        If a role is not known.

    Examples
    --------
    >>> import geopandas, parcelfence
    >>> lots = geopandas.read_file("sample_geodata/parcels.geojson").set_index("parcel_no").loc[["31-05", "31-12"]]
    >>> found = parcelfence.loops(lots, parcelfence.Settings(reach_m=1.5))
    >>> found["status"].to_dict()
    {'31-05': 'planned', '31-12': 'planned'}
    >>> found.crs == lots.crs
    True
    """
    return loops_of(_tables(parcels, layers), settings, index=parcels.index)


def zones(parcels: GeoDataFrame, settings: Settings | None = None, **layers: GeoDataFrame | None) -> GeoDataFrame:
    """Compute roam, signal and core zones of every parcel; arguments and errors as for :func:`loops`.

    Returns
    -------
    GeoDataFrame
        Up to three rows for a parcel, which share its index; kind and area_m2.  A parcel without a loop has none.

    Examples
    --------
    >>> import geopandas, parcelfence
    >>> lots = geopandas.read_file("sample_geodata/parcels.geojson").set_index("parcel_no").loc[["31-05"]]
    >>> parcelfence.zones(lots, parcelfence.Settings(reach_m=1.5))["kind"].tolist()
    ['roam', 'signal', 'core']
    """
    return zones_of(_tables(parcels, layers), settings, index=parcels.index)


def flags(parcels: GeoDataFrame, settings: Settings | None = None, **layers: GeoDataFrame | None) -> GeoDataFrame:
    """Place the flags of every parcel; arguments and errors as for :func:`loops`.

    Returns
    -------
    GeoDataFrame
        A row for every flag, with the index of its parcel; flag, station_m and removal_round.

    Examples
    --------
    >>> import geopandas, parcelfence
    >>> lots = geopandas.read_file("sample_geodata/parcels.geojson").set_index("parcel_no").loc[["31-05"]]
    >>> flags = parcelfence.flags(lots, parcelfence.Settings(reach_m=1.5))
    >>> flags["flag"].tolist()[:3], set(flags.index)
    ([1, 2, 3], {'31-05'})
    """
    return flags_of(_tables(parcels, layers), settings, index=parcels.index)


def screen(
    parcels: Path | str,
    settings: Settings | None = None,
    *,
    select: str | Sequence[str] | Mapping[str, object] = (),
    keep: Sequence[str] = (),
    crs: str | None = None,
    working_crs: str | None = None,
    **layers: Path | str | Sequence[Path | str] | None,
) -> GeoDataFrame:
    """Plan a loop on every parcel of a file, in this process; the command ``screen`` does it with several, resumably.

    Parameters
    ----------
    parcels : path
        File of parcels; for a table that is at hand see :func:`loops`.
    settings : Settings, optional
        Defaults where left out.
    select : mapping, str or sequence of str
        Which parcels, as for :func:`parcelfence.read_site`; all of them where left out.
    keep : sequence of str
        Columns of the parcels that stand in the rows.
    crs, working_crs : str, optional
        As for :func:`parcelfence.read_site`.
    **layers : path or sequence of paths
        Other files by role.

    Returns
    -------
    GeoDataFrame
        One row for each parcel: its loop, its figures, or the reason why there is none.

    Raises
    ------
    InputError
        If a file, a field or a role cannot be used.

    Examples
    --------
    >>> import parcelfence
    >>> lots = "sample_geodata/parcels.geojson"
    >>> rows = parcelfence.screen(lots, select={"parcel_no": ["31-05", "31-12"]}, keep=["parcel_no"])
    >>> rows[["parcel_no", "status"]].to_numpy().tolist()
    [['31-05', 'planned'], ['31-12', 'planned']]
    """
    job = ScreeningJob(
        sources=sources_of(parcels, crs=crs, layers=layers),
        settings=settings or Settings(),
        select=chosen_by(select),
        keep=tuple(keep),
        working_crs=working_crs,
    )
    return outcome_table([row for _, rows in screen_slices(job, slices(job)) for row in rows])


def loops_of(
    tables: Sequence[Table], settings: Settings | None = None, *, index: pd.Index | None = None
) -> GeoDataFrame:
    """Do as :func:`loops` does, for tables of :mod:`parcelfence.inputs`, the parcels first."""
    return _frame(tables, settings, index=index, rows=_loop_rows, types=_LOOP_TYPES)


def zones_of(
    tables: Sequence[Table], settings: Settings | None = None, *, index: pd.Index | None = None
) -> GeoDataFrame:
    """Do as :func:`zones` does, for tables of :mod:`parcelfence.inputs`, the parcels first."""
    return _frame(tables, settings, index=index, rows=_zone_rows, types=_ZONE_TYPES)


def flags_of(
    tables: Sequence[Table], settings: Settings | None = None, *, index: pd.Index | None = None
) -> GeoDataFrame:
    """Do as :func:`flags` does, for tables of :mod:`parcelfence.inputs`, the parcels first."""
    return _frame(tables, settings, index=index, rows=_flag_rows, types=_FLAG_TYPES)


def table_of(frame: GeoDataFrame, role: str) -> Table:
    """Make the table of a role out of a GeoDataFrame, repaired as a file would be; it may hold nothing usable.

    Raises
    ------
    CrsError
        If it has no CRS.
    """
    return read_table(Source.of(frame, role=role), window=FileRows(0, len(frame)))


def _tables(parcels: GeoDataFrame, layers: dict[str, GeoDataFrame | None]) -> list[Table]:
    unknown = [role for role in layers if role not in ROLE_DIMENSIONS or role == "parcels"]
    if unknown:
        roles = set(ROLE_DIMENSIONS) - {"parcels"}
        raise InputError(
            Fault(where="layers", found=f"there is no role {role!r}", remedy=near_matches(role, roles))
            for role in unknown
        )
    given = {role: frame for role, frame in layers.items() if frame is not None}
    return [table_of(parcels, "parcels"), *(table_of(frame, role) for role, frame in given.items())]


def _frame(
    tables: Sequence[Table],
    settings: Settings | None,
    *,
    index: pd.Index | None,
    rows: Callable[[Lot], Rows],
    types: dict[str, str],
) -> GeoDataFrame:
    parcels = tables[0]
    places: list[int] = []
    records: list[dict[str, Any]] = []
    geometries: list[BaseGeometry | None] = []
    for position in range(parcels.features):
        lot = plan_lot(position, tables, settings=settings or Settings())
        conversion = lot.measured.draft.site.frame.conversion_to(parcels.crs) if lot.measured is not None else None
        for record, geometry in rows(lot):
            places.append(position)
            records.append(record)
            geometries.append(
                conversion.geometry(geometry) if conversion is not None and geometry is not None else None
            )
    labels = index if index is not None else pd.RangeIndex(parcels.features)
    columns = {name: pd.Series([record[name] for record in records], dtype=dtype) for name, dtype in types.items()}
    shapes = geopandas.GeoSeries(geometries, crs=parcels.crs)
    made = geopandas.GeoDataFrame(columns, geometry=shapes, crs=parcels.crs)
    return made.set_axis(labels.take(np.array(places, dtype=np.intp)), axis=0)


def _loop_rows(lot: Lot) -> Rows:
    if lot.measured is None:
        nothing = {"loop_m": np.nan, "enclosed_m2": np.nan, "free_m2": np.nan, "must_fix": 0}
        return [({"status": lot.status, "remark": lot.reason, **nothing}, None)]
    draft = lot.measured.draft
    lines = shapely.MultiLineString([run.line for run in draft.loop.signal_runs])
    record = {
        "status": lot.status,
        "remark": "",
        "loop_m": lines.length,
        "enclosed_m2": draft.loop.enclosed.area,
        "free_m2": draft.zones.free_ground.area,
        "must_fix": sum(conflict.severity == "must_fix" for conflict in lot.conflicts),
    }
    return [(record, lines)]


def _zone_rows(lot: Lot) -> Rows:
    if lot.measured is None:
        return []
    found = lot.measured.draft.zones
    kinds: Iterable[tuple[str, BaseGeometry]] = (("roam", found.roam), ("signal", found.signal), ("core", found.core))
    return [({"kind": kind, "area_m2": zone.area}, zone) for kind, zone in kinds if not zone.is_empty]


def _flag_rows(lot: Lot) -> Rows:
    if lot.measured is None:
        return []
    draft = lot.measured.draft
    return [
        ({"flag": flag.flag, "station_m": flag.station_m, "removal_round": flag.removal_round}, flag.point)
        for flag in place_flags(draft.zones, draft.loop, settings=draft.settings)
    ]
