"""A project file beside the GeoPackage: groups, order, titles, styles and the working CRS, for QGIS 3.22 and later.

The project names the GeoPackage by a relative path, so that the folder can be moved.  Its XML is open and documented by
what QGIS itself writes; only what differs from the defaults of QGIS is said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.layers import PLAN_FILE, layer_schema
from parcelfence.outputs.delivery import public_code
from parcelfence.outputs.escaping import xml_text
from parcelfence.outputs.gpkg_style import style_body

if TYPE_CHECKING:
    from pathlib import Path

    from pyproj import CRS

    from parcelfence.outputs.delivery import Delivery
    from parcelfence.outputs.gpkg_style import Highlights

__all__ = ["DRAWING_ORDER", "GROUPS", "NAME", "write"]

NAME: Final = "plan.qgs"
_PREFIX: Final = "parcelfence_"
"""Begins the id of every layer: QGIS gives short ids another name."""
_PLACES: Final = "conflict_places"
"""The conflicts a second time, as marks along what they concern, below everything that they would hide."""
GROUPS: Final[dict[str, tuple[str, ...]]] = {
    "Conflicts": ("conflicts",),
    "Points to set out": ("transmitter", "splices", "crossings", "flags", "stations", "ties", "reach"),
    "Wire": ("wire",),
    "Utilities": ("utilities",),
    "Where conflicts lie": (_PLACES,),
    "Zones": ("animal_zones", "zones"),
    "Property": (
        *("parcel", "doors", "gates", "fences", "metal", "other_loops", "open_sides", "passages", "wanted_area"),
        *("buildings", "keep_outs", "no_dig", "trees", "easements", "joints", "hardscape", "roads"),
        *("watercourses", "water", "neighbours"),
    ),
}
"""Layers by group, the topmost first; a test holds that every layer has its place."""
DRAWING_ORDER: Final = tuple(name for names in GROUPS.values() for name in names if name != _PLACES)
"""Every layer once, the topmost first."""
_OFF: Final = frozenset({"flags", "stations"})
"""Points that a person switches on for setting out."""
_GEOMETRY: Final = {"Polygon": "Polygon", "LineString": "Line", "Point": "Point", "Unknown": "Unknown geometry"}
_MARGIN: Final = 0.1
"""Free edge around the property when the project is opened, as a share of its size."""
_QGIS_UNITS: Final = {"metre": "meters", "foot": "feet", "US survey foot": "US survey feet", "degree": "degrees"}


def write(delivery: Delivery, folder: Path) -> None:
    """Write ``plan.qgs``; what it shows is read from the GeoPackage beside it."""
    groups = {
        title: [name for name in names if _table(name) in delivery.layer_names] for title, names in GROUPS.items()
    }
    system = _system(delivery.crs)
    unit = _QGIS_UNITS.get(delivery.crs.axis_info[0].unit_name, "meters")
    text = "".join((
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n",
        f'<qgis projectname="{xml_text(delivery.plan.site.name)}" version="3.22.0">\n',
        f"<title>{xml_text(delivery.plan.site.name)}</title>\n",
        f"<projectCrs>{system}</projectCrs>\n",
        "<layer-tree-group>\n",
        *(_group(title, names, delivery=delivery) for title, names in groups.items() if names),
        "</layer-tree-group>\n",
        f'<mapcanvas name="theMapCanvas"><units>{unit}</units>{_extent(delivery)}<rotation>0</rotation>',
        f"<destinationsrs>{system}</destinationsrs></mapcanvas>\n",
        "<projectlayers>\n",
        *(_layer(name, system=system) for names in groups.values() for name in names),
        "</projectlayers>\n",
        '<properties><Paths><Absolute type="bool">false</Absolute></Paths>',
        '<SpatialRefSys><ProjectionsEnabled type="int">1</ProjectionsEnabled></SpatialRefSys></properties>\n',
        "</qgis>\n",
    ))
    (folder / NAME).write_text(text, encoding="utf-8", newline="\n")


def _table(name: str) -> str:
    return "conflicts" if name == _PLACES else name


def _source(name: str) -> str:
    return f"./{PLAN_FILE}|layername={_table(name)}"


def _title(name: str) -> str:
    return "Where conflicts lie" if name == _PLACES else layer_schema(name).title


def _group(title: str, names: list[str], *, delivery: Delivery) -> str:
    if len(names) == 1:  # a group of one would only be in the way
        return _tree_layer(names[0], delivery=delivery)
    inner = "".join(_tree_layer(name, delivery=delivery) for name in names)
    return f'<layer-tree-group name="{title}" checked="Qt::Checked" expanded="1">\n{inner}</layer-tree-group>\n'


def _tree_layer(name: str, *, delivery: Delivery) -> str:
    """Enter a layer; one without features, and one that most people do not need, is there but off."""
    shown = layer_schema(_table(name)).shown and name not in _OFF and len(delivery.layers[_table(name)]) > 0
    state = "Qt::Checked" if shown else "Qt::Unchecked"
    return (
        f'<layer-tree-layer id="{_PREFIX}{name}" name="{xml_text(_title(name))}" providerKey="ogr"'
        f' source="{_source(name)}" checked="{state}" expanded="0" legend_exp=""/>\n'
    )


def _layer(name: str, *, system: str) -> str:
    schema = layer_schema(_table(name))
    highlights: Highlights = "under" if name == _PLACES else "none"
    body = style_body(_table(name), highlights=highlights, markers=name != _PLACES)
    labels = int(bool(schema.label) and name != _PLACES)
    return (
        f'<maplayer type="vector" geometry="{_GEOMETRY[schema.geometry]}" labelsEnabled="{labels}" readOnly="0">\n'
        f"<id>{_PREFIX}{name}</id><datasource>{_source(name)}</datasource><layername>{xml_text(_title(name))}</layername>\n"
        f'<srs>{system}</srs><provider encoding="UTF-8">ogr</provider>\n{body}</maplayer>\n'
    )


def _system(crs: CRS) -> str:
    """Describe a CRS as QGIS stores it: by its code where it has one, and always in full.

    With a code in the older form of WKT: the newer one tells what each release of the EPSG list has to say about it.
    """
    known = public_code(crs)
    code = ":".join(known) if known else ""
    text = crs.to_wkt("WKT1_GDAL") if known else crs.to_wkt()
    return (
        f'<spatialrefsys nativeFormat="Wkt"><wkt>{xml_text(text)}</wkt><proj4></proj4><srsid>0</srsid>'
        f"<srid>{known[1] if known and known[0] == 'EPSG' else 0}</srid><authid>{code}</authid>"
        f"<description>{xml_text(crs.name)}</description><projectionacronym></projectionacronym>"
        f"<ellipsoidacronym></ellipsoidacronym><geographicflag>{str(crs.is_geographic).lower()}</geographicflag>"
        "</spatialrefsys>"
    )


def _extent(delivery: Delivery) -> str:
    west, south, east, north = delivery.tables["parcel"].total_bounds
    margin = _MARGIN * max(east - west, north - south)
    corners = np.round((west - margin, south - margin, east + margin, north + margin), 6).tolist()
    named = zip(("xmin", "ymin", "xmax", "ymax"), corners, strict=True)
    return f"<extent>{''.join(f'<{name}>{value}</{name}>' for name, value in named)}</extent>"
