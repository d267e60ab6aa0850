"""A guess at what a layer would be used as: by its name, then its columns, then its geometry."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Source

__all__ = ["geometry_types", "guessed_role"]


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_ROLE_WORDS: Final[dict[str, frozenset[str]]] = {
    "buildings": _words("building buildings structure structures footprint footprints house houses"),
    "parcels": _words("parcel parcels plot plots lot lots cadastre cadastral zoning property tax"),
    "easements": frozenset({"easement", "easements"}),
    "transmitter": frozenset({"transmitter"}),
    "doors": frozenset({"door", "doors"}),
    "metal": frozenset({"metal"}),
    "hardscape": _words("hardscape drive drives driveway driveways patio patios paving pavement"),
    "fences": _words("fence fences fencing"),
    "gates": _words("gate gates"),
    "trees": _words("tree trees trunk trunks root roots"),
    "passages": _words("passage passages"),
    "no_dig": _words("dig nodig septic leachfield"),
    "no_animal": _words("animal animals"),
    "marks": _words("mark marks locate locates utility utilities"),
    "roads": _words("road roads street streets highway"),
    "open_sides": frozenset({"open"}),
    "wanted_area": frozenset({"wanted"}),
    "other_loops": frozenset({"loop", "loops", "wire", "wires"}),
    "keep_outs": frozenset({"keep", "outs", "keepouts", "garden", "gardens"}),
}
_WATER_WORDS: Final = _words("pond ponds lake lakes stream streams brook river rivers water")
"""Lines under such a name may as well be mains."""
_COURSE_WORDS: Final = _words("creek creeks ditch ditches brook brooks stream streams swale swales")
_PARCEL_COLUMNS: Final = frozenset({
    "parcel_no",
    "parcel_id",
    "apn",
    "ain",
    "pin",
    "acres",
    "lot",
    "parcelno",
    "zoning",
})
_BUILDING_COLUMNS: Final = frozenset({"bldg_id", "bid", "building_id", "height", "height_ft", "height_m", "storeys"})


def guessed_role(raw: RawLayer, source: Source) -> tuple[str, str]:
    """Give the likeliest role of a layer, and why."""
    from parcelfence.inputs.words import kinds_in, words_of

    names = (raw.name, source.path.stem)
    for name in names:
        words = set(words_of(name))
        for role, known in _ROLE_WORDS.items():
            if words & known:
                return role, "guessed from its name"
        if words & _COURSE_WORDS or (words & _WATER_WORDS and not _mostly(raw, "LineString")):
            return "water", "guessed from its name"
        if kinds_in(name) and not _mostly(raw, "Polygon"):
            return "marks", "guessed from its name"
    columns = {name.casefold() for name in raw.fields}
    if _mostly(raw, "Polygon"):
        if columns & _BUILDING_COLUMNS and not columns & _PARCEL_COLUMNS:
            return "buildings", "guessed from its columns"
        return "parcels", "guessed from its columns" if columns & _PARCEL_COLUMNS else "guessed from its geometry"
    return "marks", "guessed from its geometry"


def _mostly(raw: RawLayer, geometry_type: str) -> bool:
    types = geometry_types(raw)
    number = sum(count for name, count in types.items() if name.removeprefix("Multi") == geometry_type)
    return number * 2 > sum(types.values())


def geometry_types(raw: RawLayer) -> dict[str, int]:
    """Count the features by type of geometry, the commonest first; ``none`` are those without any."""
    counts = Counter(
        "none" if feature.geometry is None else f"{feature.geometry.geom_type}{' Z' * feature.geometry.has_z}"
        for feature in raw.features
    )
    return dict(counts.most_common())
