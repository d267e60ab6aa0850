"""The budget of a clearance: what each part adds, and what nobody stated."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from parcelfence.settings import Settings
from parcelfence.site.accuracy import (
    DRAWING_M,
    Budget,
    clearance_budget,
    mark_uncertainty_m,
    role_budget,
    signal_budget,
)
from parcelfence.site.provenance import DatumOperation, Provenance
from tests.rules import sites

LINE = LineString([(0, 0), (10, 0)])
PLAIN = Settings()


def _operation(accuracy_m: float | None) -> DatumOperation:
    return DatumOperation(source="A", target="B", name="n", definition="", accuracy_m=accuracy_m)


def _site(*inputs: sites.InputRecord) -> sites.Site:
    return replace(sites.site(), provenance=Provenance(inputs=inputs))


@given(sizes=st.lists(st.floats(0, 100), max_size=6))
def test_parts_are_added_as_squares(sizes: list[float]) -> None:
    budget = Budget(parts=tuple((str(number), size) for number, size in enumerate(sizes)))
    assert budget.total_m == pytest.approx(math.sqrt(sum(size**2 for size in sizes)))


def test_the_wire_is_never_laid_more_exactly_than_by_hand() -> None:
    assert clearance_budget(_site(), layer="parcel", settings=PLAIN).total_m == DRAWING_M


def test_source_and_datum_of_the_file_are_added() -> None:
    place = _site(sites.record(accuracy_m=0.3, operation=_operation(0.4)))
    assert role_budget(place, role="parcels", settings=PLAIN).total_m == pytest.approx(0.5)
    assert clearance_budget(place, layer="parcel", settings=PLAIN).total_m == pytest.approx(math.hypot(0.5, DRAWING_M))
    assert clearance_budget(place, layer="buildings", settings=PLAIN).total_m == DRAWING_M


def test_a_surveyed_wire_brings_its_own_uncertainty() -> None:
    place = _site(sites.record(accuracy_m=0.3), sites.record(role="wire", name="walk.gpx", accuracy_m=3.0))
    assert clearance_budget(place, layer="parcel", settings=PLAIN).total_m == pytest.approx(
        math.sqrt(9.09 + DRAWING_M**2)
    )


def test_of_several_files_the_worst_counts_and_unused_ones_do_not() -> None:
    place = _site(
        sites.record(role="marks", name="a", accuracy_m=0.1),
        sites.record(role="marks", name="b", accuracy_m=0.7),
        sites.record(role="marks", name="c", accuracy_m=9.0, used=0),
    )
    assert role_budget(place, role="marks", settings=PLAIN).total_m == pytest.approx(0.7)


def test_what_nobody_stated_is_named_and_is_not_nothing() -> None:
    budget = role_budget(
        _site(sites.record(accuracy_m=None, operation=_operation(None))),
        role="parcels",
        settings=Settings(unstated_accuracy_m=0.4),
    )
    assert budget.total_m == pytest.approx(0.4 * math.sqrt(2))
    assert budget.unknown == ("source parcels.geojson", "datum of parcels.geojson")


@pytest.mark.parametrize(
    ("level", "inferred", "expected_m"),
    [
        ("A", False, 0.05),
        ("B", False, 0.30),
        ("C", False, 0.61),
        ("D", False, 0.61),
        ("", False, 0.61),
        ("A", True, 0.61),
    ],
)
def test_marks_are_as_sure_as_their_quality_level(level: str, inferred: bool, expected_m: float) -> None:
    """AS 5488 for A and B; for the others the facility may lie anywhere in the tolerance zone."""
    utility = sites.utility(LINE, quality_level=level, inferred=inferred, tolerance_m=0.61)
    assert mark_uncertainty_m(utility) == expected_m


def test_a_narrow_tolerance_zone_bounds_the_uncertainty() -> None:
    assert mark_uncertainty_m(sites.utility(LINE, quality_level="B", tolerance_m=0.2)) == 0.2


def test_three_feet_from_the_paint_may_be_one_foot_from_the_cable() -> None:
    """Under a tolerance of 24 in, 3 ft of clearance leave 12 in (CGA Best Practices 5-19, codes with 24 in)."""
    utility = sites.utility(LINE, quality_level="", tolerance_m=24 * 0.0254)
    assert 3 * 0.3048 - mark_uncertainty_m(utility) == pytest.approx(0.3048)


def test_the_mark_joins_the_budget_of_its_file() -> None:
    place = _site(sites.record(role="marks", accuracy_m=0.4))
    budget = clearance_budget(place, layer="utilities", settings=PLAIN, utility=sites.utility(LINE, quality_level="B"))
    assert budget.total_m == pytest.approx(math.sqrt(0.4**2 + 0.3**2 + DRAWING_M**2))
    assert [name for name, _ in budget.parts][-1] == "mark U1"


def test_the_edge_of_the_signal_is_as_sure_as_the_level_and_the_heights() -> None:
    """At a set level the slant distance stays: w = sqrt(s^2 - h^2), so dw = -(h / w) dh (derived)."""
    settings = Settings(level_uncertainty_percent=10.0, height_uncertainty_m=0.1)
    budget = signal_budget(reach_m=2.0, height_m=0.35, settings=settings)
    assert budget.total_m == pytest.approx(math.hypot(0.2, 0.0175))
    exact = [math.sqrt(2.0**2 + 0.35**2 - (0.35 + step) ** 2) for step in (-0.05, 0.05)]
    assert dict(budget.parts)["heights of receiver and wire"] == pytest.approx(exact[0] - exact[1], rel=0.01)
