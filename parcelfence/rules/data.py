"""Data: coordinates exact enough for the clearances, and everything that was repaired is said."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.lines import gather
from parcelfence.rules.place import nearest_place, vertices
from parcelfence.rules.rule import Rule, rule
from parcelfence.rules.wire import LAYING_TOLERANCE_M
from parcelfence.site.whereabouts import ELSEWHERE_M
from parcelfence.wording import feature_name, listing, utility_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely.geometry.base import BaseGeometry

    from parcelfence.layout.loop import Run
    from parcelfence.rules.draft import Draft
    from parcelfence.site.accuracy import Budget
    from parcelfence.site.provenance import InputRecord

__all__ = ["RULES"]

_HEIGHTS: Final = "elevation"
"""Heights change slowly: a shift of some metres is no matter."""
_THEME: Final = "data"


@rule(
    "coordinate-accuracy",
    theme=_THEME,
    severity="caution",
    summary="Datum operations are exact enough, and every clearance is met by more than its uncertainty.",
    basis="accuracy of datum operations as PROJ states it; root sum of squares of independent parts",
)
def coordinate_accuracy(draft: Draft) -> Iterator[Conflict]:
    """Set the accuracy of every input against the limit, and of every clearance against what it is met by."""
    for record in draft.site.provenance.inputs:
        if record.used and record.role != _HEIGHTS:
            yield from _operation(draft, record)
    yield from _lot_line_margin(draft)
    yield from _building_margins(draft)
    yield from _utility_margins(draft)


def _operation(draft: Draft, record: InputRecord) -> Iterator[Conflict]:
    settings, words, operation = draft.settings, draft.wording, record.operation
    accuracy_m = operation.accuracy_m
    unknown = accuracy_m is None or operation.ballpark
    if not unknown and (accuracy_m or 0.0) <= settings.accuracy_limit_m:
        return
    worse = unknown or (accuracy_m or 0.0) > settings.utility_separation_m
    by = "an unknown accuracy" if unknown else f"an accuracy of only {words.length(accuracy_m or 0.0)}"
    missing = listing(list(operation.missing_grids))
    grids = f" With {missing} PROJ would have a better operation." if missing else ""
    yield Conflict(
        message=f"{record.name} ({record.role}) came from {operation.source} with {by}; "
        f"{words.length(settings.accuracy_limit_m)} is asked for.{grids}",
        remedy="Get the file in the datum of the parcels, or install what PROJ lacks; do not dig by these positions.",
        geometry=draft.site.parcel.representative_point(),
        # beside a buried line, an error larger than the separation makes the whole check worthless
        severity="must_fix" if worse and record.role == "marks" else "caution",
        measured=accuracy_m,
        limit=settings.accuracy_limit_m,
        layer=record.role,
        feature=record.name,
    )


@dataclass(frozen=True, kw_only=True)
class _Margin:
    """A clearance that is met by less than its uncertainty: where, by how much, and how well it is known."""

    geometry: BaseGeometry
    margin_m: float
    budget: Budget
    feature: str
    name: str
    run: Run | None
    station_m: float | None

    @property
    def short_m(self) -> float:
        return self.budget.total_m - self.margin_m


def _lot_line_margin(draft: Draft) -> Iterator[Conflict]:
    signal, lot_line = draft.zones.signal, draft.site.parcel.boundary
    if signal.is_empty or not draft.site.parcel.covers(signal):
        return  # lot-line-signal has it
    budget = draft.signal_edge_budget(layer="parcel")
    shapely.prepare(lot_line)
    edge = vertices(signal)
    near = edge[shapely.dwithin(lot_line, edge, budget.total_m)]
    if len(near):
        margins_m = shapely.distance(lot_line, near)
        nearest = near[int(np.argmin(margins_m))]
        found = _margin(draft, nearest, margin_m=float(margins_m.min()), budget=budget, feature=draft.site.parcel_id)
        yield _met_by_less(draft, [found], layer="parcel", clearance="The signal stays on the property")


def _building_margins(draft: Draft) -> Iterator[Conflict]:
    signal = draft.zones.signal
    if signal.is_empty or not draft.site.buildings:
        return
    budget = draft.signal_edge_budget(layer="buildings")
    buildings = np.array([building.geometry for building in draft.site.buildings], dtype=object)
    shapely.prepare(signal)
    found = []
    for number in np.flatnonzero(shapely.dwithin(signal, buildings, budget.total_m)):
        margin_m = float(signal.distance(buildings[number]))
        if margin_m > 0:  # otherwise building-signal has it
            nearest = shapely.get_point(shapely.shortest_line(signal, buildings[number]), 0)
            own = draft.site.buildings[number]
            name = feature_name(own, kind="building")
            found.append(_margin(draft, nearest, margin_m=margin_m, budget=budget, feature=own.id, name=name))
    if found:
        yield _met_by_less(draft, found, layer="buildings", clearance="The signal stays out of")


def _utility_margins(draft: Draft) -> Iterator[Conflict]:
    """Wire that keeps the separation from the mark, but not from where the facility may lie; one row for each kind."""
    utilities, separation_m = draft.site.utilities, draft.settings.utility_separation_m
    budgets = {utility.id: draft.mark_budget(utility) for utility in utilities}
    limits_m = [separation_m + budgets[utility.id].total_m for utility in utilities]
    near = draft.beside_utilities.stretches(limits_m, among=~draft.wire.twisted, together=draft.line_of_utility)
    found: dict[str, list[_Margin]] = {}
    for line, stretches in zip(draft.site.buried_lines, near, strict=True):
        for stretch in stretches:
            utility = line.member_at(stretch.point)
            if stretch.measured < separation_m - LAYING_TOLERANCE_M:
                continue  # utility-parallel has it
            margin = _Margin(
                geometry=stretch.line,
                margin_m=max(0.0, stretch.measured - separation_m),
                budget=budgets[utility.id],
                feature=utility.id,
                name=utility_name(utility),
                run=stretch.run,
                station_m=stretch.station_m,
            )
            found.setdefault(utility.kind, []).append(margin)
    for margins in found.values():
        if margins:
            yield _met_by_less(draft, margins, layer="utilities", clearance="The separation is kept from")


def _margin(
    draft: Draft, point: BaseGeometry, *, margin_m: float, budget: Budget, feature: str, name: str = ""
) -> _Margin:
    """Make a margin of a place that is not on the wire."""
    place = nearest_place(draft.loop, point, twisted=False)
    return _Margin(
        geometry=point,
        margin_m=margin_m,
        budget=budget,
        feature=feature,
        name=name,
        run=place.run if place else None,
        station_m=place.station_m if place else None,
    )


def _met_by_less(draft: Draft, margins: list[_Margin], *, layer: str, clearance: str) -> Conflict:
    """Report margins of one layer or kind in one row, the one that is missed by most first."""
    words = draft.wording
    worst, *others = sorted(margins, key=lambda own: (-own.short_m, own.station_m or 0.0, own.feature))
    at = f" {words.at(worst.run, station_m=worst.station_m)}" if worst.run and worst.station_m is not None else ""
    taken = set(worst.budget.unknown)
    parts = listing(
        [
            f"{name} {'an assumed ' if name in taken else ''}{words.length(size_m)}"
            for name, size_m in sorted(worst.budget.parts, key=lambda part: -part[1])
            if size_m
        ],
        most=6,
    )
    stations = dict.fromkeys(words.station(own.station_m) for own in others if own.station_m is not None)
    counted = "1 more place" if len(others) == 1 else f"{len(others)} more places"
    more = f" The same holds at {counted}: {listing(list(stations))}." if others else ""
    return Conflict(
        message=f"{f'{clearance} {worst.name}'.rstrip()} with {words.length(worst.margin_m)} to spare{at}, "
        f"which is less than the uncertainty of {words.length(worst.budget.total_m)} ({parts}).{more}",
        remedy="Leave more room there, or find out the positions more exactly on the ground.",
        geometry=gather([own.geometry for own in margins]),
        station_m=worst.station_m,
        measured=worst.margin_m,
        limit=worst.budget.total_m,
        layer=layer,
        feature=worst.feature,
    )


@rule(
    "layer-elsewhere",
    theme=_THEME,
    severity="caution",
    summary="Every layer that was given belongs to the place of the property.",
)
def layer_elsewhere(draft: Draft) -> Iterator[Conflict]:
    """Name the files all of whose features lie far away; of marks another rule speaks."""
    for record in draft.site.provenance.inputs:
        if record.elsewhere and record.role != "marks":
            yield Conflict(
                message=f"Nothing of {record.name} ({record.role}, {record.features:,} features) lies near the property"
                f"{draft.wording.away(record.away_m)}: it says nothing about this place.",
                remedy="Check that it is the right file and the right CRS.",
                geometry=draft.site.parcel.representative_point(),
                measured=record.away_m,
                limit=ELSEWHERE_M,
                layer=record.role,
                feature=record.name,
            )


@rule(
    "repaired-input",
    theme=_THEME,
    severity="note",
    summary="Everything that was mended or left out of the inputs is known to the person.",
    basis="repairs recorded while reading",
)
def repaired_input(draft: Draft) -> Iterator[Conflict]:
    """Gather the repairs of each file by what was found."""
    for record in draft.site.provenance.inputs:
        kinds = Counter(_without_numbers(repair.found) for repair in record.repairs)
        for found, count in sorted(kinds.items()):
            own = [repair for repair in record.repairs if _without_numbers(repair.found) == found]
            features = listing([repair.feature for repair in own if repair.feature])
            where = f" (features {features})" if features else ""
            times = f"{count} times: " if count > 1 else ""
            yield Conflict(
                message=f"{record.name}: {times}{own[0].found.rstrip('.')}{where}.",
                remedy=own[0].remedy or "Check that the repair is what was meant.",
                geometry=draft.site.parcel.representative_point(),
                measured=float(count),
                limit=0.0,
                unit="repairs",
                layer=record.role,
                feature=own[0].feature if count == 1 else "",
            )


def _without_numbers(text: str) -> str:
    return "".join("#" if letter.isdigit() else letter for letter in text)


RULES: Final[tuple[Rule, ...]] = (coordinate_accuracy, layer_elsewhere, repaired_input)
