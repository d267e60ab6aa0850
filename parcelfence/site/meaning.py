"""What a feature means for the wire: by its role, its columns and its words, it finds its place on the site.

One file of keep-outs holds gardens, where no animal may go, and septic fields, where nobody may dig; one file of
water holds ponds and ditches.  A ditch or a drive drawn as a line gets a width, a tree drawn as its trunk the ground
of its roots.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal

import shapely

from parcelfence.errors import SettingsError
from parcelfence.inputs.words import word_set, words_of
from parcelfence.site.features import described, distinct
from parcelfence.units import FOOT_M, parse_length_m

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from parcelfence.settings import Settings
    from parcelfence.site.feature import Feature
    from parcelfence.site.surroundings import Surroundings

    _Described = tuple[Feature, Mapping[str, Any]]

__all__ = ["Meanings", "Surface", "meanings", "surface"]

Surface = Literal["pool surround", "concrete", "pavers", "gravel", "deck"]

_NO_DIG: Final = word_set("septic leach leachfield drainfield rock ledge outcrop root roots archaeological landfill")
_NO_ANIMAL: Final = word_set("pool garden bed pond play playground vegetable flower coop run")
_COURSES: Final = word_set("creek ditch brook stream swale rill gully gulley runnel rivulet drain beck burn canal dyke")
_POOLS: Final = word_set("pool swimming spa jacuzzi")
_POOL_SURROUND: Final = "pool surround"
_SURFACES: Final[dict[Surface, frozenset[str]]] = {
    "deck": word_set("deck decking boardwalk wood wooden timber"),
    "gravel": word_set("gravel crushed cinder dirt unpaved mulch bark sand shell"),
    "pavers": word_set("paver pavers brick bricks flagstone flagstones slab slabs setts cobble cobbles cobblestone"),
}
_WIDEST_COURSE_M: Final = 3.0
"""A brook that is wider is open water: nobody leads wire through it in a day's work (from memory)."""
_ADJOINS_M: Final = 0.3
"""A surface this near to the pool's edge is part of its surround, though a coping lies between."""
_ROOTS_PER_STEM: Final = 12.0
"""Radius of the root protection area over the diameter of the stem (BS 5837:2012, from memory)."""
_WIDEST_ROOTS_M: Final = 15.0
"""That standard's limit of the radius (from memory)."""
_ROOTS_UNKNOWN_M: Final = 3.0
"""Where no diameter is known, that of a stem of 25 cm."""
_UNITS: Final = {"_m": 1.0, "_cm": 0.01, "_mm": 0.001, "_ft": FOOT_M, "_in": FOOT_M / 12}
_WIDTHS: Final = ("width", "breadth", "bank_width")
_STEMS: Final = ("stem_diameter", "trunk_diameter", "diameter", "dbh")
_ROOT_RADII: Final = ("root_radius", "roots")
_LARGEST_METRES, _LARGEST_INCHES = 3.0, 48.0
"""A bare diameter of a stem is metres, inches or centimetres: up to 3 the first, up to 48 the second; where two can be
meant, the larger, which keeps more ground free of trenches."""


@dataclass(frozen=True, kw_only=True)
class Meanings:
    """Features by field of the site, and what was assumed on the way."""

    features: dict[str, tuple[Feature, ...]]
    remarks: tuple[str, ...]


def meanings(around: Sequence[Surroundings], *, settings: Settings) -> Meanings:
    """Sort the features whose role does not yet say all.

    Parameters
    ----------
    around : sequence of Surroundings
        All tables near the property.
    settings : Settings
        Widths of drives and ditches that are drawn as lines.

    Returns
    -------
    Meanings
        ``keep_outs`` and ``no_dig``, ``water`` and ``watercourses``, ``hardscape`` and ``joints``, ``trees``.
    """
    kept, no_dig = _keep_outs(around)
    water, courses, of_water = _waters(around, width_m=settings.watercourse_width_m)
    pools = [one.geometry for one in (*kept, *water) if not _POOLS.isdisjoint(words_of(one.kind))]
    hardscape, joints, of_drives = _hardscape(around, pools=pools, width_m=settings.drive_width_m)
    trees, of_trees = _trees(around)
    found = {
        "keep_outs": kept,
        "no_dig": no_dig,
        "water": water,
        "watercourses": courses,
        "hardscape": hardscape,
        "joints": joints,
        "trees": trees,
    }
    return Meanings(
        features={name: distinct(features) for name, features in found.items()},
        remarks=(*of_water, *of_drives, *of_trees),
    )


def surface(feature: Feature) -> Surface:
    """Tell what a hard surface is made of; what its kind does not say is taken as concrete, the dearest to cut."""
    if feature.kind.startswith(_POOL_SURROUND):
        return _POOL_SURROUND
    words = set(words_of(feature.kind))
    return next((name for name, known in _SURFACES.items() if words & known), "concrete")


def _keep_outs(around: Iterable[Surroundings]) -> tuple[list[Feature], list[Feature]]:
    """Tell keep-outs of the animal from ground that must not be dug; what says neither is the first."""
    kept = [feature for feature, _ in described(around, "no_animal")]
    no_dig = [feature for feature, _ in described(around, "no_dig")]
    for feature, attributes in described(around, "keep_outs"):
        (no_dig if _not_to_be_dug(feature.kind, attributes) else kept).append(feature)
    return kept, no_dig


def _not_to_be_dug(kind: str, attributes: Mapping[str, Any]) -> bool:
    """Judge by a column that says it (a value, or a yes under its name), else by the words of the kind."""
    for name, value in attributes.items():
        for said in (_plain(value), _plain(name) if _plain(value) in {"true", "yes", "1", "y"} else ""):
            if said in {"no_dig", "no_digging", "do_not_dig"}:
                return True
            if said in {"no_animal", "no_animals"}:
                return False
    words = set(words_of(kind))
    return bool(words & _NO_DIG) and not words & _NO_ANIMAL


