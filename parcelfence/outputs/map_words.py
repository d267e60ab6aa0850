"""What the map says about a feature: plain words, in the units of the person's choice, escaped."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from parcelfence.outputs.escaping import html_text
from parcelfence.outputs.style import style_of
from parcelfence.units import station_label, unit_system

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from parcelfence.settings import Settings
    from parcelfence.units import UnitSystem

__all__ = ["AS_GIVEN", "LABELS", "Words", "words_of"]


@dataclass(frozen=True, kw_only=True)
class Words:
    """The text of one popup: a title, and one line for each label of its layer (empty: not shown)."""

    title: str
    lines: tuple[str, ...]


LABELS: Final[dict[str, tuple[str, ...]]] = {
    "parcel": ("Area",),
    "utilities": ("Tolerance zone", "Mark", "Quality level", "Marked on", "Line", "From"),
    "zones": ("What it means", "Area"),
    "animal_zones": ("What it means", "Reach", "Area"),
    "wire": ("Leg", "Belongs to", "Begins at station", "Along the ground", "Conductor to pull", "How it is laid"),
    "crossings": ("Angle", "Station", "Wire within", "How to dig"),
    "flags": ("Station", "Taken out in round"),
    "stations": ("Point", "Northing", "Easting"),
    "splices": ("Station", "Note"),
    "transmitter": ("Place",),
    "conflicts": ("What to do", "Measured", "Asked for", "Station", "Concerns", "Rule", "Basis"),
}
"""Labels of a popup by layer; a layer that is not named here has those of a feature as given."""
AS_GIVEN: Final = ("Kind", "Identifier", "From")
"""Labels of a feature as given."""

_ZONES: Final = {
    "roam": "The animal is free here; the receiver does not react.",
    "indoors": "Under a roof, and the receiver does not react: an animal indoors is at peace here.",
    "signal": "The receiver reacts here.",
    "core": "Close to the wire: the reaction is strong.",
}
_POINTS: Final = {
    "start": "Start of the run",
    "tangent": "Begin or end of a curve",
    "curve": "Middle of a curve",
    "regular": "Regular station",
    "crossing": "Crossing",
    "end": "End of the run",
}


def words_of(layer: str, record: Mapping[str, Any], *, settings: Settings) -> Words:
    """Word the popup of one feature.

    Parameters
    ----------
    layer : str
        Name of the layer.
    record : mapping
        Values of its columns, as in :mod:`parcelfence.layers`.
    settings : Settings
        Units and form of the chainage.

    Returns
    -------
    Words
        Every text in it is escaped for HTML.
    """
    writer = _WRITERS.get(layer, _as_given)
    title, *values = writer(record, _Speech(settings))
    return Words(title=html_text(title), lines=tuple(html_text(value) for value in values))


@dataclass(frozen=True)
class _Speech:
    """Lengths, areas and stations as the person reads them; what is missing becomes empty text."""

    settings: Settings

    @property
    def units(self) -> UnitSystem:
        return unit_system(self.settings.units)

    def length(self, value_m: Any, *, digits: int = 2) -> str:
        return "" if _missing(value_m) else self.units.length(float(value_m), digits=digits)

    def area(self, value_m2: Any) -> str:
        return "" if _missing(value_m2) else self.units.area(float(value_m2), digits=3)

    def station(self, value_m: Any) -> str:
        return "" if _missing(value_m) else station_label(float(value_m), style=self.settings.station_format)

    def quantity(self, value: Any, unit: str) -> str:
        if _missing(value):
            return ""
        if unit == "m":
            return self.length(value)
        if unit == "deg":
            return f"{float(value):.1f}°"
        return f"{float(value):,.3g} {unit}".strip()


def _missing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def _plain(word: Any) -> str:
    return str(word or "").replace("_", " ").strip()


def _opening(text: str) -> str:
    return text[:1].upper() + text[1:]


def _parcel(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    return f"Parcel {record['parcel_id']}", speech.area(record["area_m2"])


def _utility(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    kind = _plain(record["kind"])
    title = "Unknown line: treat it as the most dangerous kind" if kind in {"", "unknown"} else _opening(kind)
    tolerance = speech.length(record["tolerance_m"])
    quality = str(record["quality_level"] or "")
    return (
        title,
        f"{tolerance} each side of the mark: dig by hand there" if tolerance else "",
        f"{record['id']}" + (f", {record['apwa_color']}" if record["apwa_color"] else ", colour not known"),
        f"{quality} ({'PAS 128' if len(quality) > 1 else 'ASCE 38'})" if quality else "not stated",
        str(record["marked_on"] or "not stated"),
        "joined from point marks: its course between them is inferred" if record["inferred"] else "",
        str(record["source_id"] or ""),
    )


def _zone(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    kind = str(record["kind"])
    return style_of("zones", value=kind).title, _ZONES.get(kind, ""), speech.area(record["area_m2"])


def _animal_zone(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    meaning = (
        _ZONES.get(str(record["kind"]), "").replace("The animal is", "It is").replace("The receiver", "Its receiver")
    )
    return str(record["animal"]), meaning, speech.length(record["reach_m"]), speech.area(record["area_m2"])


def _wire(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    twisted = bool(record["twisted"])
    return (
        style_of("wire", value=str(record["part"])).title,
        str(record["leg"]),
        str(record["loop_id"]),
        "" if twisted else speech.station(record["start_station_m"]),
        speech.length(record["ground_length_m"]),
        speech.length(record["conductor_length_m"]),
        "twisted pair: carries no signal" if twisted else "single wire",
    )


def _crossing(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    surface = _missing(record["angle_deg"])
    angle = "" if surface else f"{record['angle_deg']:.0f}° (90° is square)"
    how = (
        "cut or sleeve the surface"
        if surface
        else "hand tools only, no deeper than the wire lies; expose the line where local law or its depth asks for it"
    )
    return (
        f"Crossing: {_plain(record['kind'])} {record['crosses']}",
        angle,
        speech.station(record["station_m"]),
        speech.length(record["length_m"]) + (" of hard surface" if surface else " of tolerance zone"),
        how,
    )


def _flag(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    return f"Flag {record['flag']}", speech.station(record["station_m"]), str(record["removal_round"])


def _station(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    return (
        f"Station {record['label']}",
        _POINTS.get(str(record["point_kind"]), str(record["point_kind"])),
        speech.length(record["northing_m"]),
        speech.length(record["easting_m"]),
    )


def _splice(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    return f"Splice {record['id']}", speech.station(record["station_m"]), str(record["note"] or "")


def _transmitter(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    del speech
    return "Transmitter", str(record["note"] or "")


def _conflict(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    unit = str(record["unit"] or "")
    return (
        str(record["message"]),
        str(record["remedy"]),
        speech.quantity(record["measured"], unit),
        speech.quantity(record["limit"], unit),
        speech.station(record["station_m"]),
        ": ".join(part for part in (_opening(_plain(record["layer"])), str(record["feature"] or "")) if part),
        str(record["rule"]),
        str(record["basis"]),
    )


def _as_given(record: Mapping[str, Any], speech: _Speech) -> tuple[str, ...]:
    del speech
    kind = _plain(record["kind"])
    return _opening(kind) or "Feature", kind, str(record["id"] or ""), str(record["source_id"] or "")


_WRITERS: Final[dict[str, Callable[[Mapping[str, Any], _Speech], tuple[str, ...]]]] = {
    "parcel": _parcel,
    "utilities": _utility,
    "zones": _zone,
    "animal_zones": _animal_zone,
    "wire": _wire,
    "crossings": _crossing,
    "flags": _flag,
    "stations": _station,
    "splices": _splice,
    "transmitter": _transmitter,
    "conflicts": _conflict,
}
