"""Flux density of the wires at any point, and the normalised field that the receiver compares with its threshold.

Flux densities are given in units of mu0 I / (2 pi), that is in 1/m: a long straight wire has 1 / distance.
The normalised field is f = |B| 2 pi sqrt(w^2 + h^2) / (mu0 I): the receiver reacts where f >= 1.
"""

from __future__ import annotations

import os
import threading
from functools import cache
from importlib import import_module
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from parcelfence.field.current import Chain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

    from parcelfence.field.current import CurrentLoop, Receiver

__all__ = ["field_slope", "flux_density", "inverse_field", "normalised_field"]

_PAIRS_WORTH_A_THREAD: Final = 1_000_000


def flux_density(points: ArrayLike, loops: Iterable[CurrentLoop] | Chain) -> NDArray[np.float64]:
    """Magnetic flux density of the wires.

    Parameters
    ----------
    points : array_like, shape (n, 3)
        Points in metres; the wires lie in the plane z = 0.
    loops : iterable of CurrentLoop, or Chain
        Wires with their relative currents.

    Returns
    -------
    ndarray, shape (n, 3)
        B in units of mu0 I / (2 pi), in 1/m.  On a wire itself, where the direction has no meaning, nan.
    """
    return _summed("field_kernel", points=np.asarray(points, dtype=np.float64), chain=_chain(loops), columns=3)


def normalised_field(
    points_xy: ArrayLike,
    loops: Iterable[CurrentLoop] | Chain,
    *,
    receiver: Receiver,
    component: Literal["total", "vertical"] = "total",
) -> NDArray[np.float64]:
    """Field at the height of the receiver, as a multiple of its threshold.

    Parameters
    ----------
    points_xy : array_like, shape (n, 2)
        Points in plan, in metres.
    loops : iterable of CurrentLoop, or Chain
        Wires with their relative currents.
    receiver : Receiver
        Reach and height.
    component : {"total", "vertical"}
        All of the field, or what a receiver with one upright coil senses.

    Returns
    -------
    ndarray, shape (n,)
        f, without unit; the receiver reacts where f >= 1.  On a wire itself infinite.
    """
    density = flux_density(_at_height(points_xy, receiver.height_m), loops)
    size = np.abs(density[:, 2]) if component == "vertical" else np.sqrt(np.einsum("ij,ij->i", density, density))
    return np.where(np.isnan(size), np.inf, size * receiver.slant_m)


def inverse_field(
    points_xy: ArrayLike, loops: Iterable[CurrentLoop] | Chain, *, receiver: Receiver
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give 1/f and its gradient: nearly linear in the distance from the wire, and so easy to follow.

    Parameters
    ----------
    points_xy : array_like, shape (n, 2)
        Points in plan, in metres.
    loops : iterable of CurrentLoop, or Chain
        Wires with their relative currents.
    receiver : Receiver
        Reach and height.

    Returns
    -------
    inverse : ndarray, shape (n,)
        1/f; zero on a wire, infinite where the field vanishes.
    gradient : ndarray, shape (n, 2)
        Derivatives of 1/f in x and y, in 1/m; nan on a wire and where the field vanishes.
    """
    sums = field_slope(_at_height(points_xy, receiver.height_m), loops)
    density, slope_x, slope_y = sums[:, 0:3], sums[:, 3:6], sums[:, 6:9]
    squared = np.einsum("ij,ij->i", density, density)
    along = np.column_stack([np.einsum("ij,ij->i", density, slope_x), np.einsum("ij,ij->i", density, slope_y)])
    with np.errstate(all="ignore"):
        inverse = 1.0 / (receiver.slant_m * np.sqrt(squared))
        gradient = -along * (inverse / squared)[:, None]
    return np.where(np.isnan(inverse), 0.0, inverse), gradient


def field_slope(points: ArrayLike, loops: Iterable[CurrentLoop] | Chain) -> NDArray[np.float64]:
    """Flux density with its derivatives and a bound on them.

    Parameters
    ----------
    points : array_like, shape (n, 3)
        Points in metres.
    loops : iterable of CurrentLoop, or Chain
        Wires with their relative currents.

    Returns
    -------
    ndarray, shape (n, 11)
        Columns 0 to 2: B in 1/m; 3 to 5: dB/dx; 6 to 8: dB/dy, in 1/m^2; 9: sum over the wire of |I| dl / r^3, which
        the gradient of B does not exceed in any direction; 10: squared distance to the nearest wire in m^2.
    """
    return _summed("slope_kernel", points=np.asarray(points, dtype=np.float64), chain=_chain(loops), columns=11)


def _summed(kernel: str, *, points: NDArray[np.float64], chain: Chain, columns: int) -> NDArray[np.float64]:
    run = getattr(import_module("parcelfence.field.kernels"), kernel)
    points = np.ascontiguousarray(points)
    out = np.zeros((len(points), columns))
    if not len(chain.currents) or not len(points):
        return out
    wire = (chain.vertices, chain.currents)
    pairs = len(points) * len(chain.currents)
    parts = max(1, min(_threads(), pairs // _PAIRS_WORTH_A_THREAD))
    bounds = np.linspace(0, len(points), parts + 1).astype(int)
    tasks = [
        threading.Thread(target=run, args=((points[low:high], out[low:high]), wire))
        for low, high in pairwise(bounds[1:])
    ]
    for task in tasks:
        task.start()
    run((points[: bounds[1]], out[: bounds[1]]), wire)
    for task in tasks:
        task.join()
    return out


@cache
def _threads() -> int:
    """As many as the process may use; ``NUMBA_NUM_THREADS`` lowers it, as it does for numba itself."""
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(allowed, int(os.environ.get("NUMBA_NUM_THREADS", allowed))))


def _chain(loops: Iterable[CurrentLoop] | Chain) -> Chain:
    return loops if isinstance(loops, Chain) else Chain.of(loops)


def _at_height(points_xy: ArrayLike, height_m: float) -> NDArray[np.float64]:
    plan = np.asarray(points_xy, dtype=np.float64).reshape(-1, 2)
    return np.column_stack([plan, np.full(len(plan), height_m)])
