"""The figures of a plan: lengths, areas, shares and counts, as they stand in the summary and on the worksheet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.site.accuracy import signal_budget
from parcelfence.site.frame import horizontal
from parcelfence.site.whereabouts import geodesic_length_m
from parcelfence.units import rough_percent, unit_system

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan
    from parcelfence.units import UnitSystem

__all__ = ["Figures", "figures", "reach_uncertainty_m", "remarks"]

_LITTLE_LEFT: Final = 0.6
"""Below this share of free ground the summary says so."""


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What a plan comes to; lengths in metres, areas in square metres.

    Parameters
    ----------
    loop_length_m : float
        Length in plan of all runs that carry the signal.
    loop_ground_length_m, lead_in_ground_length_m : float
        Lengths along the ground, slopes included, of the runs that carry the signal and of the twisted pairs.
    loop_geodesic_length_m : float
        The same on the ellipsoid, from longitude and latitude (Karney 2013); a check of the working CRS.
    lead_in_length_m : float
        Length in plan of the twisted pairs.
    conductor_length_m : float
        Length of single conductor over all legs, slack and twist included.
    parcel_area_m2, allowed_area_m2, enclosed_area_m2 : float
        Property; what the setbacks leave of it; what the loop encloses, keep-outs taken off.
    free_area_m2, indoors_area_m2 : float
        Ground on which the animal is free: in the open, and under roofs.
    roam_area_m2, signal_area_m2, core_area_m2 : float
        Zones, by the exact field; the first is all enclosed ground that does not react.
    buffer_area_m2 : float
        What would be left free in the open if the signal were a plain strip as wide as the reach: shown for comparison.
    reach_uncertainty_m : float
        Uncertainty of the reach beside a straight wire: how the level is set, and the heights of receiver and wire.
    resistance_low_ohm, resistance_high_ohm : float
        Least and greatest resistance that an ohmmeter may show, over the temperatures and the tolerance of the wire.
    legs, splices, crossings, stations, flags : int
        Counts.
    """

    loop_length_m: float
    loop_ground_length_m: float
    lead_in_ground_length_m: float
    loop_geodesic_length_m: float
    lead_in_length_m: float
    conductor_length_m: float
    parcel_area_m2: float
    allowed_area_m2: float
    enclosed_area_m2: float
    free_area_m2: float
    indoors_area_m2: float
    roam_area_m2: float
    signal_area_m2: float
    core_area_m2: float
    buffer_area_m2: float
    reach_uncertainty_m: float
    resistance_low_ohm: float
    resistance_high_ohm: float
    legs: int
    splices: int
    crossings: int
    stations: int
    flags: int

    @property
    def free_share_of_enclosed(self) -> float:
        """Share of the enclosed ground, houses included, on which the animal is free in the open."""
        return self.free_area_m2 / self.enclosed_area_m2 if self.enclosed_area_m2 else 0.0

    @property
    def buffer_share_of_enclosed(self) -> float:
        """The same share if the signal were a plain strip."""
        return self.buffer_area_m2 / self.enclosed_area_m2 if self.enclosed_area_m2 else 0.0

    @property
    def enclosed_share_of_allowed(self) -> float:
        """Share of the ground that the setbacks leave which the loop encloses."""
        return self.enclosed_area_m2 / self.allowed_area_m2 if self.allowed_area_m2 else 0.0


def figures(plan: Plan) -> Figures:
    """Work out the figures of a plan."""
    loop, take_off, settings = plan.loop, plan.take_off, plan.settings
    low_ohm, high_ohm = plan.circuit.resistance_range_ohm(
        low_c=settings.wire_temperature_low_c,
        high_c=settings.wire_temperature_high_c,
        tolerance_percent=settings.resistance_tolerance_percent,
    )
    enclosed = loop.enclosed
    wires = shapely.union_all([run.line for run in loop.signal_runs])
    return Figures(
        loop_length_m=sum(run.line.length for run in loop.signal_runs),
        loop_ground_length_m=sum(leg.ground_length_m for leg in take_off.sequence.legs if not leg.twisted),
        lead_in_ground_length_m=sum(leg.ground_length_m for leg in take_off.sequence.legs if leg.twisted),
        loop_geodesic_length_m=_geodesic_length_m(plan),
        lead_in_length_m=sum(run.line.length for run in loop.runs if run.twisted),
        conductor_length_m=take_off.sequence.conductor_length_m,
        parcel_area_m2=plan.site.parcel.area,
        # at an open side no setback holds
        allowed_area_m2=(loop.allowed if loop.ground is None else loop.allowed.union(loop.ground)).area,
        enclosed_area_m2=enclosed.area,
        free_area_m2=plan.zones.free_ground.area,
        indoors_area_m2=plan.zones.indoors.area,
        roam_area_m2=plan.zones.roam.area,
        signal_area_m2=plan.zones.signal.area,
        core_area_m2=plan.zones.core.area,
        buffer_area_m2=enclosed.difference(wires.buffer(plan.zones.receiver.reach_m)).difference(plan.zones.roofs).area,
        reach_uncertainty_m=reach_uncertainty_m(plan),
        resistance_low_ohm=low_ohm,
        resistance_high_ohm=high_ohm,
        legs=len(take_off.sequence.legs),
        splices=len(take_off.sequence.splices),
        crossings=len(plan.crossings),
        stations=len(take_off.stations),
        flags=len(take_off.flags),
    )