def _waters(around: Iterable[Surroundings], *, width_m: float) -> tuple[list[Feature], list[Feature], tuple[str, ...]]:
    """Tell ditches and creeks, which wire may cross, from open water."""
    water, courses, assumed = [], [], 0
    for feature, attributes in _filled(described(around, "water")):
        if _is_line(feature.geometry):
            known_m = _length_m(attributes, _WIDTHS)
            assumed += known_m is None
            courses.append(_as_strip(feature, known_m or width_m))
        elif _is_course(feature):
            courses.append(feature)
        else:
            water.append(feature)
    said = f"{assumed} of the waters are drawn as lines; each is taken as a course {width_m:g} m wide"
    return water, courses, (said,) if assumed else ()


def _is_course(feature: Feature) -> bool:
    named = not _COURSES.isdisjoint(words_of(feature.kind))
    return named and 2 * feature.geometry.area / feature.geometry.length <= _WIDEST_COURSE_M


def _hardscape(
    around: Iterable[Surroundings], *, pools: list[BaseGeometry], width_m: float
) -> tuple[list[Feature], list[Feature], tuple[str, ...]]:
    surfaces, joints, assumed = [], [], 0
    for feature, attributes in _filled(described(around, "hardscape")):
        if not _is_line(feature.geometry):
            surfaces.append(feature)
        elif not {"joint", "joints"}.isdisjoint(words_of(feature.kind)):
            joints.append(feature)
        else:
            known_m = _length_m(attributes, _WIDTHS)
            assumed += known_m is None
            surfaces.append(_as_strip(feature, known_m or width_m))
    basin = shapely.union_all(pools)
    said = f"{assumed} of the hard surfaces are drawn as lines; each is taken as {width_m:g} m wide"
    return [_about_the_pool(each, basin) for each in surfaces], joints, (said,) if assumed else ()


def _about_the_pool(feature: Feature, pools: BaseGeometry) -> Feature:
    """Call a surface at a pool its surround, whatever its file calls it: it may be bonded."""
    words = set(words_of(feature.kind))
    if not words.isdisjoint(_POOLS):
        return replace(feature, kind=_POOL_SURROUND)
    drive = words & word_set("drive driveway road lane")
    if not pools.is_empty and not drive and feature.geometry.dwithin(pools, _ADJOINS_M):
        return replace(feature, kind=f"{_POOL_SURROUND} ({feature.kind})")
    return feature


def _trees(around: Iterable[Surroundings]) -> tuple[list[Feature], tuple[str, ...]]:
    """Give trees as the ground of their roots."""
    trees, assumed = [], 0
    for feature, attributes in described(around, "trees"):
        if shapely.get_dimensions(feature.geometry):
            trees.append(feature)
            continue
        radius_m = _root_radius_m(attributes)
        assumed += radius_m is None
        roots = feature.geometry.buffer(radius_m or _ROOTS_UNKNOWN_M)
        trees.append(replace(feature, geometry=roots))
    said = f"{assumed} trees state no diameter; their roots are taken to reach {_ROOTS_UNKNOWN_M:g} m"
    return trees, (said,) if assumed else ()


def _root_radius_m(attributes: Mapping[str, Any]) -> float | None:
    stated_m = _length_m(attributes, _ROOT_RADII)
    if stated_m is not None:
        return stated_m
    stem_m = _length_m(attributes, _STEMS, bare=_stem_m)
    return None if stem_m is None else min(_ROOTS_PER_STEM * stem_m, _WIDEST_ROOTS_M)


def _stem_m(bare: float) -> float:
    if bare <= _LARGEST_METRES:
        return bare
    return bare * FOOT_M / 12 if bare <= _LARGEST_INCHES else bare / 100


def _length_m(attributes: Mapping[str, Any], names: Iterable[str], *, bare: Any = float) -> float | None:
    """Read a length from the first column of some names, with or without a unit at its end; None if there is none."""
    columns = {_plain(name): value for name, value in attributes.items()}
    for name in names:
        for suffix, unit_m in {"": None, **_UNITS}.items():
            value = columns.get(name + suffix)
            try:
                length_m = parse_length_m(value) if value not in {None, ""} else 0.0
            except (SettingsError, TypeError):
                continue
            if length_m > 0:
                plain = not isinstance(value, str) or bool(re.fullmatch(r"[\d.\s]+", value))
                return length_m * unit_m if unit_m and plain else bare(length_m) if plain else length_m
    return None


def _filled(found: Iterable[_Described]) -> Iterator[_Described]:
    """Take a line that closes round an area as that area: a pond that is drawn by its shore."""
    for feature, attributes in found:
        lines = shapely.get_parts(feature.geometry)
        if all(line.geom_type == "LineString" and line.is_closed and len(line.coords) > 3 for line in lines):  # noqa: PLR2004
            inside = shapely.union_all([shapely.make_valid(shapely.Polygon(line)) for line in lines])
            yield replace(feature, geometry=inside), attributes
        else:
            yield feature, attributes


def _as_strip(feature: Feature, width_m: float) -> Feature:
    strip = feature.geometry.buffer(width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=2.0)
    return replace(feature, geometry=strip)


def _is_line(geometry: BaseGeometry) -> bool:
    return bool(shapely.get_dimensions(geometry) == 1)


def _plain(value: Any) -> str:
    return re.sub(r"[\s-]+", "_", str(value).strip().casefold())
