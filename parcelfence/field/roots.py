"""Many zeros of one function at a time, each kept between two bounds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Function = Callable[[NDArray[np.float64], NDArray[np.intp]], NDArray[np.float64]]

__all__ = ["bracketed_zeros"]

_MOST_STEPS: Final = 60


def bracketed_zeros(
    function: Function, *, low: NDArray[np.float64], high: NDArray[np.float64], tolerance: float
) -> NDArray[np.float64]:
    """Find zeros by false position with the Illinois rule.

    Parameters
    ----------
    function : callable
        Takes positions, and the numbers of the problems to which they belong; gives values.
    low, high : ndarray, shape (n, 2)
        Position and value at the two ends of each bracket; the values differ in sign.
    tolerance : float
        Wanted accuracy of a position, reckoned from the slope of the bracket.

    Returns
    -------
    ndarray, shape (n,)
        Positions; never outside their brackets.
    """
    low, high, active = low.copy(), high.copy(), np.arange(len(low))
    for _ in range(_MOST_STEPS):
        if not len(active):
            break
        guess = _between(low[active], high[active])
        value = function(guess, active)
        slope = np.abs((high[active, 1] - low[active, 1]) / (high[active, 0] - low[active, 0]))
        unsettled = np.abs(value) > tolerance * slope
        on_low = (value < 0.0) == (low[active, 1] < 0.0)
        # The end that stays has its value halved, or the bracket would close from one side only.
        high[active[on_low & unsettled], 1] /= 2.0
        low[active[~on_low & unsettled], 1] /= 2.0
        low[active[on_low]] = np.column_stack([guess, value])[on_low]
        high[active[~on_low]] = np.column_stack([guess, value])[~on_low]
        active = active[unsettled]
    return _between(low, high)


def _between(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray((low[:, 0] * high[:, 1] - high[:, 0] * low[:, 1]) / (high[:, 1] - low[:, 1]))
