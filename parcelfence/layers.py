"""The layers that parcelfence hands out, as data.

Everything that writes, checks or documents a layer reads this one table, so that a column cannot mean one thing
in the GeoPackage and another in the manual.  Lengths are metres, angles degrees, areas square metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

__all__ = [
    "FIXED_TIME",
    "INPUT_ROLES",
    "LAYERS",
    "PLAN_FILE",
    "PROGRAM",
    "PROJECT_FILE",
    "SCREENING",
    "SUMMARY",
    "Column",
    "LayerSchema",
    "layer_schema",
]

PROGRAM: Final = "parcelfence"
SUMMARY: Final = "summary.json"
"""The file by which an output folder is known as one of ours; it lists the others."""
PROJECT_FILE: Final = "SITE.toml"
"""The project file that repeats a plan, in its folder, and that of a new project."""
PLAN_FILE: Final = "plan.gpkg"
"""The file of an output folder that holds every layer."""

FIXED_TIME: Final = "2000-01-01T00:00:00.000Z"
"""Stands where the format demands a time of change: the same plan gives the same bytes."""

ColumnType = Literal["text", "real", "integer", "boolean"]
GeometryName = Literal["Polygon", "LineString", "Point", "Unknown"]


@dataclass(frozen=True)
class Column:
    """One column of a layer: its name, its type, its unit (if any) and its meaning in plain words."""

    name: str
    dtype: ColumnType
    meaning: str
    unit: str = ""

    @property
    def alias(self) -> str:
        """The column as a person reads it, with its unit: ``Start station (m)`` for ``start_station_m``."""
        words = self.name.removesuffix(f"_{self.unit}").replace("_", " ") if self.unit else self.name.replace("_", " ")
        title = words[:1].upper() + words[1:]
        for plain, written in (("Apwa color", "APWA colour"), (" id", " identifier")):
            title = title.removesuffix(plain) + written if title.endswith(plain) else title
        unit = self.unit.replace("m2", "m\u00b2")
        return f"{title} ({unit})" if unit else title


@dataclass(frozen=True)
class LayerSchema:
    """One layer: its name, title, geometry and columns.

    ``geometry`` names the simple type; a layer may hold its Multi form too.  ``"Unknown"`` means any type.
    ``label`` is the column that is written beside a feature, up to a map scale of 1 to ``label_scale``.  A layer that
    is not ``shown`` is there, but off until somebody wants it.
    """

    name: str
    title: str
    geometry: GeometryName
    columns: tuple[Column, ...]
    label: str = ""
    label_scale: int = 1000
    shown: bool = True

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns in their order, without the geometry."""
        return tuple(column.name for column in self.columns)


_ID: Final = (
    Column("id", "text", "Identifier, unique within the layer"),
    Column("kind", "text", "What it is, in the words of this project"),
    Column("source_id", "text", "File and position or identifier of the record it came from"),
)
_STATION: Final = Column("station_m", "real", "Chainage along the wire from the attachment of the lead-in", "m")


def _as_given(name: str, title: str, *, geometry: GeometryName) -> LayerSchema:
    return LayerSchema(name, title, geometry, _ID)


