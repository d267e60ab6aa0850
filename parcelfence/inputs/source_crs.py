"""Which CRS the coordinates of a source are in: what the file states, what the person gave, never a guess."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from parcelfence.errors import CrsError, Fault
from parcelfence.inputs.coordinates import could_be_degrees, crs_code, plausible_degrees
from parcelfence.text import shortened

if TYPE_CHECKING:
    import numpy.typing as npt

    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Source

__all__ = ["SourceCrs", "check_definition", "check_definition_within", "crs_from_words", "horizontal_crs", "source_crs"]

_LONGEST_SHOWN: Final = 120
_OVERRIDE: Final = "override:"
_STANDARD: Final = "GeoJSON standard"
_OPENS_A_FILE: Final = re.compile(
    r"(?:nadgrids|geoidgrids|grids|catalog|\bfile|\bdefinition)\s*=\s*(?!\"?@null)"
    r"|\binit\s*=\s*(?!epsg:)"
    r"|PROJ4_GRIDS\"\s*,\s*\"(?!@null)"
    r"|PARAMETERFILE"
    r"|\bpipeline\b"
    r"|\"value\"\s*:\s*\"",
    re.IGNORECASE,
)
"""Where the language of PROJ, WKT 1, WKT 2 and PROJJSON names a file; ``@null`` stands for none."""
_WELL_KNOWN_TEXT: Final = re.compile(
    rb"(?:COMPD_CS|COMPOUNDCRS|BOUNDCRS|(?:GEOG|GEOC|PROJ|GEOD)(?:CS|CRS))\s*[\[(]", re.IGNORECASE
)
_LONGEST_DEFINITION: Final = 20_000
"""The longest of the EPSG list has some 5,000 characters as WKT 2."""


@dataclass(frozen=True, kw_only=True)
class SourceCrs:
    """The CRS of a source, how it is known, and what is to be said about it."""

    crs: CRS
    origin: str
    remarks: tuple[Fault, ...] = ()


def check_definition(text: str, *, where: str) -> None:
    """Refuse the text of a CRS that would make PROJ open a file, or that is no definition by its mere length.

    Raises
    ------
    CrsError
        With what was found in it.
    """
    named = _OPENS_A_FILE.search(text)
    if named is not None or len(text) > _LONGEST_DEFINITION:
        found = f"it names a file ({named[0].strip()} ...)" if named else f"it has {len(text):,} characters"
        raise CrsError(
            Fault(
                where=where,
                found=f"the coordinate reference system cannot be taken as it is written: {found}",
                must="it must say all by itself; nothing but the named inputs is opened",
                remedy="give the code of the system, such as EPSG:2229",
            )
        )


def check_definition_within(content: bytes, *, where: str) -> None:
    """Refuse a header that holds such a text, before a library takes it for a CRS; raises CrsError."""
    begins = _WELL_KNOWN_TEXT.search(content)
    if begins is not None:
        named = _OPENS_A_FILE.search(content[begins.start() :].decode("latin-1"))
        check_definition(named[0] if named else "", where=where)


def crs_from_words(text: str, *, where: str = "`crs`") -> CRS:
    """Read a CRS as a person writes it: ``EPSG:2229``, ``2229``, a name, WKT or a PROJ string.

    Raises
    ------
    CrsError
        If it is none.
    """
    words = text.strip()
    check_definition(words, where=where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            crs = CRS.from_epsg(int(words)) if words.isdigit() else CRS.from_user_input(words)
    except (CRSError, ValueError, OverflowError) as error:
        raise CrsError(
            Fault(
                where=where,
                found=f"{shortened(text, most=_LONGEST_SHOWN)!r} is no coordinate reference system that PROJ knows",
                must="it is written like EPSG:4326, EPSG:2229 or 'NAD83 / Vermont'",
                remedy="look the code up in the data's description; codes are listed at epsg.org",
            )
        ) from error
    return horizontal_crs(crs, where=where)


def horizontal_crs(crs: CRS, *, where: str) -> CRS:
    """Give the horizontal part of a CRS, in two dimensions.

    Raises
    ------
    CrsError
        If it has none, as a vertical or local one.
    """
    if crs.is_bound and crs.source_crs is not None:
        return horizontal_crs(crs.source_crs, where=where)
    if crs.is_compound:
        return horizontal_crs(crs.sub_crs_list[0], where=where)
    if not (crs.is_geographic or crs.is_projected):
        raise CrsError(
            Fault(
                where=where,
                found=f"{crs.name} is a {crs.type_name}",
                must="a geographic or a projected system is needed",
                remedy="give the horizontal system of the data, such as EPSG:4326",
            )
        )
    return crs.to_2d()


def source_crs(layer: RawLayer, source: Source) -> SourceCrs:
    """Settle the CRS of a source from what the file states and what the person gave.

    A file that states a CRS is believed. What the person gives fills the gap where a file states none; against a
    file that states another one it is refused, unless it is written as ``override:EPSG:2229``.
    GeoJSON without a ``crs`` member is WGS 84 by its standard; a projected CRS given for it is taken where the
    coordinates cannot be degrees.

    Raises
    ------
    CrsError
        If the CRS is missing, contradicted or unusable.
    """
    given = source.crs.strip() if source.crs else None
    if given is not None and given.lower().startswith(_OVERRIDE):
        crs = crs_from_words(given[len(_OVERRIDE) :], where=f"{source.name}: crs")
        return SourceCrs(crs=crs, origin="given", remarks=_overridden(layer, crs=crs, source=source))
    if given is not None:
        return _given_crs(layer, crs_from_words(given, where=f"{source.name}: crs"), source=source)
    fallback = crs_from_words(source.crs_if_missing) if source.crs_if_missing else None
    if layer.crs_origin == _STANDARD and fallback is not None and not plausible_degrees(_bounds(layer)):
        return _instead_of_degrees(fallback, source=source)
    if layer.crs is not None:
        crs = horizontal_crs(layer.crs, where=source.name)
        return SourceCrs(crs=crs, origin=layer.crs_origin, remarks=_without_heights(layer.crs, source=source))
    if fallback is not None:
        return SourceCrs(crs=fallback, origin="given")
    missing = Fault(
        where=source.name,
        found="the file does not say in which coordinate reference system its coordinates are" + _hint(layer),
        must="it must be known; it is never guessed",
        remedy=f"give it with {source.crs_argument}, for example {source.crs_argument} EPSG:2229, as the maker of "
        "the data states it"
        + (", or put the .prj file beside the .shp" if source.path.suffix.lower() == ".shp" else ""),
    )
    raise CrsError([missing, *layer.remarks])


def _given_crs(layer: RawLayer, given: CRS, *, source: Source) -> SourceCrs:
    if layer.crs is None:
        return SourceCrs(crs=given, origin="given")
    own = horizontal_crs(layer.crs, where=source.name)
    if own.equals(given, ignore_axis_order=True):
        return SourceCrs(crs=own, origin=layer.crs_origin, remarks=_without_heights(layer.crs, source=source))
    if layer.crs_origin == _STANDARD and (given.is_geographic or not plausible_degrees(_bounds(layer))):
        return _instead_of_degrees(given, source=source)
    says = "the GeoJSON standard says" if layer.crs_origin == _STANDARD else "the file says"
    code = crs_code(given)
    raise CrsError(
        Fault(
            where=source.name,
            found=f"{says} that its coordinates are {own.name} ({crs_code(own)}), and {given.name} ({code}) was given",
            must="only one of them can be true",
            remedy=f"leave the CRS of this file out, or write {_OVERRIDE}{code} if the file is wrong",
        )
    )


def _without_heights(stated: CRS, *, source: Source) -> tuple[Fault, ...]:
    """Say which vertical system is left aside, for whoever takes the heights of a file for those of the plan."""
    if stated.is_bound and stated.source_crs is not None:
        return _without_heights(stated.source_crs, source=source)
    vertical = [part.name for part in stated.sub_crs_list if part.is_vertical]
    if not vertical:
        return ()
    return (
        Fault(
            where=source.name,
            found=f"its heights are in {vertical[0]}; the heights and their system are left aside",
            remedy="give a raster of elevations if lengths are to run along the ground",
        ),
    )


def _instead_of_degrees(given: CRS, *, source: Source) -> SourceCrs:
    remark = Fault(
        where=source.name,
        found=f"the GeoJSON has no crs member; its coordinates are taken as {given.name}, as given",
    )
    return SourceCrs(crs=given, origin="given", remarks=(remark,))


def _overridden(layer: RawLayer, *, crs: CRS, source: Source) -> tuple[Fault, ...]:
    if layer.crs is None or layer.crs.equals(crs, ignore_axis_order=True):
        return ()
    return (
        Fault(
            where=source.name,
            found=f"the file says {layer.crs.name}; its coordinates are taken as {crs.name}, as ordered by {_OVERRIDE}",
        ),
    )


def _bounds(layer: RawLayer) -> npt.NDArray[np.float64]:
    geometries = [feature.geometry for feature in layer.features if feature.geometry is not None]
    bounds = shapely.bounds(np.array(geometries, dtype=object)) if geometries else np.empty((0, 4))
    finite: npt.NDArray[np.float64] = bounds[np.isfinite(bounds).all(axis=1)]
    return finite


def _hint(layer: RawLayer) -> str:
    bounds = _bounds(layer)
    if not len(bounds):
        return ""
    x, y = float(bounds[0, 0]), float(bounds[0, 1])
    kind = "degrees" if could_be_degrees(bounds) else "metres or feet"
    return f" (they begin with {x:,.6g}, {y:,.6g}, which look like {kind})"
