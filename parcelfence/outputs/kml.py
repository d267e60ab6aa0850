"""KML 2.2 for globes: a folder per layer, drawn in the palette of the map.

Globes show attribute values as HTML in their balloons, whatever escaping the file had, so that the sign that opens a
tag is written as its full-width form: it reads the same and opens nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from parcelfence.layers import layer_schema
from parcelfence.outputs.escaping import xml_text
from parcelfence.outputs.style import INK, STYLE_COLUMN, STYLES
from parcelfence.text import visible

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.style import Style

__all__ = ["NAME", "write"]

NAME: Final = "plan.kml"
_DECIMALS: Final = 8
_VALUE_DECIMALS: Final = 6
_TYPES: Final = {"text": "string", "real": "double", "integer": "int", "boolean": "bool"}


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``plan.kml``."""
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<kml xmlns="http://www.opengis.net/kml/2.2">',
        f"<Document><name>{_text(delivery.plan.site.name)}</name>",
        *(_style(layer, value, style=style) for (layer, value), style in STYLES.items()),
        *(_schema(name) for name in delivery.layer_names),
    ]
    for name, table in delivery.layers_wgs84.items():
        shown = "" if layer_schema(name).shown else "<visibility>0</visibility>"
        parts += [f"<Folder><name>{xml_text(layer_schema(name).title)}</name>{shown}", *_placemarks(name, table)]
        parts.append("</Folder>")
    parts.append("</Document></kml>\n")
    (folder / NAME).write_text("\n".join(parts), encoding="utf-8", newline="\n")


def _placemarks(name: str, table: GeoDataFrame) -> Iterator[str]:
    schema = layer_schema(name)
    columns = schema.column_names
    naming = next(column for column in (schema.label, "kind", columns[0]) if column in columns)
    hidden = "" if schema.shown else "<visibility>0</visibility>"
    values = [table[column].tolist() for column in columns]
    geometries = shapely.orient_polygons(np.asarray(table.geometry.array, dtype=object))
    for row, geometry in zip(zip(*values, strict=True), geometries, strict=True):
        record = dict(zip(columns, row, strict=True))
        data = "".join(
            f'<SimpleData name="{column}">{_text(_plain(value))}</SimpleData>'
            for column, value in record.items()
            if visible(value)
        )
        yield (
            f"<Placemark><name>{_text(record[naming])}</name>{hidden}<styleUrl>#{_style_id(name, record)}</styleUrl>"
            f'<ExtendedData><SchemaData schemaUrl="#schema-{name}">{data}</SchemaData></ExtendedData>'
            f"{_geometry(geometry)}</Placemark>"
        )


def _text(value: Any) -> str:
    return xml_text(visible(value).replace("<", "\uff1c"))


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return int(value)
    return round(value, _VALUE_DECIMALS) if isinstance(value, float) else value


def _schema(name: str) -> str:
    fields = "".join(
        f'<SimpleField type="{_TYPES[column.dtype]}" name="{column.name}"/>' for column in layer_schema(name).columns
    )
    return f'<Schema name="{name}" id="schema-{name}">{fields}</Schema>'


def _style_id(layer: str, record: dict[str, Any]) -> str:
    value = str(record.get(STYLE_COLUMN.get(layer, ""), ""))
    return f"{layer}-{value}" if (layer, value) in STYLES else f"{layer}-"


def _style(layer: str, value: str, *, style: Style) -> str:
    line = _colour(style.fill if style.marker else style.stroke or INK, style.stroke_opacity)
    fill = _colour(style.fill or style.stroke or INK, 0.2 if style.marker else style.fill_opacity)
    return (
        f'<Style id="{layer}-{value}"><IconStyle><color>{_colour(style.fill or INK, 1.0)}</color>'
        "<scale>0.7</scale></IconStyle><LabelStyle><scale>0.7</scale></LabelStyle>"
        f"<LineStyle><color>{line}</color><width>{style.width_px}</width></LineStyle>"
        f"<PolyStyle><color>{fill}</color></PolyStyle></Style>"
    )


def _colour(colour: str, opacity: float) -> str:
    """Write a colour as KML has it: opacity, blue, green, red."""
    return f"{round(255 * opacity):02x}{colour[5:7]}{colour[3:5]}{colour[1:3]}"


def _geometry(geometry: BaseGeometry | None) -> str:
    if geometry is None or geometry.is_empty:
        return ""
    if isinstance(geometry, shapely.GeometryCollection | shapely.MultiPoint) or hasattr(geometry, "geoms"):
        return f"<MultiGeometry>{''.join(_geometry(part) for part in geometry.geoms)}</MultiGeometry>"
    if isinstance(geometry, shapely.Polygon):
        holes = "".join(f"<innerBoundaryIs>{_ring(hole)}</innerBoundaryIs>" for hole in geometry.interiors)
        return f"<Polygon><outerBoundaryIs>{_ring(geometry.exterior)}</outerBoundaryIs>{holes}</Polygon>"
    kind = "Point" if isinstance(geometry, shapely.Point) else "LineString"
    return f"<{kind}><coordinates>{_coordinates(geometry)}</coordinates></{kind}>"


def _ring(ring: BaseGeometry) -> str:
    return f"<LinearRing><coordinates>{_coordinates(ring)}</coordinates></LinearRing>"


def _coordinates(geometry: BaseGeometry) -> str:
    rounded = np.round(shapely.get_coordinates(geometry), _DECIMALS).tolist()
    return " ".join(f"{longitude},{latitude}" for longitude, latitude in rounded)