LAYERS: Final[tuple[LayerSchema, ...]] = (
    LayerSchema(
        "parcel",
        "Parcel",
        "Polygon",
        (
            Column("parcel_id", "text", "Identifier of the parcel, or of several joined by +"),
            Column("area_m2", "real", "Area in the working CRS", "m2"),
        ),
        label="parcel_id",
        label_scale=5000,
    ),
    _as_given("neighbours", "Neighbouring parcels", geometry="Polygon"),
    _as_given("buildings", "Buildings", geometry="Polygon"),
    _as_given("water", "Open water", geometry="Polygon"),
    _as_given("watercourses", "Creeks and ditches", geometry="Polygon"),
    _as_given("hardscape", "Drives and patios", geometry="Polygon"),
    _as_given("joints", "Joints in hard surfaces", geometry="LineString"),
    _as_given("easements", "Easements", geometry="Polygon"),
    _as_given("roads", "Roads", geometry="Unknown"),
    _as_given("keep_outs", "Keep-outs of the animal", geometry="Polygon"),
    _as_given("no_dig", "Not to be dug", geometry="Polygon"),
    _as_given("trees", "Roots of trees", geometry="Polygon"),
    _as_given("fences", "Fences", geometry="LineString"),
    _as_given("gates", "Gates", geometry="Unknown"),
    _as_given("doors", "Doors", geometry="Point"),
    _as_given("metal", "Large metal objects", geometry="Unknown"),
    _as_given("other_loops", "Other loops nearby", geometry="LineString"),
    _as_given("open_sides", "Open sides", geometry="LineString"),
    _as_given("passages", "Passages", geometry="LineString"),
    _as_given("wanted_area", "Wanted area", geometry="Polygon"),
    LayerSchema(
        "utilities",
        "Utilities",
        "Unknown",
        (
            *_ID,
            Column("apwa_color", "text", "Colour of the mark by the APWA uniform colour code"),
            Column("tolerance_m", "real", "Half-width of the tolerance zone to be dug by hand", "m"),
            Column("quality_level", "text", "Quality level A to D (ASCE 38), B1 to B4 (PAS 128); empty if not stated"),
            Column("inferred", "boolean", "Whether the line was joined from point marks"),
            Column("marked_on", "text", "Date of the mark, ISO 8601; empty if not stated"),
        ),
        label="kind",
        label_scale=1500,
    ),
    LayerSchema(
        "zones",
        "Zones",
        "Polygon",
        (
            Column("kind", "text", "roam, signal or core; indoors: the part of roam under roofs"),
            Column("area_m2", "real", "Area", "m2"),
        ),
    ),
    LayerSchema(
        "animal_zones",
        "Zones of single animals",
        "Polygon",
        (
            Column("animal", "text", "Name of an animal whose zones are not those of the layer zones"),
            Column("kind", "text", "roam or signal"),
            Column("reach_m", "real", "Reach of its receiver beside a long straight wire, at the common level", "m"),
            Column("area_m2", "real", "Area", "m2"),
        ),
        label="animal",
        label_scale=1500,
        shown=False,
    ),
    LayerSchema(
        "wire",
        "Wire",
        "LineString",
        (
            Column("leg", "integer", "Place in the wiring sequence, from 1"),
            Column("part", "text", "loop, inner_loop, return_run or lead_in"),
            Column("loop_id", "text", "Loop to which the leg belongs"),
            Column("twisted", "boolean", "Whether it is a twisted pair"),
            Column("start_station_m", "real", "Chainage at which the leg begins, measured on the plan", "m"),
            Column(
                "ground_length_m", "real", "Length along the ground, slopes included where elevations are given", "m"
            ),
            Column("conductor_length_m", "real", "Length of single conductor, with slack and twist", "m"),
        ),
        label="leg",
        label_scale=1500,
    ),
    LayerSchema(
        "crossings",
        "Crossings",
        "Point",
        (
            Column("crosses", "text", "Identifier of what is crossed"),
            Column("kind", "text", "Kind of utility, or hardscape"),
            Column("angle_deg", "real", "Angle between wire and what it crosses, 90 is square", "deg"),
            _STATION,
            Column("length_m", "real", "Length of wire within what is crossed, or within its tolerance zone", "m"),
        ),
        label="kind",
        label_scale=500,
    ),
    LayerSchema(
        "flags",
        "Flags",
        "Point",
        (
            Column("flag", "integer", "Number, from 1, in the order of the wire"),
            _STATION,
            Column("removal_round", "integer", "Round of flag removal in which it is taken out, from 1"),
        ),
        label="flag",
        label_scale=400,
    ),
    LayerSchema(
        "stations",
        "Stations",
        "Point",
        (
            _STATION,
            Column("label", "text", "Chainage as it is written on a stake"),
            Column("point_kind", "text", "start, tangent, curve, regular, crossing or end"),
            Column("northing_m", "real", "Northing in the working CRS", "m"),
            Column("easting_m", "real", "Easting in the working CRS", "m"),
        ),
        label="label",
        label_scale=300,
    ),
    LayerSchema(
        "reach",
        "Reach along the wire",
        "Point",
        (
            Column("loop_id", "text", "Loop that is measured"),
            _STATION,
            Column(
                "reach_inside_m", "real", "Reach square to the wire, inwards; empty if no silent ground is met", "m"
            ),
            Column("reach_outside_m", "real", "Reach square to the wire, outwards; empty likewise", "m"),
        ),
        shown=False,
    ),
    LayerSchema(
        "splices",
        "Splices",
        "Point",
        (
            Column("id", "text", "Identifier"),
            _STATION,
            Column("note", "text", "What to do there"),
        ),
        label="id",
        label_scale=750,
    ),
    LayerSchema(
        "ties",
        "Tape ties",
        "LineString",
        (
            Column("point", "text", "What is tied, as the drawing names it"),
            Column("kind", "text", "start, bend, crossing, splice, flag or transmitter"),
            Column("loop_id", "text", "Run that it belongs to; empty for the transmitter"),
            _STATION,
            Column("first_mark", "text", "Where the first tape begins"),
            Column("first_m", "real", "What it reads", "m"),
            Column("second_mark", "text", "Where the second tape begins"),
            Column("second_m", "real", "What it reads", "m"),
            Column("side", "text", "Arcs meet twice: the point is the meeting farther to this side"),
            Column("cut_deg", "real", "Angle at which the two arcs cut, 90 is best", "deg"),
            Column("within_m", "real", "95 of 100 points lie this close, at 1 cm of error in each tape", "m"),
        ),
        label="point",
        shown=False,
    ),
    LayerSchema(
        "transmitter",
        "Transmitter",
        "Point",
        (
            Column("id", "text", "Identifier"),
            Column("note", "text", "Whether it was given or proposed, and why there"),
        ),
        label="id",
        label_scale=750,
    ),
    LayerSchema(
        "conflicts",
        "Conflicts",
        "Unknown",
        (
            Column("rule", "text", "Rule that found it"),
            Column("severity", "text", "must_fix, caution or note"),
            _STATION,
            Column("measured", "real", "What was measured"),
            Column("limit", "real", "What the rule asks for"),
            Column("unit", "text", "Unit of both"),
            Column("message", "text", "What is wrong, in plain words"),
            Column("remedy", "text", "What to do about it"),
            Column("basis", "text", "Named standard, or common practice"),
            Column("layer", "text", "Layer of the feature concerned"),
            Column("feature", "text", "Identifier of the feature concerned"),
        ),
        label="rule",
        label_scale=300,
    ),
)
"""All layers, from the ground up: the order in which a map draws them."""

