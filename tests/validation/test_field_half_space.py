"""Currents in the ground: closed forms against the integrals over wave numbers that they stand for.

Sources: the field of a vertical magnetic dipole and of a line current on a conducting half-space as integrals over
wave numbers (Sommerfeld; Carson, *Wave propagation in overhead wires with ground return*, 1926; Wait, *Electromagnetic
Waves in Stratified Media*, 1962; Ward and Hohmann 1988), evaluated here by quadrature between the zeros of the Bessel
function, independently of the package.  Skin depths of soil: E.8 of the developers' check values.  The integrands are
from memory; the closed form and its integral agree to seven digits, which neither would by chance.
"""

from __future__ import annotations

import cmath
import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, jn_zeros

from parcelfence.field.soil import field_across_ratio, field_beside_wire_ratio, skin_depth_m

MU_0 = 4e-7 * math.pi


def _complex_quad(function, low: float, high: float) -> complex:  # noqa: ANN001
    real = quad(lambda x: function(x).real, low, high, limit=200)[0]
    return real + 1j * quad(lambda x: function(x).imag, low, high, limit=200)[0]


def dipole_ratio(distance_m: float, *, frequency_hz: float, resistivity_ohm_m: float) -> complex:
    """Vertical field on the ground: 1 - r^3 int l^2 (l - u) / (l + u) J0(l r) dl, u = sqrt(l^2 + j w mu0 / rho)."""
    square = 2j * math.pi * frequency_hz * MU_0 / resistivity_ohm_m

    def rest(number: float) -> complex:  # without its limit -square / 4, whose integral is known: int J0(l r) dl = 1/r
        u = cmath.sqrt(number**2 + square)
        return (number**2 * (number - u) / (number + u) + square / 4) * j0(number * distance_m)

    bounds = np.concatenate([[0.0], jn_zeros(0, 300)]) / distance_m
    total = sum(_complex_quad(rest, low, high) for low, high in itertools.pairwise(bounds))
    return 1 - distance_m**3 * (total - square / (4 * distance_m))


def line_ratio(distance_m: float, height_m: float, *, frequency_hz: float, resistivity_ohm_m: float) -> float:
    """Field of a long wire on the ground, with the potential int (l - u) / (l (l + u)) exp(-l z) cos(l x) dl."""
    square = 2j * math.pi * frequency_hz * MU_0 / resistivity_ohm_m

    def reflected(number: float) -> complex:
        u = cmath.sqrt(number**2 + square)
        return (number - u) / (number + u)

    def across(number: float) -> complex:  # -dA/dz
        return reflected(number) * math.exp(-number * height_m) * math.cos(number * distance_m)

    def upright(number: float) -> complex:  # -dA/dx
        return reflected(number) * math.exp(-number * height_m) * math.sin(number * distance_m)

    steps = np.concatenate([[0.0], np.geomspace(1e-4, 40 / height_m, 60)])
    pairs = list(itertools.pairwise(steps))
    b_x = height_m / (distance_m**2 + height_m**2) + sum(_complex_quad(across, *ends) for ends in pairs)
    b_z = distance_m / (distance_m**2 + height_m**2) + sum(_complex_quad(upright, *ends) for ends in pairs)
    return math.hypot(abs(b_x), abs(b_z)) * math.hypot(distance_m, height_m)


@pytest.mark.parametrize("distance_m", [20.0, 50.0, 100.0, 200.0])
@pytest.mark.parametrize("resistivity_ohm_m", [30.0, 100.0, 1000.0])
def test_the_field_across_a_loop_is_that_of_the_integral(distance_m: float, resistivity_ohm_m: float) -> None:
    where = {"frequency_hz": 10_000.0, "resistivity_ohm_m": resistivity_ohm_m}
    assert field_across_ratio(distance_m, **where) == pytest.approx(dipole_ratio(distance_m, **where), abs=5e-5)


def test_at_100_m_in_common_soil_the_ground_alters_the_field_by_nearly_a_half() -> None:
    """100 ohm m at 10 kHz: 1.2703 - 0.3671j by the integral."""
    ratio = field_across_ratio(100.0, frequency_hz=10_000.0, resistivity_ohm_m=100.0)
    assert ratio == pytest.approx(1.270325 - 0.367082j, abs=1e-5)
    assert abs(ratio - 1) == pytest.approx(0.456, abs=1e-3)


def test_small_loops_do_not_notice_the_ground() -> None:
    assert field_across_ratio(0.3, frequency_hz=10_000.0, resistivity_ohm_m=100.0) == pytest.approx(1.0, abs=1e-4)
    near, beyond = (
        field_across_ratio(way_m, frequency_hz=10_000.0, resistivity_ohm_m=100.0) for way_m in (0.355, 0.356)
    )
    assert near == pytest.approx(beyond, abs=1e-5)  # where the series takes over from the closed form


@pytest.mark.parametrize("distance_m", [0.6, 2.0, 3.66])
@pytest.mark.parametrize("resistivity_ohm_m", [30.0, 100.0, 1000.0])
def test_close_to_a_long_wire_the_image_follows_the_integral(distance_m: float, resistivity_ohm_m: float) -> None:
    where = {"frequency_hz": 10_000.0, "resistivity_ohm_m": resistivity_ohm_m}
    found = field_beside_wire_ratio(distance_m, height_m=0.35, **where)
    exact = line_ratio(distance_m, 0.35, **where)
    assert found == pytest.approx(exact, abs=7e-3)  # the image stands for the integral within 1 % of the whole field
    assert abs(exact - 1) < 0.02


@pytest.mark.parametrize(
    ("frequency_hz", "resistivity_ohm_m", "depth_m"),
    [
        (5000.0, 1000.0, 225.0790790392765),
        (10000.0, 30.0, 27.566444771089603),
        (10000.0, 100.0, 50.329212104487034),
        (10000.0, 1000.0, 159.15494309189532),
        (20000.0, 30.0, 19.492420030841902),
        (20000.0, 100.0, 35.588127170858854),
    ],
)
def test_skin_depths_of_soil(frequency_hz: float, resistivity_ohm_m: float, depth_m: float) -> None:
    """Derived: sqrt(rho / (pi f mu0))."""
    assert skin_depth_m(frequency_hz, resistivity_ohm_m=resistivity_ohm_m) == pytest.approx(depth_m, rel=1e-9)
