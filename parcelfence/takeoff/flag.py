"""Flags and stations: the points that are set out on the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely import Point

__all__ = ["Flag", "Station"]


@dataclass(frozen=True, kw_only=True)
class Flag:
    """One training flag, on the edge where the receiver first reacts.

    Parameters
    ----------
    flag : int
        Number, from 1, in the order of the wire.
    point : Point
        Where it is stuck.
    loop_id : str
        Loop whose edge it shows.
    station_m : float
        Chainage of the nearest point of the wire.
    removal_round : int
        Round of flag removal in which it is taken out, from 1.
    """

    flag: int
    point: Point
    loop_id: str
    station_m: float
    removal_round: int


@dataclass(frozen=True, kw_only=True)
class Station:
    """One staked point of the wire.

    Parameters
    ----------
    point : Point
        On the wire.
    loop_id : str
        Run that it belongs to.
    station_m : float
        Chainage.
    label : str
        Chainage as it is written on a stake.
    point_kind : str
        ``"start"``, ``"tangent"``, ``"curve"``, ``"regular"``, ``"crossing"`` or ``"end"``.
    """

    point: Point
    loop_id: str
    station_m: float
    label: str
    point_kind: str
