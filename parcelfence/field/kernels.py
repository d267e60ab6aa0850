"""The sums over wire and points, compiled with numba.

Written so that the compiler turns the inner loops over points into vector instructions: per pair of stretch and
point there is one square root (distances are handed on from vertex to vertex) and one division, and nothing is
allocated.  Every point is summed in the order of the wire, so results do not depend on threads or on neighbours.

For a stretch e = b - a seen from P, with r_a = P - a, r_b = P - b (Biot and Savart, in the form that is stable on
the extension of the stretch)::

    B / (mu0 I / 2 pi) = q (e x r_a),   q = (|r_a| + |r_b|) / (2 |r_a| |r_b| (|r_a| |r_b| + r_a . r_b))

Beside the stretch, where r_a . r_b < 0, the last factor cancels; there it is replaced by its equal
|e x r_a|^2 / (|r_a| |r_b| - r_a . r_b).

Both kernels take the ground, points (n, 3) and the array to fill, and the wire, vertices (m, 2) and currents (m - 1).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from parcelfence.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Ground = tuple[NDArray[np.float64], NDArray[np.float64]]
    Wire = tuple[NDArray[np.float64], NDArray[np.float64]]
    Kernel = Callable[[Ground, Wire], None]

__all__ = ["field_kernel", "slope_kernel"]

_BLOCK = 256  # points at a time: the work arrays stay in the first cache


def _field(ground: Ground, wire: Wire) -> None:  # noqa: PLR0914  (every intermediate of the inner loop has a name)
    """Fill `out` (n, 3) with B at `points` (n, 3)."""
    points, out = ground
    vertices, currents = wire
    height2, distance = np.empty(_BLOCK), np.empty(_BLOCK)
    sum_x, sum_y, sum_z = np.empty(_BLOCK), np.empty(_BLOCK), np.empty(_BLOCK)
    x, y = np.empty(_BLOCK), np.empty(_BLOCK)
    for start in range(0, points.shape[0], _BLOCK):
        size = min(_BLOCK, points.shape[0] - start)
        for i in range(size):
            x[i], y[i] = points[start + i, 0], points[start + i, 1]
            height2[i] = points[start + i, 2] ** 2
            ax, ay = x[i] - vertices[0, 0], y[i] - vertices[0, 1]
            distance[i] = math.sqrt(ax * ax + ay * ay + height2[i])
            sum_x[i] = sum_y[i] = sum_z[i] = 0.0
        for k in range(vertices.shape[0] - 1):
            x0, y0, x1, y1 = vertices[k, 0], vertices[k, 1], vertices[k + 1, 0], vertices[k + 1, 1]
            ex, ey, half = x1 - x0, y1 - y0, 0.5 * currents[k]
            length2 = ex * ex + ey * ey
            if half == 0.0:
                for i in range(size):
                    bx, by = x[i] - x1, y[i] - y1
                    distance[i] = math.sqrt(bx * bx + by * by + height2[i])
                continue
            for i in range(size):
                ax, ay, bx, by = x[i] - x0, y[i] - y0, x[i] - x1, y[i] - y1
                ra, rb = distance[i], math.sqrt(bx * bx + by * by + height2[i])
                dot = ax * bx + ay * by + height2[i]
                product = ra * rb
                spread = product + abs(dot)
                cross = ex * ay - ey * ax
                cross2 = cross * cross + length2 * height2[i]
                above = (ra + rb) * spread if dot < 0.0 else ra + rb
                below = product * cross2 if dot < 0.0 else product * spread
                q = half * above / below
                sum_x[i] += q * ey
                sum_y[i] -= q * ex
                sum_z[i] += q * cross
                distance[i] = rb
        for i in range(size):
            out[start + i, 0] = sum_x[i] * points[start + i, 2]
            out[start + i, 1] = sum_y[i] * points[start + i, 2]
            out[start + i, 2] = sum_z[i]


def _slope(ground: Ground, wire: Wire) -> None:  # noqa: PLR0914, PLR0915  (as above)
    """Fill `out` (n, 11): B, dB/dx, dB/dy, a bound on the slope of B, and the squared distance to the wire.

    The bound is the sum of |I| times the integral of dl / r^3: no component of the gradient of B exceeds it.
    """
    points, out = ground
    vertices, currents = wire
    x, y, height2 = np.empty(_BLOCK), np.empty(_BLOCK), np.empty(_BLOCK)
    sums = np.empty((11, _BLOCK))
    for start in range(0, points.shape[0], _BLOCK):
        size = min(_BLOCK, points.shape[0] - start)
        sums[:10] = 0.0
        sums[10] = np.inf
        for i in range(size):
            x[i], y[i] = points[start + i, 0], points[start + i, 1]
            height2[i] = points[start + i, 2] ** 2
        for k in range(vertices.shape[0] - 1):
            x0, y0, x1, y1 = vertices[k, 0], vertices[k, 1], vertices[k + 1, 0], vertices[k + 1, 1]
            ex, ey, half = x1 - x0, y1 - y0, 0.5 * currents[k]
            if half == 0.0:
                continue
            length2 = ex * ex + ey * ey
            length, inverse2 = math.sqrt(length2), 1.0 / length2
            for i in range(size):
                ax, ay, bx, by = x[i] - x0, y[i] - y0, x[i] - x1, y[i] - y1
                ra, rb = math.sqrt(ax * ax + ay * ay + height2[i]), math.sqrt(bx * bx + by * by + height2[i])
                dot = ax * bx + ay * by + height2[i]
                cross = ex * ay - ey * ax
                apart = ra * rb + abs(dot)
                above = apart if dot < 0.0 else 1.0
                below = cross * cross + length2 * height2[i] if dot < 0.0 else apart
                pull = above / below
                of_a, of_b, both = 1.0 / ra, 1.0 / rb, ra + rb
                q = half * both * of_a * of_b * pull
                common = 1.0 / both - both * pull
                of_a, of_b = (common - of_a) * of_a, (common - of_b) * of_b
                dq_dx, dq_dy = q * (of_a * ax + of_b * bx), q * (of_a * ay + of_b * by)
                sums[0, i] += q * ey
                sums[1, i] -= q * ex
                sums[2, i] += q * cross
                sums[3, i] += dq_dx * ey
                sums[4, i] -= dq_dx * ex
                sums[5, i] += dq_dx * cross - q * ey
                sums[6, i] += dq_dy * ey
                sums[7, i] -= dq_dy * ex
                sums[8, i] += dq_dy * cross + q * ex
                sums[9, i] += 2.0 * length * abs(q)
                share = min(1.0, max(0.0, (ax * ex + ay * ey) * inverse2))
                nx, ny = ax - share * ex, ay - share * ey
                sums[10, i] = min(sums[10, i], nx * nx + ny * ny + height2[i])
        for i in range(size):
            for column in range(11):
                out[start + i, column] = sums[column, i]
            for column in (0, 1, 3, 4, 6, 7):
                out[start + i, column] *= points[start + i, 2]


field_kernel: Kernel = compiled(_field)
slope_kernel: Kernel = compiled(_slope)
