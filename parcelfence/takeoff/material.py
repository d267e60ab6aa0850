"""A line of the material list."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Material"]


@dataclass(frozen=True, kw_only=True)
class Material:
    """One line of the material list.

    Parameters
    ----------
    item : str
        What it is, in plain words.
    quantity : float
        Needed quantity, without spare.
    with_spare : float
        Quantity to buy.
    unit : str
        ``"m"`` or ``"pieces"``.
    note : str
        How it was counted.
    cost : float or None
        Cost, where the project file gives a unit price.
    """

    item: str
    quantity: float
    with_spare: float
    unit: str
    note: str = ""
    cost: float | None = None
