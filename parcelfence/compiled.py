"""How loops over many numbers are compiled: one set of options for all of them."""

from __future__ import annotations

import numba

__all__ = ["compiled"]

compiled = numba.njit(nogil=True, cache=True, error_model="numpy")
"""Compile a function ahead of its first use, keep it on disk, divide as numpy does, and let other threads run."""
