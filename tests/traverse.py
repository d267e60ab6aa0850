"""Bearings read and traverses run by hand, to check what the package writes."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

_BEARING: Final = re.compile(r"([NS])\s*(\d+)(?:-(\d+)(?:-([\d.]+))?)?\s*([EW])")


def azimuth_of(bearing: str) -> float:
    """Read a quadrant bearing such as ``S 68-05-27 W`` as an azimuth in degrees, clockwise from north.

    Raises
    ------
    ValueError
        If it is none.
    """
    match = _BEARING.fullmatch(bearing.strip().upper())
    if match is None:
        msg = f"{bearing!r} is no bearing; write it like 'N 45-55-21 E'"
        raise ValueError(msg)
    acute = int(match[2]) + int(match[3] or 0) / 60 + float(match[4] or 0) / 3600
    azimuth = acute if match[1] == "N" else 180.0 - acute
    return (azimuth if match[5] == "E" else -azimuth) % 360.0


def run_traverse(start: tuple[float, float], legs: Sequence[tuple[str, float]]) -> NDArray[np.float64]:
    """Compute the corners of a traverse.

    Parameters
    ----------
    start : tuple of float
        Easting and northing of the first corner.
    legs : sequence of (str, float)
        Bearing and distance of every course.

    Returns
    -------
    ndarray, shape (n + 1, 2)
        Easting and northing of all corners, the first included.
    """
    azimuths = np.radians([azimuth_of(bearing) for bearing, _ in legs])
    distances = np.array([distance for _, distance in legs])
    steps = distances[:, None] * np.column_stack([np.sin(azimuths), np.cos(azimuths)])
    return np.vstack([start, np.asarray(start) + np.cumsum(steps, axis=0)])
