"""The walk test as a whole: a walk is read, held against the loops as laid, and fitted; weak places are explained."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely

from parcelfence.errors import Fault, InputError, SettingsError
from parcelfence.field.current import CurrentLoop
from parcelfence.inputs.source import Source
from parcelfence.inputs.walk_file import WalkedStations, read_walk
from parcelfence.inputs.wire_file import read_wire
from parcelfence.service.calibration import calibrate as fit_reach
from parcelfence.service.causes import surroundings
from parcelfence.service.signal_trouble import explain_weak_signal
from parcelfence.service.walk_test import points_beside, reach_seen_m
from parcelfence.service.written_plan import read_plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.inputs.source import Given
    from parcelfence.inputs.walk_file import WalkedPoints
    from parcelfence.layout.laid import LaidLoop
    from parcelfence.service.calibration import Calibration
    from parcelfence.service.signal_trouble import SignalTrouble
    from parcelfence.service.written_plan import WrittenPlan

__all__ = ["Verdict", "WalkTest", "calibrate"]

_PLAN_WORD: Final = "plan"
_FARTHEST_REACHES: Final = 10.0
_HANDHELD_M: Final = 3.0
"""What a handheld satellite receiver may be off for the whole of a walk (from memory: three to five metres)."""
_ON_THE_WIRE_M: Final = 0.2
"""Nearer than any reach in use: common practice begins at 2 ft (0.61 m)."""
_SURE: Final = 2.0
"""Standard errors apart from which two reaches differ: about 95 % of a normal distribution lies within."""
_VAGUE_SHARE: Final = 0.1
"""A reach known no better than this share cannot judge the level: transmitters are set in steps about as large."""

Verdict = Literal["vague", "agrees", "farther", "nearer"]


@dataclass(frozen=True, kw_only=True, eq=False)
class WalkTest:
    """A walk test beside the plan.

    Parameters
    ----------
    found : Calibration
        What the points say.
    plan : WrittenPlan
        What was set.
    laid : tuple of LaidLoop
        Loops that the points were held against.
    walk_name, wire_name : str
        Files; the second is empty where the planned wire was taken.
    names : tuple of str
        What each point is called.
    points : ndarray, shape (n, 2)
        In the working CRS.
    remarks : tuple of Fault
        What the readers mended or left out.
    troubles : tuple of SignalTrouble
        Stretches where the signal reaches less far than computed, with their causes.
    """

    found: Calibration
    plan: WrittenPlan
    laid: tuple[LaidLoop, ...]
    walk_name: str
    wire_name: str
    names: tuple[str, ...]
    points: NDArray[np.float64]
    remarks: tuple[Fault, ...] = ()
    troubles: tuple[SignalTrouble, ...] = ()

    @cached_property
    def loops(self) -> tuple[CurrentLoop, ...]:
        """Their wires."""
        return tuple(CurrentLoop.from_line(loop.line) for loop in self.laid)

    @property
    def difference_m(self) -> float:
        """How much farther the signal reaches than set."""
        return self.found.reach_m - self.plan.receiver.reach_m

    @property
    def verdict(self) -> Verdict:
        """``"vague"`` where the walk cannot tell, ``"agrees"``, ``"farther"`` or ``"nearer"``."""
        if not self.found.uncertainty_m <= _VAGUE_SHARE * self.found.reach_m:
            return "vague"
        if abs(self.difference_m) <= _SURE * self.found.uncertainty_m:
            return "agrees"
        return "farther" if self.difference_m > 0.0 else "nearer"

    @cached_property
    def setting_m(self) -> float | None:
        """Value for the setting ``reach``, meant where the plan's own is meant; None if there is none."""
        settings = self.plan.settings
        if self.verdict in {"vague", "agrees"}:
            return settings.reach_m
        receiver = replace(self.plan.receiver, reach_m=self.found.reach_m)
        return reach_seen_m(self.loops, receiver=receiver, seen_from=settings.reach_seen_from)


