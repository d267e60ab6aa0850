"""A new project: a commented project file, and a GeoPackage with a layer for every role, empty or cut from files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import fiona
import shapely
from pyproj import Transformer

from parcelfence.errors import Fault, InputError, SelectionError
from parcelfence.inputs.project_file import Project
from parcelfence.inputs.project_text import project_text
from parcelfence.inputs.reader import read_table
from parcelfence.inputs.source import Source
from parcelfence.inputs.words import word_set, words_of
from parcelfence.layers import FIXED_TIME, INPUT_ROLES, PROJECT_FILE, Column, GeometryName
from parcelfence.outputs.folder import whole_folder
from parcelfence.outputs.geopackage import FIELD_TYPES, plain_value, shape
from parcelfence.site.features import written
from parcelfence.site.selection import BY_POSITION, select_parcels
from parcelfence.site.surroundings import box_around

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from pyproj import CRS

    from parcelfence.inputs.table import Record, Table
    from parcelfence.settings import Settings

__all__ = ["FILE", "INPUT_LAYERS", "InputLayer", "write_new_project"]

FILE: Final = "property.gpkg"
_DIMENSIONS: Final = {0: "points", 1: "lines", 2: "areas"}
_RESERVED: Final = frozenset({"fid", "geom"})
"""Columns that a GeoPackage keeps for itself."""
_IDENTIFIERS: Final = word_set("id pid pin apn parcel parcelid number no num gid lot account objectid")
"""Words in the names of columns that tell parcels apart (ordinary usage, no source)."""
_HEAD: Final = f"""A new property. The layers are in {FILE}; open it in any GIS, draw what is known, and save.
Layers that stay empty do no harm. Lengths may be written as "8 ft" or "2.4 m".
Then:   parcelfence plan {PROJECT_FILE} --out plan
Before any digging call the utility locating service: a plan knows only what its files say."""


_ID: Final = Column("id", "text", "Identifier, as you call it")
_KIND: Final = Column("kind", "text", "What it is, in plain words")
_WIDTH: Final = Column("width_m", "real", "Width, where it is drawn as a line", "m")


@dataclass(frozen=True)
class InputLayer:
    """An empty layer to draw an input in: the usual geometry, and columns that are understood."""

    geometry: GeometryName
    columns: tuple[Column, ...] = (_ID, _KIND)


INPUT_LAYERS: Final[dict[str, InputLayer]] = {
    "parcels": InputLayer("Polygon", (Column("parcel_id", "text", "Identifier of the lot, by which it is selected"),)),
    "buildings": InputLayer("Polygon"),
    "marks": InputLayer(
        "LineString",
        (
            Column("utility", "text", "What is buried: electric, gas, water, sewer, telecom, irrigation, ..."),
            Column("quality_level", "text", "A to D of ASCE 38, or B1 to B4 of PAS 128; empty if not stated"),
            Column("marked_on", "text", "Date of the mark, as 2026-05-31"),
            Column("ticket", "text", "Number of the locate ticket"),
            Column("depth_m", "real", "Depth below the ground, if it is known", "m"),
        ),
    ),
    "keep_outs": InputLayer("Polygon"),
    "no_animal": InputLayer("Polygon"),
    "no_dig": InputLayer("Polygon"),
    "water": InputLayer("Polygon"),
    "hardscape": InputLayer("Polygon"),
    "easements": InputLayer("Polygon"),
    "roads": InputLayer("LineString", (_ID, _KIND, _WIDTH)),
    "fences": InputLayer("LineString"),
    "gates": InputLayer("Point"),
    "trees": InputLayer("Point", (_ID, Column("stem_diameter_cm", "real", "Diameter of the stem", "cm"))),
    "passages": InputLayer("LineString"),
    "doors": InputLayer("Point"),
    "metal": InputLayer("Point"),
    "other_loops": InputLayer("LineString"),
    "open_sides": InputLayer("LineString"),
    "wanted_area": InputLayer("Polygon", (_ID,)),
    "transmitter": InputLayer("Point", (_ID,)),
}
"""What a new project holds for every role."""


def write_new_project(
    folder: Path,
    *,
    name: str,
    settings: Settings,
    crs: CRS,
    sources: Sequence[Source] = (),
    select: Sequence[str] = (),
    at: tuple[float, float] | None = None,
) -> tuple[str, ...]:
    """Write a new project into a new folder.

    Parameters
    ----------
    folder : Path
        The folder; it must not exist.
    name : str
        Name of the property.
    settings : Settings
        What is known already, such as the reach.
    crs : CRS
        System of the empty layers, where no parcels are given.
    sources : sequence of Source
        Files to cut the surroundings of the lot from; parcels among them, or none at all.
    select : sequence of str
        Which parcel, as ``FIELD=VALUE``.
    at : (float, float), optional
        Longitude and latitude of a point on it, instead.

    Returns
    -------
    tuple of str
        What was taken from the files, one line a layer.

    Raises
    ------
    InputError
        If a file cannot be used, no parcel lies at the point, or files are given without parcels.
    OutputError
        If the folder exists or cannot be written.
    """
    tables = _cut(sources, select=select, at=at) if sources else {}
    if tables:
        crs = tables["parcels"][0].crs
    with whole_folder(folder) as part:
        made = _write_layers(part / FILE, tables, crs=crs)
        project = Project(
            name=name,
            select=_selection(tables, select=select),
            sources=tuple(Source(role=role, path=folder / FILE, layer=layer) for role, layer, _ in made),
            settings=settings,
        )
        text = project_text(project, folder=folder, head=_HEAD, hints=True)
        (part / PROJECT_FILE).write_text(text, encoding="utf-8", newline="\n")
    return tuple(words for _, _, words in made if words)


def _write_layers(path: Path, tables: dict[str, list[Table]], *, crs: CRS) -> list[tuple[str, str, str]]:
    """Write a layer for every role, or several: role, name of the layer, and what was taken into it."""
    made = []
    with fiona.Env(OGR_CURRENT_DATE=FIXED_TIME):
        for role in INPUT_ROLES:
            layers = [layer for table in tables.get(role, ()) for layer in _layers(table, role=role)]
            for number, (title, table, records) in enumerate(layers):
                layer = title if number == 0 else f"{title}_{number + 1}"
                _write_records(path, layer=layer, table=table, records=records)
                made.append((role, layer, f"{layer}: {len(records)} of {table.source.name}"))
            if not layers:
                _write_empty(path, role=role, crs=crs)
                made.append((role, role, ""))
    return made


def _cut(sources: Sequence[Source], *, select: Sequence[str], at: tuple[float, float] | None) -> dict[str, list[Table]]:
    """Read what lies around the chosen parcel, the parcels first; each table then holds only that."""
    parcels = [source for source in sources if source.role == "parcels"]
    if len(parcels) != 1:
        raise InputError(
            Fault(
                where="new",
                found=f"{len(parcels)} files of parcels were given",
                must="surroundings are cut around a parcel of one file",
                remedy="give one with --parcels, or no files at all for empty layers",
            )
        )
    whole = read_table(parcels[0])
    chosen = _at(whole, at) if at is not None else select_parcels(whole, select)
    bounds = shapely.total_bounds([record.geometry for record in chosen])
    cut: dict[str, list[Table]] = {"parcels": [_near(whole, around=bounds, crs=whole.crs, first=chosen)]}
    for source in sources:
        if source.role != "parcels":
            table = read_table(source)
            cut.setdefault(source.role, []).append(_near(table, around=bounds, crs=whole.crs))
    return cut


def _near(table: Table, *, around: Any, crs: CRS, first: Sequence[Record] = ()) -> Table:
    """Keep the records near the parcel, whole; the chosen ones first."""
    west, south, east, north = (float(value) for value in around)
    box = box_around((west, south, east, north), crs, into=table.crs, mark_join_gap_m=0.0)
    area = shapely.box(*box)
    others = [record for record in table.records if record not in first and record.geometry.intersects(area)]
    return replace(table, records=(*first, *others))


def _at(table: Table, at: tuple[float, float]) -> tuple[Record, ...]:
    """Find the smallest parcel at a point of longitude and latitude."""
    x, y = Transformer.from_crs("EPSG:4326", table.crs, always_xy=True).transform(*at)
    point = shapely.Point(x, y)
    found = sorted((record for record in table.records if record.geometry.covers(point)), key=_area)
    if not found:
        raise SelectionError(
            Fault(
                where=table.source.name,
                found=f"no parcel lies at longitude {at[0]:g}, latitude {at[1]:g}",
                remedy="write the longitude first, west of Greenwich below zero, and check the CRS of the file",
            )
        )
    return (found[0],)


def _area(record: Record) -> float:
    return float(record.geometry.area)


def _selection(tables: dict[str, list[Table]], *, select: Sequence[str]) -> tuple[str, ...]:
    """Say how the chosen parcels are found again: as they were chosen, else by a column, or as the first one."""
    if not tables or select or len(tables["parcels"][0].records) == 1:
        return tuple(select)
    parcels = tables["parcels"][0]
    for field in parcels.fields:
        values = [record.attributes.get(field) for record in parcels.records]
        named = not _IDENTIFIERS.isdisjoint(words_of(field)) and field.lower() not in _RESERVED
        if named and None not in values and len({written(value) for value in values}) == len(values):
            return (f"{field}={written(values[0])}",)
    return (f"{BY_POSITION}=1",)


def _layers(table: Table, *, role: str) -> Iterator[tuple[str, Table, list[Record]]]:
    """Part points, lines and areas, which a GIS shows in layers of their own."""
    by_dimension: dict[int, list[Record]] = {}
    for record in table.records:
        by_dimension.setdefault(int(shapely.get_dimensions(record.geometry)), []).append(record)
    for dimension, records in sorted(by_dimension.items(), reverse=True):
        yield role if len(by_dimension) == 1 else f"{role}_{_DIMENSIONS[dimension]}", table, records


def _write_records(path: Path, *, layer: str, table: Table, records: Sequence[Record]) -> None:
    fields = {name: f"{name}_" if name.lower() in _RESERVED else name for name in table.fields}
    kinds = {record.geometry.geom_type for record in records}
    kind = next(iter(kinds)) if len(kinds) == 1 else f"Multi{min(kinds, key=len)}"
    types = {name: _type(record.attributes.get(name) for record in records) for name in table.fields}
    schema = {"geometry": kind, "properties": {fields[name]: types[name] for name in table.fields}}
    with _layer(path, layer=layer, crs=table.crs, schema=schema) as target:
        target.writerecords(
            {
                "type": "Feature",
                "properties": {fields[name]: _value(record.attributes.get(name), types[name]) for name in table.fields},
                "geometry": shape(record.geometry, multi=len(kinds) > 1),
            }
            for record in records
        )


def _type(values: Iterable[Any]) -> str:
    kinds = {type(value) for value in values if value is not None}
    if kinds == {bool}:
        return "bool"
    if kinds == {int}:
        return "int64"
    return "float" if kinds and kinds <= {int, float} else "str"


def _value(value: Any, kind: str) -> Any:
    return plain_value(str(value) if value is not None and kind == "str" else value)


def _write_empty(path: Path, *, role: str, crs: CRS) -> None:
    layer = INPUT_LAYERS[role]
    schema = {
        "geometry": layer.geometry,
        "properties": {column.name: FIELD_TYPES[column.dtype] for column in layer.columns},
    }
    with _layer(path, layer=role, crs=crs, schema=schema, about=INPUT_ROLES[role]):
        pass


def _layer(path: Path, *, layer: str, crs: CRS, schema: dict[str, Any], about: str = "") -> Any:
    return fiona.open(
        path, "w", driver="GPKG", layer=layer, crs_wkt=crs.to_wkt(), schema=schema, VERSION="1.3",
        DESCRIPTION=about, GEOMETRY_NAME="geom",
    )  # fmt: skip
