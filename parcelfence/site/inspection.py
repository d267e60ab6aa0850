"""Inspection: what the layers of a file hold, and what is wrong with them, as data."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from parcelfence.site.role_guess import geometry_types, guessed_role
from parcelfence.units import METRIC

if TYPE_CHECKING:
    from pyproj import CRS

    from parcelfence.errors import Fault
    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Given, Source
    from parcelfence.inputs.table import Table

__all__ = ["LayerReport", "inspect_file", "inspect_files"]

_MOST_SAMPLES: Final = 4
_MANY_VERTICES: Final = 5_000
"""Lots have tens, one along a creek some hundreds; a town's roads as one parcel have tens of thousands."""


@dataclass(frozen=True, kw_only=True)
class LayerReport:
    """What one layer holds.

    Parameters
    ----------
    file, layer : str
        Where it is.
    role, role_reason : str
        What it would be used as, and why.
    features, usable, duplicates : int
        Counts; duplicates are features with the geometry of an earlier one.
    geometry_types : mapping of str to int
        Counts by type, ``"none"`` for features without geometry.
    crs, crs_origin : str
        The CRS and how it is known; empty if it is not.
    bounds, bounds_lon_lat : tuple of float or None
        West, south, east, north, in the CRS and in degrees on WGS 84.
    accuracy_m : float or None
        PROJ's stated accuracy of the way to WGS 84; None if it states none.
    operation : str
        Name of that way; empty where none is needed.
    fields : mapping of str to str
        A few values of each attribute.
    kinds : mapping of str to tuple
        For marks, the kinds that were recognised: number, and the words they were read from.
    repairs, cautions, faults : tuple of str
        What would be mended or left out; what is odd, though it can be used; why it cannot be used.
    """

    file: str
    layer: str
    role: str = ""
    role_reason: str = ""
    features: int = 0
    usable: int = 0
    duplicates: int = 0
    geometry_types: dict[str, int] = field(default_factory=dict)
    crs: str = ""
    crs_origin: str = ""
    bounds: tuple[float, ...] | None = None
    bounds_lon_lat: tuple[float, ...] | None = None
    accuracy_m: float | None = None
    operation: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, tuple[int, str]] = field(default_factory=dict)
    repairs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()


def inspect_files(*files: Given, role: str | None = None, crs: str | None = None) -> tuple[LayerReport, ...]:
    """Inspect several files, and say which layers lie far away from the first parcels, or from the first layer.

    Parameters
    ----------
    *files : path or GeoDataFrame
        The files, or tables.
    role, crs : str, optional
        As for :func:`inspect_file`.

    Returns
    -------
    tuple of LayerReport
        Of every layer of every file.

    Examples
    --------
    >>> import parcelfence
    >>> (report,) = parcelfence.inspect("sample_geodata/marks_lines.geojson")
    >>> report.role, report.crs_origin, sorted(report.kinds)
    ('marks', 'GeoJSON standard', ['electric', 'gas', 'telecom', 'unknown', 'water'])
    """
    reports = tuple(report for file in files for report in inspect_file(file, role=role, crs=crs))
    placed = [report for report in reports if report.bounds_lon_lat is not None]
    lots = [report for report in placed if report.role == "parcels"] or placed[:1]
    return tuple(_beside(report, lots[0]) if report in placed else report for report in reports)


def _beside(report: LayerReport, lots: LayerReport) -> LayerReport:
    from dataclasses import replace

    import numpy as np
    from pyproj import CRS

    from parcelfence.site.whereabouts import ELSEWHERE_M, gap_m

    away_m = gap_m(np.array(lots.bounds_lon_lat), np.array([report.bounds_lon_lat]), crs=CRS.from_epsg(4326))
    if away_m <= ELSEWHERE_M:
        return report
    caution = f"it lies {METRIC.distance(away_m)} away from {lots.file}: is it of the same place, and its CRS right?"
    return replace(report, cautions=(*report.cautions, caution))


