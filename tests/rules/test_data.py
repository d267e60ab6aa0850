"""Data: accuracy of coordinates against clearances, and repairs."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely import LineString, Point, box

from parcelfence.errors import Fault
from parcelfence.settings import Settings
from parcelfence.site.provenance import DatumOperation, Provenance
from parcelfence.site.reading import read_site
from tests.realdata import real_data
from tests.rules import sites

SETTINGS = Settings(reach_m=2.0, lot_line_setback_m=2.3, utility_separation_m=1.5, accuracy_limit_m=1.0)


def _operation(accuracy_m: float | None, **changes: object) -> DatumOperation:
    return DatumOperation(source="NAD27", target="NAD83", name="shift", definition="", accuracy_m=accuracy_m, **changes)


def _site(*inputs: sites.InputRecord, **changes: object) -> sites.Site:
    return replace(sites.site(**changes), provenance=Provenance(inputs=inputs))


def _found(place: sites.Site, loop: sites.Loop | None = None) -> tuple[sites.Conflict, ...]:
    return sites.found("coordinate-accuracy", sites.draft(place, loop, settings=SETTINGS))


def test_an_operation_at_the_limit_holds_and_a_worse_one_is_told() -> None:
    roads = {"role": "roads", "name": "roads.shp"}
    assert not _found(_site(sites.record(**roads, operation=_operation(1.0))))
    (conflict,) = _found(_site(sites.record(**roads, operation=_operation(1.2, missing_grids=("us_grid.tif",)))))
    assert (conflict.severity, conflict.measured, conflict.limit) == ("caution", 1.2, 1.0)
    assert "us_grid.tif" in conflict.message


@pytest.mark.parametrize(("accuracy_m", "severity"), [(1.2, "caution"), (1.6, "must_fix"), (None, "must_fix")])
def test_marks_worse_than_the_separation_must_be_fixed(accuracy_m: float | None, severity: str) -> None:
    place = _site(sites.record(role="marks", name="marks.shp", operation=_operation(accuracy_m)))
    assert [conflict.severity for conflict in _found(place)] == [severity]


def test_an_unknown_accuracy_of_anything_but_marks_is_a_caution() -> None:
    place = _site(sites.record(role="roads", name="roads.shp", operation=_operation(None, ballpark=True)))
    assert [(conflict.severity, conflict.measured) for conflict in _found(place)] == [("caution", None)]


def test_files_that_were_not_used_do_not_matter() -> None:
    assert not _found(_site(sites.record(role="roads", used=0, operation=_operation(5.0))))


def test_the_lot_line_is_kept_by_less_than_its_uncertainty() -> None:
    loop = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
    draft = sites.draft(loop=loop, settings=SETTINGS)
    margin_m = draft.zones.signal.distance(sites.PARCEL.exterior)
    assert margin_m > 0.5
    assert not _found(_site(sites.record(accuracy_m=margin_m - 0.1)), loop)
    (conflict,) = _found(_site(sites.record(accuracy_m=1.5)), loop)
    assert conflict.measured == pytest.approx(margin_m, abs=1e-3)
    receiver = draft.zones.receiver
    level_m, heights_m = 0.1 * receiver.reach_m, 0.1 * receiver.height_m / receiver.reach_m
    assert conflict.limit == pytest.approx((1.5**2 + 0.05**2 + level_m**2 + heights_m**2) ** 0.5)


def test_a_house_is_kept_clear_by_less_than_its_uncertainty() -> None:
    loop = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37))))
    house = sites.feature(box(25, 6, 35, 20), id="house")
    inputs = sites.record(), sites.record(role="buildings", name="b.shp", accuracy_m=2.0)
    place = _site(*inputs, buildings=(house,))
    margin_m = sites.draft(place, loop, settings=SETTINGS).zones.signal.distance(house.geometry)
    (conflict,) = _found(place, loop)
    assert conflict.feature == "house"
    assert conflict.measured == pytest.approx(margin_m)
    assert not _found(_site(sites.record(), buildings=(house,)), loop)


@pytest.mark.parametrize(("gap_m", "count"), [(1.85, 0), (1.75, 1), (1.4, 0)])
def test_the_separation_is_kept_by_less_than_the_marks_uncertainty(gap_m: float, count: int) -> None:
    """Detected from the surface: 0.30 m (AS 5488); below the separation itself, utility-parallel speaks."""
    loop = sites.loop_of(sites.loop_run(box(3, 3, 57, 37)))
    line = LineString([(10, 3 + gap_m), (50, 3 + gap_m)])
    place = sites.site(utilities=(sites.utility(line, quality_level="B"),))
    found = _found(place, loop)
    assert [conflict.measured for conflict in found] == pytest.approx([gap_m - 1.5] * count)
    assert all(conflict.limit == pytest.approx((0.3**2 + 0.05**2) ** 0.5) for conflict in found)


def test_many_marks_give_one_row_for_each_kind_with_the_worst_place() -> None:
    """Lines across the side of the yard end before the wire, each a little nearer, a gas and a water line by turns."""
    loop = sites.loop_of(sites.loop_run(box(3, 3, 57, 37)))
    gaps_m = [1.78 - 0.01 * number for number in range(20)]
    lines = [LineString([(6 + 2.4 * number, 3 + gap), (6 + 2.4 * number, 20)]) for number, gap in enumerate(gaps_m)]
    marks = tuple(
        sites.utility(line, id=f"U{number}", kind="gas" if number % 2 else "water", quality_level="B")
        for number, line in enumerate(lines)
    )
    place = sites.site(utilities=marks)
    rows = {row.feature: row for row in _found(place, loop)}
    assert set(rows) == {"U18", "U19"}
    for feature, row in rows.items():
        number = int(feature[1:])
        assert row.measured == pytest.approx(gaps_m[number] - 1.5)
        assert row.limit == pytest.approx((0.3**2 + 0.05**2) ** 0.5)
        assert row.station_m == pytest.approx(sites.ring(box(3, 3, 57, 37)).project(Point(6 + 2.4 * number, 3)), abs=1)
        assert "at 9 more places" in row.message
        assert "and 5 more" in row.message
        assert len(shapely.get_parts(row.geometry)) == 10


@pytest.mark.real
def test_a_dense_locate_response_gives_a_handful_of_rows() -> None:
    """The Dutch locate response (Cadastre, IMKL 2.0 example delivery): more than a thousand lines around one lot."""
    folder = real_data("nl_limburg_village")
    site = read_site(parcels=folder / "dig_area.geojson", marks=folder / "utility_locates.geojson")
    inset = sites.rounded(site.parcel.buffer(-3, join_style="mitre"))
    rows = sites.found("coordinate-accuracy", sites.draft(site, sites.loop_of(sites.loop_run(inset))))
    kinds = {utility.kind for utility in site.utilities}
    assert len(site.utilities) > 1000
    assert {row.layer for row in rows} == {"utilities"}
    assert 1 < len(rows) <= len(kinds)
    assert all("more places" in row.message for row in rows)


def test_repairs_are_gathered_by_what_was_found() -> None:
    repairs = tuple(
        Fault(where="lots.geojson", feature=str(n), found=f"the ring crosses itself {n} times", remedy="look at it")
        for n in (3, 5)
    )
    single = Fault(where="lots.geojson", feature="9", found="Z values were dropped")
    place = _site(sites.record(repairs=(*repairs, single)))
    found = sites.found("repaired-input", sites.draft(place, settings=SETTINGS))
    assert [(conflict.measured, conflict.feature) for conflict in found] == [(1.0, "9"), (2.0, "")]
    assert "2 times" in found[1].message
    assert "features 3, 5" in found[1].message
    assert all(conflict.severity == "note" for conflict in found)
    assert not sites.found("repaired-input", sites.draft(settings=SETTINGS))
