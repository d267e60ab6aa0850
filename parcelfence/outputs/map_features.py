"""The drawn layers of the map: tables become GeoJSON features with their words, one drawn layer per legend entry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from pyproj import Geod

from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.map_words import words_of
from parcelfence.outputs.style import STYLE_COLUMN, STYLES, layer_styles, style_of, tolerance_style

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.style import Style
    from parcelfence.settings import Settings
    from parcelfence.site.feature import Utility

__all__ = ["Drawn", "drawn_layers", "metres_per_degree", "station_run", "unit_factors"]

DECIMALS: Final = 8
"""Of a degree, for lines and points: about a millimetre."""
AREA_DECIMALS: Final = 7
"""The same for areas, whose outlines hold most of the numbers of a map: half a centimetre at most."""
_LETTER_SPACING_M: Final = 35.0
_MOST_LETTERS: Final = 400
_QUARTER_SEGMENTS: Final = 8
_NOT_DRAWN: Final = frozenset({"reach", "ties"})
"""Layers for other tools and for the worksheet: so many points and tapes would hide the wire."""
_LABELLED: Final = frozenset({"start", "regular", "end"})
"""Kinds of stations whose labels are written on the map; curves and crossings would lie on each other."""

Feature = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One drawn layer, which is one entry of the legend.

    Parameters
    ----------
    layer : str
        Name of the layer, or ``"tolerance"`` for the zones beside utilities.
    value : str
        Value of its style column; empty if it has one style.
    style : Style
        How it is drawn.
    features : tuple of dict
        GeoJSON features on WGS 84; ``properties`` hold the popup: title ``t`` and lines ``v``, and further for
        conflicts the number ``n`` in the list, for wire the run ``r``, for stations the ``label`` if it is written.
    count : int
        Number of rows of the table behind them.
    """

    layer: str
    value: str
    style: Style
    features: tuple[Feature, ...]
    count: int

    @property
    def key(self) -> str:
        """Name that is unique on the map."""
        return f"{self.layer}-{self.value}" if self.value else self.layer

    @property
    def switch(self) -> str:
        """Name of the legend entry that switches it: the tolerance zones go together."""
        return self.layer if self.layer == "tolerance" else self.key


def drawn_layers(plan: Plan, *, tables: Mapping[str, GeoDataFrame]) -> tuple[Drawn, ...]:
    """Make the drawn layers of a plan, from the ground up.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    tables : mapping of str to GeoDataFrame
        Its layers on WGS 84, longitude before latitude.

    Returns
    -------
    tuple of Drawn
        Those that hold anything.
    """
    names = dict.fromkeys(name for name, _ in STYLES if name not in _NOT_DRAWN)
    records = {layer: list(_records(tables.get(layer))) for layer in names}
    letters = _letters(plan)
    drawn: list[Drawn] = []
    for (layer, value), style in STYLES.items():
        rows = [(n, record) for n, record in enumerate(records.get(layer, ())) if _style_value(layer, record) == value]
        features = [feature for n, record in rows for feature in _features(layer, record, number=n, plan=plan)]
        features += letters.get(value, []) if layer == "utilities" else []
        if features:
            drawn.append(Drawn(layer=layer, value=value, style=style, features=tuple(features), count=len(rows)))
    first_utility = next((place for place, entry in enumerate(drawn) if entry.layer == "utilities"), len(drawn))
    return (*drawn[:first_utility], *_tolerance_zones(plan), *drawn[first_utility:])


def _records(table: GeoDataFrame | None) -> Iterator[dict[str, Any]]:
    if table is None:
        return
    geometry = table.geometry.name
    for record in table.to_dict("records"):
        shape = record.pop(geometry)
        if shape is not None and not shape.is_empty:
            yield record | {"geometry": shape}


def _style_value(layer: str, record: Mapping[str, Any]) -> str:
    """Give the key under which the style of a record stands."""
    column = STYLE_COLUMN.get(layer)
    if column is None:
        return ""
    style = style_of(layer, value=str(record[column] or ""))
    return next(value for value, candidate in layer_styles(layer).items() if candidate is style)


def _features(layer: str, record: Mapping[str, Any], *, number: int, plan: Plan) -> Iterator[Feature]:
    words = words_of(layer, record, settings=plan.settings)
    properties: dict[str, Any] = {"t": words.title, "v": list(words.lines)}
    shape: BaseGeometry = record["geometry"]
    if layer == "wire":
        properties["r"] = station_run(record, plan_length_m=plan.take_off.sequence.legs[number].line.length)
    if layer == "stations" and record["point_kind"] in _LABELLED:
        properties["label"] = html_text(record["label"])
    if layer == "conflicts":
        properties["n"] = number
        yield _feature(_badge_place(shape), properties)
    if layer != "conflicts" or shape.geom_type not in {"Point", "MultiPoint"}:
        yield _feature(shape, properties)


def _feature(shape: BaseGeometry, properties: Mapping[str, Any]) -> Feature:
    decimals = AREA_DECIMALS if shape.geom_type.endswith("Polygon") else DECIMALS
    rounded = shapely.transform(shape, lambda coordinates: np.round(coordinates, decimals))
    return {"type": "Feature", "properties": dict(properties), "geometry": _lists(shapely.geometry.mapping(rounded))}