def inspect_file(words: Given, *, role: str | None = None, crs: str | None = None) -> tuple[LayerReport, ...]:
    """Say what every layer of a file holds, or the one that is named as ``FILE:LAYER``, or a table.

    Parameters
    ----------
    words : path or GeoDataFrame
        The file, or the table.
    role : str, optional
        What it is to be used as; guessed where left out.
    crs : str, optional
        CRS for a layer that states none.

    Returns
    -------
    tuple of LayerReport
        Faults are in the reports; nothing is raised over an unusable file.
    """
    from dataclasses import replace

    from parcelfence.errors import InputError
    from parcelfence.inputs.formats import layers_of
    from parcelfence.inputs.source import Source

    source = Source.of(words, role=role or "marks", crs_if_missing=crs)
    if source.frame is not None:
        source = replace(source, path=Path("table"))
    try:
        names = (source.layer,) if source.layer or source.frame is not None else layers_of(source.path)
    except InputError as error:
        return (LayerReport(file=str(source.path), layer="", faults=tuple(str(fault) for fault in error.faults)),)
    return tuple(_layer(replace(source, layer=name), role=role) for name in names)


def _layer(source: Source, *, role: str | None) -> LayerReport:
    from dataclasses import replace

    from parcelfence.errors import InputError
    from parcelfence.inputs.formats import read_raw
    from parcelfence.inputs.reader import read_table

    try:
        raw = read_raw(source)
    except InputError as error:
        return LayerReport(
            file=str(source.path), layer=source.layer or "", faults=tuple(str(fault) for fault in error.faults)
        )
    guessed, reason = (role, "given") if role else guessed_role(raw, source)
    report = LayerReport(
        file=str(source.path),
        layer=raw.name,
        role=guessed,
        role_reason=reason,
        features=len(raw.features),
        duplicates=_duplicates(raw),
        geometry_types=geometry_types(raw),
        crs=_crs_words(raw.crs),
        crs_origin=raw.crs_origin if raw.crs is not None else "",
        fields=_fields(raw),
    )
    try:
        table = read_table(replace(source, role=guessed))
    except InputError as error:
        return replace(report, faults=tuple(str(fault) for fault in error.faults) or (str(error),))
    return _with_table(report, table)


def _with_table(report: LayerReport, table: Table) -> LayerReport:
    from dataclasses import replace

    report = replace(
        report,
        usable=len(table.records),
        crs=_crs_words(table.crs),
        crs_origin=table.crs_origin,
        repairs=tuple(_without_name(repair) for repair in table.repairs),
        kinds=_kinds(table) if table.source.role == "marks" else {},
    )
    return _with_cautions(_with_place(report, table), table) if table.records else report


def _with_cautions(report: LayerReport, table: Table) -> LayerReport:
    """Add what is odd: features with more vertices than a lot has, and parcels that cover the same ground."""
    from dataclasses import replace

    import numpy as np
    import shapely

    from parcelfence.inputs.raw import feature_label
    from parcelfence.site.whereabouts import width_m

    counts = shapely.get_num_coordinates(np.array([record.geometry for record in table.records], dtype=object))
    large = [number for number in np.argsort(-counts, kind="stable")[:_MOST_SAMPLES] if counts[number] > _MANY_VERTICES]
    cautions = [
        f"feature {feature_label(record.position, record.attributes)} has {counts[number]:,} vertices and is "
        f"{METRIC.distance(width_m(table.bounds[number], crs=table.crs))} across: a network of roads or a shore "
        "drawn as one, rather than a lot"
        for number in large
        for record in (table.records[number],)
    ]
    if table.source.role == "parcels":
        cautions += _overlap_words(table)
    return replace(report, cautions=(*report.cautions, *cautions))


def _overlap_words(table: Table) -> list[str]:
    import numpy as np

    from parcelfence.inputs.raw import feature_label
    from parcelfence.site.features import overlapping_pairs

    pairs = overlapping_pairs(np.array([record.geometry for record in table.records], dtype=object), crs=table.crs)
    if not pairs:
        return []
    first, second, area_m2 = pairs[0]
    names = [feature_label(table.records[one].position, table.records[one].attributes) for one in (first, second)]
    count = "2 parcels overlap" if len(pairs) == 1 else f"{len(pairs):,} pairs of parcels overlap"
    worst = "" if len(pairs) == 1 else "most of all "
    return [f"{count}: {worst}features {names[0]} and {names[1]}, by {area_m2:,.0f} m2"]


def _without_name(fault: Fault) -> str:
    """Write a fault without the name of the file, under which it stands here."""
    return str(fault).removeprefix(fault.where).lstrip(",: ")


