"""Loops of any shape: total field, vertical field, and the signed vector.

Source: sums of finite straight wires (Griffiths, Introduction to Electrodynamics, chapter 5), checked with two
further programs by whoever made the table.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.field.current import CurrentLoop, Receiver
from parcelfence.field.flux import flux_density, normalised_field

W_M = 2.0
LOOPS = {
    "Lshape": [(0.0, 0.0), (40.0, 0.0), (40.0, 25.0), (18.0, 25.0), (18.0, 45.0), (0.0, 45.0)],
    "triangle": [(0.0, 0.0), (30.0, 0.0), (12.0, 22.0)],
    "hexagon": [
        (10.0, 0.0),
        (5.0, 8.660254037844386),
        (-5.0, 8.660254037844386),
        (-10.0, 0.0),
        (-5.0, -8.660254037844386),
        (5.0, -8.660254037844386),
    ],
    "neck": [
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 8.0),
        (28.0, 8.0),
        (28.0, 0.0),
        (48.0, 0.0),
        (48.0, 20.0),
        (28.0, 20.0),
        (28.0, 13.0),
        (20.0, 13.0),
        (20.0, 20.0),
        (0.0, 20.0),
    ],
    "thin_square": [(0.0, 0.0), (36.728, 0.0), (36.728, 36.728), (0.0, 36.728)],
}


def receiver(height_m: float) -> Receiver:
    return Receiver(math.sqrt(W_M**2 - height_m**2), height_m)


@pytest.mark.parametrize(
    ("loop", "point", "height_m", "expected"),
    [
        pytest.param("Lshape", (20.0, 10.0), 0.3, 0.36791759684601893, id="A7-poly-total-Lshape-20-10-h0p3"),
        pytest.param("Lshape", (5.0, 40.0), 0.0, 0.7659076521312926, id="A7-poly-total-Lshape-5-40-h0"),
        pytest.param("Lshape", (39.0, 24.0), 0.6, 2.671660373806041, id="A7-poly-total-Lshape-39-24-h0p6"),
        pytest.param("Lshape", (19.0, 26.0), 0.3, 2.979237557147997, id="A7-poly-total-Lshape-19-26-h0p3"),
        pytest.param("Lshape", (9.0, 30.0), 0.0, 0.4477502036871338, id="A7-poly-total-Lshape-9-30-h0"),
        pytest.param("Lshape", (41.5, 26.0), 0.3, 0.4279075456474855, id="A7-poly-total-Lshape-41p5-26-h0p3"),
        pytest.param("triangle", (14.0, 7.5), 0.3, 0.6557155113609545, id="A7-poly-total-triangle-14-7p5-h0p3"),
        pytest.param("triangle", (1.0, 0.5), 0.0, 6.687313066563067, id="A7-poly-total-triangle-1-0p5-h0"),
        pytest.param("triangle", (13.0, 23.5), 0.6, 0.32899439674248665, id="A7-poly-total-triangle-13-23p5-h0p6"),
        pytest.param("hexagon", (0.0, 0.0), 0.3, 0.6916787496690499, id="A7-poly-total-hexagon-0-0-h0p3"),
        pytest.param("hexagon", (8.0, 2.0), 0.0, 3.1288674831729133, id="A7-poly-total-hexagon-8-2-h0"),
        pytest.param("hexagon", (11.0, 1.0), 0.6, 0.821253340649927, id="A7-poly-total-hexagon-11-1-h0p6"),
        pytest.param("neck", (24.0, 10.5), 0.3, 1.2229421489463443, id="A7-poly-total-neck-24-10p5-h0p3"),
        pytest.param("neck", (24.0, 6.0), 0.6, 1.085120379621798, id="A7-poly-total-neck-24-6-h0p6"),
        pytest.param("neck", (20.5, 10.5), 0.3, 1.0069441694570493, id="A7-poly-total-neck-20p5-10p5-h0p3"),
        pytest.param("neck", (38.0, 4.0), 0.0, 0.7417419008627055, id="A7-poly-total-neck-38-4-h0"),
        pytest.param("thin_square", (36.0, 36.0), 0.0, 4.729699175513198, id="A7-poly-total-thin_square-36-36-h0"),
        pytest.param("thin_square", (-2.0, 18.0), 0.6, 0.8480683797950987, id="A7-poly-total-thin_square-m2-18-h0p6"),
    ],
)
def test_total_field(loop: str, point: tuple[float, float], height_m: float, expected: float) -> None:
    wire = CurrentLoop(np.array(LOOPS[loop]))
    found = normalised_field([point], [wire], receiver=receiver(height_m))[0]
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("loop", "point", "height_m", "expected"),
    [
        pytest.param("Lshape", (20.0, 10.0), 0.3, 0.36789557546200796, id="A7-poly-vertical-Lshape-20-10-h0p3"),
        pytest.param("Lshape", (5.0, 40.0), 0.0, 0.7659076521312926, id="A7-poly-vertical-Lshape-5-40-h0"),
        pytest.param("Lshape", (39.0, 24.0), 0.6, 2.465518507760872, id="A7-poly-vertical-Lshape-39-24-h0p6"),
        pytest.param("Lshape", (19.0, 26.0), 0.3, 2.905800902574245, id="A7-poly-vertical-Lshape-19-26-h0p3"),
        pytest.param("Lshape", (9.0, 30.0), 0.0, 0.4477502036871338, id="A7-poly-vertical-Lshape-9-30-h0"),
        pytest.param("Lshape", (41.5, 26.0), 0.3, 0.42113394469984483, id="A7-poly-vertical-Lshape-41p5-26-h0p3"),
        pytest.param("triangle", (14.0, 7.5), 0.3, 0.6557139019020819, id="A7-poly-vertical-triangle-14-7p5-h0p3"),
        pytest.param("triangle", (1.0, 0.5), 0.0, 6.687313066563067, id="A7-poly-vertical-triangle-1-0p5-h0"),
        pytest.param("triangle", (13.0, 23.5), 0.6, 0.30457072957586234, id="A7-poly-vertical-triangle-13-23p5-h0p6"),
        pytest.param("hexagon", (0.0, 0.0), 0.3, 0.6916787496690499, id="A7-poly-vertical-hexagon-0-0-h0p3"),
        pytest.param("hexagon", (8.0, 2.0), 0.0, 3.1288674831729133, id="A7-poly-vertical-hexagon-8-2-h0"),
        pytest.param("hexagon", (11.0, 1.0), 0.6, 0.710614980780326, id="A7-poly-vertical-hexagon-11-1-h0p6"),
        pytest.param("neck", (24.0, 10.5), 0.3, 1.222942024201907, id="A7-poly-vertical-neck-24-10p5-h0p3"),
        pytest.param("neck", (24.0, 6.0), 0.6, 1.057763148176528, id="A7-poly-vertical-neck-24-6-h0p6"),
        pytest.param("neck", (20.5, 10.5), 0.3, 1.0062412268927126, id="A7-poly-vertical-neck-20p5-10p5-h0p3"),
        pytest.param("neck", (38.0, 4.0), 0.0, 0.7417419008627055, id="A7-poly-vertical-neck-38-4-h0"),
        pytest.param("thin_square", (36.0, 36.0), 0.0, 4.729699175513198, id="A7-poly-vertical-thin_square-36-36-h0"),
        pytest.param("thin_square", (-2.0, 18.0), 0.6, 0.802884811171725, id="A7-poly-vertical-thin_square-m2-18-h0p6"),
    ],
)
def test_vertical_field(loop: str, point: tuple[float, float], height_m: float, expected: float) -> None:
    wire = CurrentLoop(np.array(LOOPS[loop]))
    found = normalised_field([point], [wire], receiver=receiver(height_m), component="vertical")[0]
    assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("loop", "point", "height_m", "expected"),
    [
        pytest.param(
            "Lshape",
            (20.0, 10.0),
            0.3,
            [0.0003344186329704641, -0.00401145716737187, 0.36789557546200796],
            id="A7-poly-vector-Lshape-20-10-h0p3",
        ),
        pytest.param("Lshape", (5.0, 40.0), 0.0, [0.0, 0.0, 0.7659076521312926], id="A7-poly-vector-Lshape-5-40-h0"),
        pytest.param(
            "Lshape",
            (39.0, 24.0),
            0.6,
            [0.7283407747617899, 0.7269851144785803, 2.465518507760872],
            id="A7-poly-vector-Lshape-39-24-h0p6",
        ),
        pytest.param(
            "Lshape",
            (19.0, 26.0),
            0.3,
            [0.46443344053032687, 0.46527316260131935, -2.905800902574245],
            id="A7-poly-vector-Lshape-19-26-h0p3",
        ),
        pytest.param("Lshape", (9.0, 30.0), 0.0, [0.0, 0.0, 0.4477502036871338], id="A7-poly-vector-Lshape-9-30-h0"),
        pytest.param(
            "Lshape",
            (41.5, 26.0),
            0.3,
            [0.05803266301524198, 0.04881883106919202, -0.42113394469984483],
            id="A7-poly-vector-Lshape-41p5-26-h0p3",
        ),
        pytest.param(
            "triangle",
            (14.0, 7.5),
            0.3,
            [0.001277598197082975, -0.0006916896353955114, 0.6557139019020819],
            id="A7-poly-vector-triangle-14-7p5-h0p3",
        ),
        pytest.param("triangle", (1.0, 0.5), 0.0, [0.0, 0.0, 6.687313066563067], id="A7-poly-vector-triangle-1-0p5-h0"),
        pytest.param(
            "triangle",
            (13.0, 23.5),
            0.6,
            [0.02574912933011905, 0.12170031270428372, -0.30457072957586234],
            id="A7-poly-vector-triangle-13-23p5-h0p6",
        ),
        pytest.param("hexagon", (0.0, 0.0), 0.3, [0.0, 0.0, 0.6916787496690499], id="A7-poly-vector-hexagon-0-0-h0p3"),
        pytest.param("hexagon", (8.0, 2.0), 0.0, [0.0, 0.0, 3.1288674831729133], id="A7-poly-vector-hexagon-8-2-h0"),
        pytest.param(
            "hexagon",
            (11.0, 1.0),
            0.6,
            [0.39935422246501123, 0.09999801807340125, -0.710614980780326],
            id="A7-poly-vector-hexagon-11-1-h0p6",
        ),
        pytest.param(
            "neck",
            (24.0, 10.5),
            0.3,
            [9.62964972193618e-35, 0.0005523680338813824, 1.222942024201907],
            id="A7-poly-vector-neck-24-10p5-h0p3",
        ),
        pytest.param(
            "neck",
            (24.0, 6.0),
            0.6,
            [9.62964972193618e-35, -0.24212261486741765, -1.057763148176528],
            id="A7-poly-vector-neck-24-6-h0p6",
        ),
        pytest.param(
            "neck",
            (20.5, 10.5),
            0.3,
            [0.03761257305968823, 0.0006693674812344966, 1.0062412268927126],
            id="A7-poly-vector-neck-20p5-10p5-h0p3",
        ),
        pytest.param("neck", (38.0, 4.0), 0.0, [0.0, 0.0, 0.7417419008627055], id="A7-poly-vector-neck-38-4-h0"),
        pytest.param(
            "thin_square", (36.0, 36.0), 0.0, [0.0, 0.0, 4.729699175513198], id="A7-poly-vector-thin_square-36-36-h0"
        ),
        pytest.param(
            "thin_square",
            (-2.0, 18.0),
            0.6,
            [-0.273122579257488, -0.00011617987929703011, -0.802884811171725],
            id="A7-poly-vector-thin_square-m2-18-h0p6",
        ),
    ],
)
def test_vector(loop: str, point: tuple[float, float], height_m: float, expected: list[float]) -> None:
    found = W_M * flux_density([[*point, height_m]], [CurrentLoop(np.array(LOOPS[loop]))])[0]
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-10)