def _lists(mapping: Mapping[str, Any]) -> dict[str, Any]:
    if mapping["type"] == "GeometryCollection":
        return {"type": mapping["type"], "geometries": [_lists(member) for member in mapping["geometries"]]}
    return {"type": mapping["type"], "coordinates": mapping["coordinates"]}


def _badge_place(shape: BaseGeometry) -> BaseGeometry:
    """Find the place of the badge of a conflict: on it, and in the midst of its largest part."""
    largest = max(shapely.get_parts(shape), key=lambda part: (part.area, part.length))
    middle: BaseGeometry = (
        largest.interpolate(0.5, normalized=True)
        if largest.geom_type == "LineString"
        else shapely.point_on_surface(largest)
    )
    return middle


def _tolerance_zones(plan: Plan) -> list[Drawn]:
    """Draw the zone beside each utility, buffered in the working CRS."""
    to_wgs84 = plan.site.frame.to_wgs84()
    zones: dict[str, list[Feature]] = {}
    for utility in plan.site.utilities:
        if utility.tolerance_m <= 0:
            continue
        zone = to_wgs84.geometry(utility.geometry.buffer(utility.tolerance_m, quad_segs=_QUARTER_SEGMENTS))
        words = words_of("utilities", _utility_record(utility), settings=plan.settings)
        popup = {"t": f"Tolerance zone of: {words.title}", "v": list(words.lines)}
        zones.setdefault(_color(utility), []).append(_feature(zone, popup))
    return [
        Drawn(layer="tolerance", value=color, style=tolerance_style(color), features=tuple(found), count=len(found))
        for color, found in zones.items()
    ]


def _letters(plan: Plan) -> dict[str, list[Feature]]:
    """Place the letters along the utilities, by the colour of the mark."""
    lines = [(utility, line) for utility in plan.site.utilities for line in _lines(utility.geometry)]
    spacing_m = max(_LETTER_SPACING_M, sum(line.length for _, line in lines) / _MOST_LETTERS)
    to_wgs84 = plan.site.frame.to_wgs84()
    placed: dict[str, list[Feature]] = {}
    for utility, line in lines:
        count = max(1, round(line.length / spacing_m))
        places = shapely.MultiPoint([line.interpolate((k + 0.5) / count, normalized=True) for k in range(count)])
        words = words_of("utilities", _utility_record(utility), settings=plan.settings)
        plates = [
            _feature(point, {"t": words.title, "v": list(words.lines)})
            for point in shapely.get_parts(to_wgs84.geometry(places))
        ]
        placed.setdefault(_color(utility), []).extend(plates)
    return placed


def _color(utility: Utility) -> str:
    return _style_value("utilities", {"apwa_color": utility.apwa_color})


def _utility_record(utility: Utility) -> dict[str, Any]:
    columns = ("id", "kind", "source_id", "apwa_color", "tolerance_m", "quality_level", "inferred", "marked_on")
    return {column: getattr(utility, column) for column in columns}


def _lines(shape: BaseGeometry) -> Iterable[BaseGeometry]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "LineString" and part.length > 0]


_GEOD = Geod(ellps="WGS84")
_HALF_STEP_DEG = 0.005


def metres_per_degree(longitude: float, latitude: float) -> tuple[float, float]:
    """Measure a degree of longitude and of latitude on the ellipsoid (Karney 2013), at a place.

    Parameters
    ----------
    longitude, latitude : float
        Degrees on WGS 84.

    Returns
    -------
    tuple of float
        Metres per degree eastward and northward.
    """
    west, east = longitude - _HALF_STEP_DEG, longitude + _HALF_STEP_DEG
    south, north = latitude - _HALF_STEP_DEG, latitude + _HALF_STEP_DEG
    eastward = _GEOD.line_length([west, east], [latitude, latitude])
    northward = _GEOD.line_length([longitude, longitude], [south, north])
    return eastward / (2 * _HALF_STEP_DEG), northward / (2 * _HALF_STEP_DEG)


def station_run(record: Mapping[str, Any], *, plan_length_m: float) -> dict[str, Any]:
    """Give the chainage of every vertex of a leg, for the read-out under the pointer.

    Parameters
    ----------
    record : mapping
        A row of the layer ``wire`` on WGS 84, with its ``geometry``.
    plan_length_m : float
        Length of the leg in the working CRS, in which stations are reckoned.

    Returns
    -------
    dict
        ``name`` of the loop, ``twisted``, and ``station``: metres at each vertex, to the millimetre.  Lengths between
        vertices are geodesic, fitted to the plan length of the leg.
    """
    coordinates = shapely.get_coordinates(record["geometry"])
    steps_m = np.asarray(_GEOD.line_lengths(coordinates[:, 0], coordinates[:, 1]))
    along_m = np.concatenate([[0.0], np.cumsum(steps_m)])
    fit = plan_length_m / along_m[-1] if along_m[-1] > 0 else 1.0
    return {
        "name": html_text(record["loop_id"]),
        "twisted": bool(record["twisted"]),
        "station": np.round(float(record["start_station_m"]) + along_m * fit, 3).tolist(),
    }


def unit_factors(settings: Settings) -> dict[str, Any]:
    """Give the names and sizes of the units in which the tools speak."""
    from parcelfence.units import unit_system

    units = unit_system(settings.units)
    return {
        "system": units.name,
        "length": units.length_unit,
        "lengthM": units.length_m,
        "area": units.area_unit,
        "areaM2": units.area_m2,
        "stations": settings.station_format,
    }
