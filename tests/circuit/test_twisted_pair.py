"""The lead-in carries no signal of its own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.circuit.twisted_pair import lay_m, residual_flux_density, residual_reach_m, take_up_factor


@given(spacing_m=st.floats(0.0015, 0.005), twists_per_foot=st.floats(4.0, 14.0))
def test_residue_is_negligible_at_any_real_receiver_height(spacing_m: float, twists_per_foot: float) -> None:
    reach_m = residual_reach_m(4.0, spacing_m=spacing_m, twists_per_foot=twists_per_foot)
    assert spacing_m / 2.0 < reach_m < 0.1


@given(twists_per_foot=st.floats(4.0, 14.0))
def test_residue_falls_with_distance_and_with_twists(twists_per_foot: float) -> None:
    near, far = (
        residual_flux_density(distance_m, spacing_m=0.0025, twists_per_foot=twists_per_foot)
        for distance_m in (0.02, 0.04)
    )
    tighter = residual_flux_density(0.04, spacing_m=0.0025, twists_per_foot=twists_per_foot * 1.1)
    assert tighter < far < near


def test_a_long_lay_is_an_untwisted_pair() -> None:
    found = residual_flux_density(0.05, spacing_m=0.002, twists_per_foot=0.02)
    assert found == pytest.approx(0.002 / (0.05**2 - 0.001**2), rel=1e-3)


def test_take_up_grows_with_twists() -> None:
    assert take_up_factor(0.0025, twists_per_foot=0.001) == pytest.approx(1.0, abs=1e-9)
    assert take_up_factor(0.0025, twists_per_foot=12.0) > take_up_factor(0.0025, twists_per_foot=10.0) > 1.0
    assert lay_m(12.0) == pytest.approx(0.0254)
