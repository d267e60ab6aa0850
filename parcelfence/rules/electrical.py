"""Electrical: what the transmitter is rated for, and what the loop couples into buried lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely
from shapely import MultiLineString

from parcelfence.circuit.coupling import ASSUMED_DEPTH_M, coupling
from parcelfence.circuit.drive import Rating, drive_checks
from parcelfence.conflict import Conflict
from parcelfence.field.current import Chain, CurrentLoop
from parcelfence.rules.place import nearest_place
from parcelfence.rules.rule import Rule, rule
from parcelfence.units import ACRE_M2, rough_percent
from parcelfence.wording import utility_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parcelfence.circuit.coupling import Coupling
    from parcelfence.circuit.drive import DriveCheck
    from parcelfence.rules.draft import Draft
    from parcelfence.site.buried_lines import BuriedLine

__all__ = ["RULES"]

_THEME: Final = "electrical"
_LEAST_BELOW_M: Final = 0.05
"""A line that is said to lie no deeper than the wire is crossed with the thickness of both between (from memory)."""
_LARGEST_M2: Final = 25 * ACRE_M2
"""The largest loops that are usual (common practice, no source)."""
_CALLED: Final = {
    "impedance": "The impedance of the wire",
    "resistance": "The resistance of the wire",
    "wire length": "The length of the wire",
}
_DRAWN_M: Final = 0.05
_AROUND_M: Final = 20.0
_WORTH_SAYING_H: Final = 1e-7
_MOST_TOLD: Final = 20


@rule(
    "drive-limit",
    theme=_THEME,
    severity="must_fix",
    summary="The transmitter drives the wire: impedance, resistance and length keep within its rating.",
    basis="rating of the transmitter as given in the settings",
)
def drive_limit(draft: Draft) -> Iterator[Conflict]:
    """Hold the circuit against what is known of the transmitter; nothing is assumed."""
    for check in _checks(draft):
        if check.quantity == "resistance" and check.holds:
            yield from _warm(draft, check)
        if check.quantity != "area" and not check.holds:
            yield Conflict(
                message=f"{_CALLED[check.quantity]} is {_quantity(draft, check.measured, unit=check.unit)}; "
                f"the transmitter drives {_quantity(draft, check.limit, unit=check.unit)} at most.",
                remedy=f"Use wire of gauge {check.cure_awg} AWG, or a transmitter rated for the loop."
                if check.cure_awg is not None
                else "Make the loop smaller, divide it over two transmitters, or use one rated for the loop.",
                geometry=_at_transmitter(draft),
                measured=check.measured,
                limit=check.limit,
                unit=check.unit,
                layer="wire",
            )


def _warm(draft: Draft, check: DriveCheck) -> Iterator[Conflict]:
    """Say where the limit holds for the nominal wire, but not for a warm one at the end of its tolerance."""
    settings = draft.settings
    _, greatest = draft.circuit.resistance_range_ohm(
        low_c=settings.wire_temperature_low_c,
        high_c=settings.wire_temperature_high_c,
        tolerance_percent=settings.resistance_tolerance_percent,
    )
    if greatest > check.limit:
        yield Conflict(
            message=f"The resistance of the wire, {check.measured:.1f} ohm, may reach {greatest:.1f} ohm at "
            f"{settings.wire_temperature_high_c:g} degrees Celsius and the end of its tolerance; the transmitter "
            f"drives {check.limit:.1f} ohm at most.",
            remedy="Measure the spools before laying, or use a thicker wire.",
            geometry=_at_transmitter(draft),
            severity="caution",
            measured=greatest,
            limit=check.limit,
            unit="ohm",
            layer="wire",
        )


@rule(
    "area-limit",
    theme=_THEME,
    severity="caution",
    summary="The enclosed ground keeps within the rating of the transmitter and within what the model covers.",
)
def area_limit(draft: Draft) -> Iterator[Conflict]:
    """Hold the enclosed area against the rating, and say where the model ends."""
    enclosed, words = draft.loop.enclosed, draft.wording
    rated = [check for check in _checks(draft) if check.quantity == "area"]
    limits = [(check.limit, "the transmitter is rated for") for check in rated]
    if not rated:
        limits = [(_LARGEST_M2, "the largest usual loops enclose")]
    for limit_m2, says in limits:
        if enclosed.area > limit_m2:
            yield Conflict(
                message=f"The loop encloses {words.area(enclosed.area)}; {says} {words.area(limit_m2)}.",
                remedy="Enclose less, divide the ground over two loops, or use a transmitter rated for it.",
                geometry=enclosed,
                measured=float(enclosed.area),
                limit=limit_m2,
                unit="m2",
                layer="wire",
            )
    if draft.circuit.ground_matters:
        yield Conflict(
            message=f"The loop is {words.length(draft.circuit.greatest_width_m)} wide: in soil of "
            f"{draft.settings.soil_resistivity_ohm_m:g} ohm m at {draft.settings.frequency_hz / 1000:g} kHz currents "
            f"in the ground change the field across it by some {rough_percent(draft.circuit.ground_share)}, and the "
            "impedance of the wire; zones and circuit leave them out. Where the signal ends, close to the wire, they "
            "change it by about a hundredth.",
            remedy="Set the level by walking the whole wire with the receiver, and compare it with the map.",
            geometry=enclosed,
            severity="note",
            measured=draft.circuit.greatest_width_m,
            layer="zones",
        )


@rule(
    "current-along-wire",
    theme=_THEME,
    severity="caution",
    summary="The current is the same all along the wire, within a tenth.",
    basis="telegraph equations; permittivity of polyethylene from memory",
)
def current_along_wire(draft: Draft) -> Iterator[Conflict]:
    """Estimate how far the capacitance between jacket and soil changes the current along the wire."""
    circuit = draft.circuit
    if circuit.current_changes:
        yield Conflict(
            message=f"Over {draft.wording.length(circuit.loop_length_m)} of wire the jacket passes current to the "
            f"soil: in the middle of the wire the current, and so the reach, differs by some "
            f"{rough_percent(circuit.current_change_share)} from that at the transmitter (an estimate).",
            remedy="Walk the reach at the transmitter and half-way round; set the level for the weaker place. A lower "
            "frequency, or two smaller loops, evens it out.",
            geometry=draft.loop.enclosed,
            measured=circuit.current_change_share,
            limit=0.1,
            unit="1",
            layer="wire",
        )


@rule(
    "utility-coupling",
    theme="utilities",
    severity="note",
    summary="What the loop induces in the buried metallic lines that it comes near to is known.",
    basis="mutual inductance of straight filaments (Neumann; Grover, Inductance Calculations, 1946)",
)
def utility_coupling(draft: Draft) -> Iterator[Conflict]:
    """Compute the mutual inductance of the loop and the metallic lines near it; the strongest twenty are told."""
    near = {id(draft.site.utilities[int(number)]) for number in draft.beside_utilities.feature}
    metallic = [
        line
        for line in draft.site.buried_lines
        if shapely.get_dimensions(line.geometry) == 1
        and any(id(own) in near for own in line.members)
        and any(own.metallic for own in line.members)
    ]
    if not metallic:
        return
    runs = draft.loop.signal_runs
    chain = Chain.of(CurrentLoop.from_line(shapely.simplify(run.line, _DRAWN_M), run.current) for run in runs)
    coupled_lines = [
        (line, clipped, coupling(chain, clipped, depth_m=_below_the_wire_m(draft, line)))
        for line, clipped in _clipped(draft, metallic)
    ]
    told = [row for row in coupled_lines if row[2].mutual_inductance_h >= _WORTH_SAYING_H]
    for line, clipped, coupled in sorted(told, key=lambda row: -row[2].mutual_inductance_h)[:_MOST_TOLD]:
        yield _coupled(draft, line, clipped=clipped, coupled=coupled)


def _coupled(draft: Draft, line: BuriedLine, *, clipped: MultiLineString, coupled: Coupling) -> Conflict:
    volts = coupled.volts_per_ampere(draft.settings.frequency_hz)
    place = nearest_place(draft.loop, clipped, twisted=False)
    utility = line.member_at(clipped if place is None else place.point)
    others = f" (with {len(line.members) - 1} more segments of it)" if len(line.members) > 1 else ""
    lies = f"{draft.wording.length(coupled.depth_m)} below the wire"
    stated = any(own.depth_m is not None for own in line.members)
    if_so = f"by its stated depth {lies}, if it is metallic" if stated else f"if it lies {lies} and is metallic"
    return Conflict(
        message=f"The loop and {utility_name(utility)}{others} share {coupled.mutual_inductance_h * 1e6:.2f} "
        f"microhenry: each ampere in the wire induces {volts:.2f} V along the line, {if_so}.",
        remedy="Square crossings add nothing to it; keep long runs away from the line. If the receiver reacts "
        "along the line, move the wire farther away.",
        geometry=clipped,
        station_m=place.station_m if place else None,
        measured=coupled.mutual_inductance_h,
        unit="H",
        layer="utilities",
        feature=utility.id,
    )


def _below_the_wire_m(draft: Draft, line: BuriedLine) -> float:
    """Depth of a line below the wire, by the shallowest depth that is stated of it."""
    stated_m = [own.depth_m for own in line.members if own.depth_m is not None]
    if not stated_m:
        return ASSUMED_DEPTH_M
    return max(_LEAST_BELOW_M, min(stated_m) - draft.settings.burial_depth_m)


def _checks(draft: Draft) -> tuple[DriveCheck, ...]:
    settings = draft.settings
    rating = Rating(
        volts=settings.transmitter_volts,
        amperes=settings.transmitter_amperes,
        max_ohms=settings.transmitter_max_ohms,
        max_wire_m=settings.transmitter_max_wire_m,
        max_area_m2=settings.transmitter_max_area_m2,
    )
    return drive_checks(draft.circuit, rating, area_m2=float(draft.loop.enclosed.area))


def _quantity(draft: Draft, value: float, *, unit: str) -> str:
    return draft.wording.length(value) if unit == "m" else f"{value:.1f} {unit}"


def _at_transmitter(draft: Draft) -> shapely.Point:
    transmitter = draft.loop.transmitter
    return transmitter.point if transmitter else shapely.get_point(draft.loop.runs[0].line, 0)


def _clipped(draft: Draft, lines: Sequence[BuriedLine]) -> Iterator[tuple[BuriedLine, MultiLineString]]:
    """Give the part of each line around the loop; what lies far away is not known well and adds little."""
    west, south, east, north = draft.loop.enclosed.bounds
    around = shapely.box(west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M)
    for line in lines:
        inside = shapely.intersection(shapely.simplify(line.geometry, _DRAWN_M), around)
        yield line, MultiLineString([part for part in shapely.get_parts(inside) if shapely.get_dimensions(part) == 1])


RULES: Final[tuple[Rule, ...]] = (drive_limit, area_limit, current_along_wire, utility_coupling)