INPUT_ROLES: Final[dict[str, str]] = {
    "parcels": "lots; one or several of them are selected, the others are neighbours",
    "buildings": "building footprints",
    "marks": "utility locate marks: lines, points or tolerance areas",
    "keep_outs": "ground that the animal must stay out of, or that must not be dug: a column or the kind tells",
    "no_animal": "ground that the animal must stay out of, such as gardens and pools",
    "no_dig": "ground that must not be dug, such as septic fields and rock; the animal may walk there",
    "water": "ponds and lakes; creeks and ditches, as areas or centre lines",
    "hardscape": "drives, walks and patios, drives also as centre lines; joints in them, as lines of the kind joint",
    "easements": "strips in which others hold rights",
    "roads": "roads and lanes, as areas or centre lines",
    "fences": "fences along which wire may be fixed instead of buried",
    "gates": "gates in fences, as points or lines",
    "trees": "trees, as points at their trunks or as the ground of their roots",
    "passages": "ways that are kept free of signal, as lines that the wire crosses",
    "doors": "doors that the animal uses",
    "metal": "large metal objects",
    "other_loops": "a neighbour's boundary wires",
    "open_sides": "stretches of the lot line where no signal is wanted",
    "wanted_area": "part of the property to be contained, where it is not all of it",
    "transmitter": "place of the transmitter",
}
"""Roles that an input file may play, with their meaning."""

SCREENING: Final = LayerSchema(
    "screening",
    "Screening of many parcels: one row a parcel and reach, after the columns that were kept",
    "LineString",
    (
        Column("position", "integer", "Place of the parcel in its file, from 1"),
        Column("parcel_id", "text", "Identifier of the parcel, or its place in the file"),
        Column("status", "text", "planned, no_loop (no room), refused (input, limit), failed (to be reported)"),
        Column("reason", "text", "Why there is no plan"),
        Column("reach_m", "real", "Reach for which the row holds", "m"),
        Column("area_m2", "real", "Area of the parcel", "m2"),
        Column("enclosed_m2", "real", "Ground that the loops enclose", "m2"),
        Column("free_m2", "real", "Ground in the open on which the animal is free, outside the signal", "m2"),
        Column("loop_m", "real", "Length of the single loops on the plan", "m"),
        Column("wire_m", "real", "Length of conductor, slack and both conductors of the lead-ins included", "m"),
        Column("cost", "real", "Cost of what was given a price; empty without prices"),
        Column("must_fix", "integer", "Conflicts that must be fixed"),
        Column("cautions", "integer", "Cautions"),
        Column("notes", "integer", "Notes, without those on repairs of the whole file"),
        Column("rules", "text", "Rules with a conflict that must be fixed, joined by commas"),
    ),
)
"""The table of a screening; no layer of a plan."""

_BY_NAME: Final = {schema.name: schema for schema in LAYERS}


def layer_schema(name: str) -> LayerSchema:
    """Look a layer up by its name; a name that is none is a programming error and raises KeyError."""
    return _BY_NAME[name]
