"""Self and mutual inductance of wires made of straight stretches.

Neumann's double integral over two straight stretches has an elementary primitive: for parallel ones that of Rosa
(Bulletin of the Bureau of Standards 4, 1908), for inclined ones that of Campbell as given by Grover, Inductance
Calculations, 1946 (both from memory, checked by quadrature in the tests); only stretches far apart for their length
are left to a quadrature.  The self-inductance of a wire of finite
radius is that of its centre line against a copy lifted square to the plane by the radius; the field inside the
conductor is added by the caller.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.circuit.conductor import MU_0
from parcelfence.field.current import Chain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

    from parcelfence.field.current import CurrentLoop

__all__ = ["external_inductance_h", "mutual_inductance_h", "pair_inductance_h_per_m"]

_PARALLEL_SINE: Final = 1e-7
_FAR: Final = 4.0  # times the longer of two stretches
_PAIRS_AT_ONCE: Final = 200_000


def external_inductance_h(loops: Iterable[CurrentLoop] | Chain, *, radius_m: float) -> float:
    """Inductance of loops wired in series, without the field inside the conductor.

    Parameters
    ----------
    loops : iterable of CurrentLoop, or Chain
        All single wires with their signed currents; mutual terms between them are included.
    radius_m : float
        Radius of the bare conductor.

    Returns
    -------
    float
        Henry, for the current to which the loops' currents are relative.  The honest uncertainty of the thin-wire
        picture is about radius / length of a side.
    """
    chain = loops if isinstance(loops, Chain) else Chain.of(loops)
    wire = _stretches(chain)
    return _linked(wire, wire, separation_m=radius_m)


def mutual_inductance_h(loops: Iterable[CurrentLoop] | Chain, line: ArrayLike, *, depth_m: float) -> float:
    """Mutual inductance of the loops and a line that runs below, or above, their plane.

    Parameters
    ----------
    loops : iterable of CurrentLoop, or Chain
        All single wires with their signed currents.
    line : array_like, shape (n, 2)
        Open line in plan.
    depth_m : float
        Distance of its plane from that of the wire, not zero.

    Returns
    -------
    float
        Henry; the voltage induced along the line is 2 pi f times this times the current of the loop.
    """
    chain = loops if isinstance(loops, Chain) else Chain.of(loops)
    path = Chain.of_lines([line], currents=[1.0])
    return _linked(_stretches(chain), _stretches(path), separation_m=abs(depth_m))


def pair_inductance_h_per_m(spacing_m: float, *, radius_m: float) -> float:
    """Inductance per metre of a pair of round wires, without the field inside: (mu0 / pi) arcosh(D / 2 radius).

    Twisting changes it by less than the uncertainty of the spacing (Terman, Radio Engineers' Handbook, from memory).
    """
    return MU_0 / math.pi * math.acosh(spacing_m / (2.0 * radius_m))


def _stretches(chain: Chain) -> NDArray[np.float64]:
    """Start, unit vector, length and current of all stretches that carry current, shape (n, 6)."""
    used = chain.currents != 0.0
    steps = chain.steps[used]
    length = np.hypot(*steps.T)
    return np.column_stack([chain.vertices[:-1][used], steps / length[:, None], length, chain.currents[used]])


def _linked(first: NDArray[np.float64], second: NDArray[np.float64], *, separation_m: float) -> float:
    """Sum mu0 / (4 pi) I J cos(angle) integral over all pairs; of a wire with itself each pair is taken once."""
    itself = first is second
    rows = max(1, _PAIRS_AT_ONCE // max(1, len(second)))
    total = 0.0
    for start in range(0, len(first), rows):
        one, other = first[start : start + rows], second[start:] if itself else second
        factor = one[:, 5, None] * other[:, 5] * (one[:, 2:4] @ other[:, 2:4].T)
        if itself:
            order = np.arange(len(other)) - np.arange(len(one))[:, None]
            factor *= np.sign(order) + 1.0
        integral, near = _distant(one, other, separation_m=separation_m)
        row, column = np.nonzero(near & (factor != 0.0))
        integral[row, column] = _close(one[row], other[column], separation_m=separation_m)
        total += float((factor * integral).sum())
    return MU_0 / (4.0 * math.pi) * total


def _distant(
    first: NDArray[np.float64], second: NDArray[np.float64], *, separation_m: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Integral of 1 / distance for all pairs by Gauss's rule with two by two points, and where that is too coarse."""
    middle = [first[:, axis] + first[:, 4] * first[:, 2 + axis] / 2.0 for axis in (0, 1)]
    other_middle = [second[:, axis] + second[:, 4] * second[:, 2 + axis] / 2.0 for axis in (0, 1)]
    gap_x, gap_y = (other - own[:, None] for own, other in zip(middle, other_middle, strict=True))
    near = gap_x**2 + gap_y**2 <= (_FAR * np.maximum(first[:, 4, None], second[:, 4])) ** 2
    own, others = (wire[:, 2:4] * wire[:, 4:5] / math.sqrt(12.0) for wire in (first, second))
    inverse = np.zeros_like(gap_x)
    for sign in (1.0, -1.0):
        for other_sign in (1.0, -1.0):
            x = gap_x + (sign * own[:, 0, None] + other_sign * others[:, 0])
            y = gap_y + (sign * own[:, 1, None] + other_sign * others[:, 1])
            inverse += 1.0 / np.sqrt(x * x + y * y + separation_m**2)
    return first[:, 4, None] * second[:, 4] * inverse / 4.0, near


def _close(first: NDArray[np.float64], second: NDArray[np.float64], *, separation_m: float) -> NDArray[np.float64]:
    """Integral of 1 / distance for pairs of stretches, in closed form."""
    sine = first[:, 2] * second[:, 3] - first[:, 3] * second[:, 2]
    inclined = np.abs(sine) > _PARALLEL_SINE
    integral = np.empty(len(first))
    integral[~inclined] = _parallel(first[~inclined], second[~inclined], separation_m=separation_m)
    integral[inclined] = _inclined(first[inclined], second[inclined], sine=sine[inclined], separation_m=separation_m)
    return integral


def _parallel(first: NDArray[np.float64], second: NDArray[np.float64], *, separation_m: float) -> NDArray[np.float64]:
    """Rosa's primitive z arsinh(z / d) - sqrt(z^2 + d^2), taken between the four pairs of ends."""
    along = first[:, 2:4]
    between = second[:, :2] - first[:, :2]
    offset = (between * along).sum(axis=1)
    apart2 = (along[:, 0] * between[:, 1] - along[:, 1] * between[:, 0]) ** 2 + separation_m**2
    sense = np.sign((along * second[:, 2:4]).sum(axis=1))
    far = offset + sense * second[:, 4]
    integral = np.zeros(len(first))
    for end, sign in ((far, 1.0), (offset, -1.0)):
        for start in (0.0, 1.0):
            z = end - start * first[:, 4]
            primitive = z * np.arcsinh(z / np.sqrt(apart2)) - np.sqrt(z**2 + apart2)
            integral += sign * (1.0 - 2.0 * start) * primitive
    return np.asarray(integral * sense)


def _inclined(
    first: NDArray[np.float64],
    second: NDArray[np.float64],
    *,
    sine: NDArray[np.float64],
    separation_m: float,
) -> NDArray[np.float64]:
    """Campbell's primitive, taken between the four pairs of ends.

    With s and t counted from the common perpendicular of the two lines, at distance d and angle e, and
    R^2 = s^2 + t^2 - 2 s t cos e + d^2, the primitive of 1 / R is
    s ln(R + t - s cos e) + t ln(R + s - t cos e) - (d / sin e) arctan((d^2 cos e + s t sin^2 e) / (d R sin e)).
    """
    between = second[:, :2] - first[:, :2]
    cosine = (first[:, 2:4] * second[:, 2:4]).sum(axis=1)
    first_zero = (between[:, 0] * second[:, 3] - between[:, 1] * second[:, 2]) / sine
    second_zero = (between[:, 0] * first[:, 3] - between[:, 1] * first[:, 2]) / sine
    integral = np.zeros(len(first))
    for end in (0.0, 1.0):
        for start in (0.0, 1.0):
            s, t = start * first[:, 4] - first_zero, end * second[:, 4] - second_zero
            gap = (
                between
                + (end * second[:, 4])[:, None] * second[:, 2:4]
                - (start * first[:, 4])[:, None] * first[:, 2:4]
            )
            distance = np.sqrt((gap**2).sum(axis=1) + separation_m**2)
            ahead, behind = (gap * second[:, 2:4]).sum(axis=1), -(gap * first[:, 2:4]).sum(axis=1)
            angle = np.arctan((separation_m**2 * cosine + s * t * sine**2) / (separation_m * distance * np.abs(sine)))
            primitive = (
                s * _log_sum(distance, ahead, rest2=(s * sine) ** 2 + separation_m**2)
                + t * _log_sum(distance, behind, rest2=(t * sine) ** 2 + separation_m**2)
                - separation_m / np.abs(sine) * angle
            )
            integral += (1.0 if end == start else -1.0) * primitive
    return integral


def _log_sum(
    distance: NDArray[np.float64], along: NDArray[np.float64], *, rest2: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Logarithm of distance + along without cancellation; `rest2` is distance^2 - along^2."""
    far = np.log(distance + np.abs(along))
    return np.asarray(np.where(along >= 0.0, far, np.log(rest2) - far))