def calibrate(
    walk: Given,
    folder: Path | str,
    *,
    wire: Given | None = None,
    walk_crs: str | None = None,
    wire_crs: str | None = None,
    accuracy_m: float = 0.15,
    common_accuracy_m: float | None = None,
) -> WalkTest:
    """Fit the reach to points where a person who walked up to the wire first heard it with the receiver.

    Parameters
    ----------
    walk : path or GeoDataFrame
        The points: a vector file, GPX or CSV, see :func:`parcelfence.inputs.walk_file.read_walk`.
    folder : path
        Folder of the plan, as :meth:`parcelfence.Plan.write` has written it.
    wire : path or GeoDataFrame, optional
        Wire as laid, instead of the planned one.
    walk_crs, wire_crs : str, optional
        CRS of what states none; ``"plan"`` for that of the plan.
    accuracy_m, common_accuracy_m : float
        Accuracy of a point by itself; what all may be off together, as by GPS: where left out, 3 m for GPX, the setting
        ``unstated_accuracy_m`` for other coordinates, nothing for taped distances.

    Returns
    -------
    WalkTest
        Best-fitting reach with its uncertainty, points that do not fit, and weak stretches with their causes.

    Raises
    ------
    InputError
        If the walk cannot be read, lies elsewhere, or is the wire itself.
    SettingsError
        If an accuracy is nothing or less.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> import tempfile
    >>> folder = tempfile.mkdtemp() + "/plan"
    >>> plan.write(folder, formats=["gpkg"])
    >>> zones = plan.layers()["zones"].set_index("kind")
    >>> edge = zones.loc[["signal"]].boundary.explode().iloc[:1]  # as if all were as computed
    >>> walk = edge.sample_points(30, rng=1).explode().to_frame("geometry")
    >>> test = parcelfence.calibrate(walk, folder)
    >>> test.verdict, round(test.found.reach_m, 1)
    ('agrees', 1.5)
    """
    _check_accuracy(accuracy_m)
    plan = read_plan(Path(folder))
    drawn = None if wire is None else read_wire(_source(wire, role="wire", crs=wire_crs, plan=plan))
    laid, remarks = (plan.loops, ()) if drawn is None else (plan.laid(drawn), drawn.repairs)
    walked = read_walk(_source(walk, role="walk", crs=walk_crs, plan=plan), settings=plan.settings)
    points, conversion_m = _points(walked, plan=plan, laid=laid)
    _check_nearness(points, walked=walked, laid=laid, reach_m=plan.receiver.reach_m)
    common_m = _common_m(common_accuracy_m, walked=walked, conversion_m=conversion_m, plan=plan)
    loops = [CurrentLoop.from_line(loop.line) for loop in laid]
    found = fit_reach(points, loops, receiver=plan.receiver, point_accuracy_m=accuracy_m, common_accuracy_m=common_m)
    return WalkTest(
        found=found,
        plan=plan,
        laid=laid,
        walk_name=walked.name,
        names=walked.names,
        points=points,
        wire_name="" if drawn is None else drawn.name,
        remarks=(*walked.repairs, *remarks),
        troubles=_troubles(points - found.fit.shift_m, laid, found=found, plan=plan),
    )


def _troubles(
    points: NDArray[np.float64], laid: tuple[LaidLoop, ...], *, found: Calibration, plan: WrittenPlan
) -> tuple[SignalTrouble, ...]:
    loops = [CurrentLoop.from_line(loop.line) for loop in laid]
    around = surroundings(plan, loop_ids=tuple(loop.loop_id for loop in laid))
    return explain_weak_signal(points, loops, receiver=plan.receiver, found=found, around=around)


def _check_accuracy(accuracy_m: float) -> None:
    if accuracy_m <= 0.0:
        must = "it must be more than nothing"
        raise SettingsError(Fault(where="accuracy", found=f"found {accuracy_m:g} m", must=must))


def _common_m(
    stated_m: float | None, *, walked: WalkedPoints | WalkedStations, conversion_m: float, plan: WrittenPlan
) -> float:
    """Give what all points may be off together: nothing where distances were taped from the wire itself."""
    if isinstance(walked, WalkedStations):
        return 0.0
    unstated_m = _HANDHELD_M if walked.name.lower().endswith(".gpx") else plan.settings.unstated_accuracy_m
    return math.hypot(unstated_m if stated_m is None else stated_m, conversion_m)


def _source(given: Given, *, role: str, crs: str | None, plan: WrittenPlan) -> Source:
    """Make a source; a word stands for the CRS of the plan, which is a local one without a code."""
    known = plan.frame.crs.to_wkt() if crs == _PLAN_WORD else crs
    return replace(Source.of(given, role=role), crs=known)


def _points(
    walked: WalkedPoints | WalkedStations, *, plan: WrittenPlan, laid: tuple[LaidLoop, ...]
) -> tuple[NDArray[np.float64], float]:
    """Give the points in the working CRS, shape (n, 2), and the stated accuracy of the way there."""
    if isinstance(walked, WalkedStations):
        return points_beside(walked, planned=plan.loops, laid=laid), 0.0
    conversion = plan.frame.conversion_from(walked.crs, where=walked.name)
    points: NDArray[np.float64] = shapely.get_coordinates(conversion.geometry(shapely.MultiPoint(walked.coordinates)))
    return points, conversion.operation.accuracy_m or 0.0


def _check_nearness(
    points: NDArray[np.float64],
    *,
    walked: WalkedPoints | WalkedStations,
    laid: tuple[LaidLoop, ...],
    reach_m: float,
) -> None:
    """Refuse a walk that lies elsewhere, or on the wire itself."""
    wire = shapely.MultiLineString([loop.line for loop in laid])
    away_m = float(np.median(shapely.distance(shapely.points(points), wire)))
    if away_m > _FARTHEST_REACHES * reach_m:
        found = f"half of its points lie {away_m:,.0f} m and more from the wire"
        must = f"a walk lies beside the wire, which is set to a reach of {reach_m:.2f} m"
        remedy = "check that it belongs to this plan, and its CRS"
    elif away_m < _ON_THE_WIRE_M:
        found = f"half of its points lie within {_ON_THE_WIRE_M} m of the wire"
        must = "it holds the places where the receiver was first heard, not the wire"
        remedy = "walk up to the wire and mark where the receiver is first heard"
    else:
        return
    raise InputError([Fault(where=walked.name, found=found, must=must, remedy=remedy), *walked.repairs])