def reach_uncertainty_m(plan: Plan) -> float:
    """Uncertainty of the reach beside a straight wire; that of another reach is about the same share of it."""
    receiver = plan.zones.receiver
    return signal_budget(reach_m=receiver.reach_m, height_m=receiver.height_m, settings=plan.settings).total_m


def remarks(plan: Plan, found: Figures, *, units: UnitSystem) -> tuple[str, ...]:
    """Say what a reader may not expect.

    Parameters
    ----------
    plan : Plan
        The plan.
    found : Figures
        Its figures.
    units : UnitSystem
        Units to speak in.

    Returns
    -------
    tuple of str
        Whole sentences; most important first.
    """
    said = (
        _unmarked(plan),
        _free_ground(found, units),
        _drop_at_the_buffer(found),
        _limits_of_the_model(plan, found),
        _flat_ground(plan),
        _beyond_the_model(plan),
        _ground_scale(plan),
        *plan.take_off.remarks,
    )
    return tuple(sentence for sentence in said if sentence)


def _unmarked(plan: Plan) -> str:
    if plan.site.utilities:
        return ""
    return "No locate marks were given: this plan knows nothing of what is buried. Have the utilities located first."


def _free_ground(found: Figures, units: UnitSystem) -> str:
    share = found.free_share_of_enclosed
    if not found.free_area_m2:
        return "The receiver reacts on all of the enclosed ground: nothing is left to roam. Choose a smaller reach."
    text = f"{share:.0%} of the enclosed ground, {units.area(found.free_area_m2)}, is free to roam"
    return f"Only {text}; a smaller reach frees more." if share < _LITTLE_LEFT else f"{text}."


def _drop_at_the_buffer(found: Figures) -> str:
    missing = found.buffer_share_of_enclosed - found.free_share_of_enclosed
    if missing < 0.02:  # noqa: PLR2004
        return ""
    return (
        f"A plain strip as wide as the reach would leave {found.buffer_share_of_enclosed:.0%} free: inside a closed "
        "loop the signal reaches farther than beside a lone wire."
    )


def _beyond_the_model(plan: Plan) -> str:
    if not plan.circuit.ground_matters:
        return ""
    return (
        "On a property of this size, at this frequency and in this soil, currents in the ground alter the signal far "
        f"from the wire (by some {rough_percent(plan.circuit.ground_share)} across it) and the impedance of the loop; "
        "the computation leaves them out. Set the level by walking, and calibrate."
    )


def _limits_of_the_model(plan: Plan, found: Figures) -> str:
    units = unit_system(plan.settings.units)
    reach = units.uncertain_length(plan.zones.receiver.reach_m, uncertainty_m=found.reach_uncertainty_m)
    return (
        f"The reach is known to {reach} at best: by how the level is set, and by the heights of receiver and wire. The "
        "signal is that of the whole field, which a receiver with one coil hears in part, less where the animal turns; "
        "fences, pipes and other metal near the wire are left out, and so is the soil."
    )


def _flat_ground(plan: Plan) -> str:
    if plan.site.terrain is None:
        return "Zones and lengths are those of flat ground: no elevations were given."
    return (
        "Zones are those of flat ground. On an even slope distances along the ground stay as computed, and on the plan "
        "they shrink by the cosine of the slope; a bank or a terrace between wire and animal is left out. Walk such "
        "places."
    )


def _ground_scale(plan: Plan) -> str:
    if plan.site.frame.scale == 1.0:
        return ""
    return (
        f"Lengths are ground lengths at the given elevation (scale {plan.site.frame.scale:.8f}); lengths on the "
        "ellipsoid are shorter by that factor."
    )


def _geodesic_length_m(plan: Plan) -> float:
    """Length of the signal runs on the ellipsoid of the frame's own datum."""
    base = horizontal(plan.site.frame.crs).geodetic_crs
    if base is None:
        return math.nan
    base = base.to_2d()
    conversion = plan.site.frame.conversion_to(base)
    lines = [shapely.get_coordinates(run.line) for run in plan.loop.signal_runs]
    return sum(geodesic_length_m(np.asarray(conversion.coordinates(line)), crs=base) for line in lines)
