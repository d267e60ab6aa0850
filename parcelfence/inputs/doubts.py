"""Doubts: what can be used, but was spoilt before it came here: garbled text, coordinates that were rounded."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.errors import Fault
from parcelfence.inputs.raw import feature_label
from parcelfence.text import shortened

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt
    from pyproj import CRS

    from parcelfence.inputs.raw import RawLayer
    from parcelfence.inputs.source import Source

__all__ = ["DEGREE_M", "coordinate_step_m", "doubts"]

_COARSE_M: Final = 0.2
"""Rounding to less than this is below what setbacks keep in reserve (0.3 m)."""
_FEWEST_VERTICES: Final = 20
"""A drawing of a few vertices may have round coordinates by intent; so many have them by rounding alone."""
_MOST_VERTICES: Final = 2_000
_FINEST_DECIMALS: Final = 7
DEGREE_M: Final = 111_320.0
"""A degree along the equator, which is the longest."""
_TOLERANCE: Final = 1e-3
"""Part of a step by which a rounded number may miss it: binary fractions, and a datum shift to the nanometre."""
_LONGEST_SHOWN: Final = 40
_LOST: Final = "\ufffd"
_BYTES: Final = {
    character: bytes([byte])
    for byte in range(0x80, 0x100)
    for character in (chr(byte), bytes([byte]).decode("cp1252", "ignore"))
    if character
}
_FOLLOWER: Final = f"[{re.escape(''.join(character for character, byte in _BYTES.items() if byte < bytes([0xC0])))}]"
_GARBLED: Final = re.compile(
    f"[\u00c2-\u00c9\u00ce-\u00d1]{_FOLLOWER}|[\u00e0-\u00ef]{_FOLLOWER}{{2}}|[\u00f0-\u00f4]{_FOLLOWER}{{3}}"
)
"""Two to four letters that are, as bytes of Windows-1252, one character of UTF-8 (RFC 3629); of those of two bytes the
Latin, Greek and Cyrillic ones, since other pairs are usual (U with acute and Z with caron, in Czech)."""


def coordinate_step_m(geometries: npt.NDArray[np.object_], crs: CRS) -> float:
    """Find the step to which all coordinates are rounded.

    Parameters
    ----------
    geometries : array of BaseGeometry, shape (n,)
        In `crs`.
    crs : CRS
        Degrees, or any unit of length.

    Returns
    -------
    float
        A power of ten of the unit, in metres; 0 if it is too fine to matter, or there are too few vertices to tell.
    """
    vertices = shapely.get_coordinates(geometries)
    few = np.unique(vertices[:: max(1, len(vertices) // _MOST_VERTICES)], axis=0)
    if len(few) < _FEWEST_VERTICES:
        return 0.0
    unit_m = DEGREE_M if crs.is_geographic else float(crs.axis_info[0].unit_conversion_factor)
    for decimals in range(_FINEST_DECIMALS):
        step = 10.0**-decimals
        if step * unit_m < _COARSE_M:
            return 0.0
        if (np.abs(few / step - np.round(few / step)) < _TOLERANCE).all():
            return step * unit_m
    return 0.0


def doubts(layer: RawLayer, *, step_m: float, source: Source) -> tuple[Fault, ...]:
    """Say what makes a layer doubtful: text that was garbled on its way, coordinates rounded to `step_m`."""
    found = list(_garbled_text(layer, source=source))
    if step_m:
        most_m = step_m / math.sqrt(2.0)  # half a step each way
        found.append(
            Fault(
                where=source.name,
                found=f"its coordinates are all rounded to {step_m:.2g} m: each may lie {most_m:.2g} m off",
                remedy="ask for the data with all its decimals; the clearances are judged by what was lost",
            )
        )
    return tuple(found)


def _garbled_text(layer: RawLayer, *, source: Source) -> Iterator[Fault]:
    """Find text that was written as UTF-8 and read as Windows-1252, and text whose letters were lost."""
    texts = [
        (feature, field, value)
        for feature in layer.features
        for field, value in feature.attributes.items()
        if isinstance(value, str) and not value.isascii()
    ]
    garbled = [(feature, field, value) for feature, field, value in texts if _GARBLED.search(value)]
    lost = [(feature, field, value) for feature, field, value in texts if _LOST in value]
    for hits, reason in (
        (garbled, "it is UTF-8 that was read as Windows-1252"),
        (lost, "some of its letters were lost"),
    ):
        for feature, field, value in hits[:1]:
            shown = repr(shortened(value, most=_LONGEST_SHOWN))
            meant = f", for {shortened(_mended(value), most=_LONGEST_SHOWN)!r}" if hits is garbled else ""
            more = f"; {len(hits) - 1:,} more" if len(hits) > 1 else ""
            yield Fault(
                where=source.name,
                feature=feature_label(feature.position, feature.attributes, id_field=source.id_field),
                found=f"the text of {field} is garbled: {shown}{meant} ({reason}{more})",
                remedy="export it again as UTF-8; beside a shapefile the .cpg file names the encoding",
            )


def _mended(text: str) -> str:
    return _GARBLED.sub(lambda run: b"".join(_BYTES[letter] for letter in run[0]).decode("utf-8", "replace"), text)
