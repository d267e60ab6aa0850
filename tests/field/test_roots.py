"""Bracketed zeros of many functions at a time."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.field.roots import bracketed_zeros


@given(st.lists(st.floats(0.01, 0.99), min_size=1, max_size=20), st.integers(1, 5))
def test_zeros_of_powers(zeros: list[float], power: int) -> None:
    wanted = np.array(zeros)

    def function(x: np.ndarray, which: np.ndarray) -> np.ndarray:
        return np.sign(x - wanted[which]) * np.abs(x - wanted[which]) ** (1.0 / power)

    ends = [
        np.column_stack([np.full_like(wanted, x), function(np.full_like(wanted, x), np.arange(len(wanted)))])
        for x in (0.0, 1.0)
    ]
    found = bracketed_zeros(function, low=ends[0], high=ends[1], tolerance=1e-9)
    assert np.abs(found - wanted).max() < 1e-6


def test_no_problems_no_zeros() -> None:
    none = np.empty((0, 2))
    assert bracketed_zeros(lambda x, _: x, low=none, high=none, tolerance=1e-9).shape == (0,)