def _with_place(report: LayerReport, table: Table) -> LayerReport:
    """Add where it lies, and how well PROJ knows the way to WGS 84."""
    from dataclasses import replace

    from shapely import box

    from parcelfence.errors import CrsError
    from parcelfence.site.frame import WGS84, LocalFrame

    west, south = table.bounds[:, :2].min(axis=0)
    east, north = table.bounds[:, 2:].max(axis=0)
    extent = box(west, south, east, north)
    report = replace(report, bounds=(float(west), float(south), float(east), float(north)))
    try:
        frame = LocalFrame.around(extent, table.crs, allow_ballpark=True)
        degrees = frame.conversion_from(table.crs, where=table.source.name).geometry(extent)
        way = frame.to_wgs84()
        lon_lat = way.geometry(degrees).bounds
    except CrsError as error:
        return replace(report, faults=tuple(str(fault) for fault in error.faults))
    direct = way.operation if table.crs != WGS84 else None
    return replace(
        report,
        bounds_lon_lat=tuple(float(value) for value in lon_lat),
        accuracy_m=way.operation.accuracy_m if direct else 0.0,
        operation=_plain_operation(direct.name) if direct else "",
    )


def _plain_operation(name: str) -> str:
    """Leave out the steps of PROJ's name that are no datum operation."""
    steps = [step for step in name.split(" + ") if "unknown" not in step and not step.startswith("axis order")]
    return ", then ".join(steps) or "no change of datum"


def _kinds(table: Table) -> dict[str, tuple[int, str]]:
    from parcelfence.inputs.kinds import recognise

    counts: Counter[str] = Counter()
    raws: dict[str, Counter[str]] = {}
    for record in table.records:
        kind = recognise(record.attributes, file_name=table.source.path.name)
        counts[kind.name] += 1
        told = f"{kind.raw!r} ({kind.basis})" if kind.basis else repr(kind.raw) if kind.raw else "nothing that tells"
        raws.setdefault(kind.name, Counter())[told] += 1
    return {name: (count, _most(raws[name])) for name, count in counts.most_common()}


def _most(counts: Counter[str]) -> str:
    shown = ", ".join(text for text, _ in counts.most_common(_MOST_SAMPLES))
    return shown + (f" and {len(counts) - _MOST_SAMPLES} more" if len(counts) > _MOST_SAMPLES else "")


def _duplicates(raw: RawLayer) -> int:
    import numpy as np
    import shapely

    from parcelfence.inputs.repair import LARGEST_ORDINATE

    given = [feature.geometry for feature in raw.features if feature.geometry is not None]
    geometries = np.array(given, dtype=object)
    ordinates, owners = shapely.get_coordinates(geometries, return_index=True)
    endless = np.unique(owners[~(np.abs(ordinates) < LARGEST_ORDINATE).all(axis=1)])  # they have no normal form
    geometries = np.delete(geometries, endless)
    return len(geometries) - len(set(shapely.to_wkb(shapely.normalize(geometries))))


def _fields(raw: RawLayer) -> dict[str, str]:
    described = {}
    for name in raw.fields:
        values = [feature.attributes.get(name) for feature in raw.features]
        present = [value for value in values if value is not None]
        distinct = list(dict.fromkeys(map(_shown, present)))
        shown = ", ".join(distinct[:_MOST_SAMPLES]) + (", ..." if len(distinct) > _MOST_SAMPLES else "")
        missing = f"{len(values) - len(present):,} missing" if len(present) < len(values) else ""
        count = f"{len(distinct):,} different" if len(distinct) > _MOST_SAMPLES else ""
        notes = "; ".join(note for note in (count, missing) if note)
        described[name] = f"{shown}  ({notes})" if notes and shown else shown or "always missing"
    return described


def _shown(value: Any) -> str:
    text = f"{value:g}" if isinstance(value, float) else str(value)
    printable = "".join(character if character.isprintable() else " " for character in text)
    return printable if len(printable) <= 32 else f"{printable[:29]}..."  # noqa: PLR2004  (room for three dots)


def _crs_words(crs: CRS | None) -> str:
    if crs is None:
        return ""
    authority = crs.to_authority()
    return f"{crs.name} ({':'.join(authority)})" if authority else crs.name
