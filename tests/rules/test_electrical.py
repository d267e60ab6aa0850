"""Electrical: rating of the transmitter, area, coupling into buried lines."""

from __future__ import annotations

import math

import pytest
from shapely import LineString, box

from parcelfence.settings import Settings
from parcelfence.units import ACRE_M2
from tests.rules import sites

SQUARE = sites.loop_of(sites.loop_run(box(5, 5, 35, 35)))
"""Thirty metres square."""
SLACK = 1.02


def _found(
    rule: str, *, loop: sites.Loop = SQUARE, place: sites.Site | None = None, **settings: object
) -> tuple[sites.Conflict, ...]:
    return sites.found(rule, sites.draft(place, loop, settings=Settings(**settings)))


def test_without_a_rating_nothing_is_assumed() -> None:
    assert not _found("drive-limit")
    assert not _found("area-limit")


@pytest.mark.parametrize(("limit_m", "count"), [(120 * SLACK + 0.1, 0), (120 * SLACK - 0.1, 1)])
def test_wire_length_is_held_against_the_rating(limit_m: float, count: int) -> None:
    found = _found("drive-limit", transmitter_max_wire_m=limit_m)
    assert [conflict.measured for conflict in found] == pytest.approx([120 * SLACK] * count)
    assert all(conflict.severity == "must_fix" for conflict in found)


@pytest.mark.parametrize(("share", "count"), [(1.01, 0), (0.99, 1)])
def test_resistance_is_held_against_the_rating(share: float, count: int) -> None:
    """18 AWG copper has 20.948 ohm/km at 20 degrees Celsius (ASTM B258 diameter, IACS copper)."""
    ohms = 0.120 * SLACK * 20.94824
    found = _found("drive-limit", transmitter_max_ohms=ohms * share)
    found = [conflict for conflict in found if conflict.severity == "must_fix"]
    assert [conflict.measured for conflict in found] == pytest.approx([ohms] * count, rel=1e-4)
    assert all("17 AWG" in conflict.remedy for conflict in found)


@pytest.mark.parametrize(("share", "count"), [(1.14, 0), (1.12, 1)])
def test_a_warm_wire_at_the_end_of_its_tolerance_is_told(share: float, count: int) -> None:
    """Copper at 40 degrees has 1 + 0.00393 * 20 of its resistance at 20 (ASTM B258); with 5 % that is 1.1325."""
    found = _found("drive-limit", transmitter_max_ohms=0.120 * SLACK * 20.94824 * share)
    assert [conflict.severity for conflict in found] == ["caution"] * count


@pytest.mark.parametrize(("share", "count"), [(1.01, 0), (0.99, 1)])
def test_impedance_is_held_against_volts_and_amperes(share: float, count: int) -> None:
    """Square of side a: L = (2 mu0 a / pi)(ln(a / rho) - 0.524013) (Rosa; Grover), 10 kHz."""
    radius_m = 1.023687e-3 / 2
    henry = 2 * 4e-7 * 30 * (math.log(30 / radius_m) - 0.524013)
    ohms = math.hypot(0.120 * 0.02094824 * 1000, 2 * math.pi * 10_000 * henry)
    found = _found("drive-limit", transmitter_volts=ohms * share, transmitter_amperes=1.0, slack_percent=0.0)
    assert [conflict.measured for conflict in found] == pytest.approx([ohms] * count, rel=1e-3)


@pytest.mark.parametrize(("area_m2", "count"), [(900.5, 0), (899.5, 1)])
def test_area_is_held_against_the_rating(area_m2: float, count: int) -> None:
    found = _found("area-limit", transmitter_max_area_m2=area_m2)
    assert [conflict.measured for conflict in found] == pytest.approx([900.0] * count)


def test_without_a_rating_the_largest_usual_loop_is_the_limit_and_wide_loops_leave_the_model() -> None:
    for side_m, cautions, notes in ((45.0, 0, 0), (60.0, 0, 1), (math.sqrt(25.1 * ACRE_M2), 1, 1)):
        outline = box(0, 0, side_m, side_m)
        place = sites.site(parcel=outline.buffer(5))
        found = _found("area-limit", loop=sites.loop_of(sites.loop_run(outline)), place=place)
        severities = [conflict.severity for conflict in found]
        assert (severities.count("caution"), severities.count("note")) == (cautions, notes)


@pytest.mark.parametrize(
    ("hertz", "ohm_m", "told"), [(10_000, 100, True), (10_000, 1000, False), (1_000, 100, False), (10_000, 10, True)]
)
def test_currents_in_the_ground_depend_on_frequency_and_soil_and_not_on_size_alone(
    hertz: float, ohm_m: float, told: bool
) -> None:
    outline = box(0, 0, 60, 60)
    found = _found(
        "area-limit",
        loop=sites.loop_of(sites.loop_run(outline)),
        place=sites.site(parcel=outline.buffer(5)),
        frequency_hz=hertz,
        soil_resistivity_ohm_m=ohm_m,
    )
    assert bool(found) is told


def test_the_jacket_changes_the_current_of_a_very_long_wire_and_of_no_other() -> None:
    """25 acres at 10 kHz: about a third (telegraph equations; permittivity of polyethylene from memory)."""
    side_m = math.sqrt(25 * ACRE_M2)
    outline = box(0, 0, side_m, side_m)
    place = sites.site(parcel=outline.buffer(5))
    (conflict,) = _found("current-along-wire", loop=sites.loop_of(sites.loop_run(outline)), place=place)
    assert conflict.measured == pytest.approx(0.33, abs=0.06)
    assert conflict.severity == "caution"
    assert not _found("current-along-wire")


def test_coupling_is_that_of_straight_filaments() -> None:
    """A line beside one side of a long thin loop: parallel filaments (Grover), both long sides counted."""
    outline = box(0, 0, 20, 10)
    line = LineString([(0, -1.2), (20, -1.2)])
    place = sites.site(parcel=outline.buffer(10), utilities=(sites.utility(line),))
    (conflict,) = _found("utility-coupling", loop=sites.loop_of(sites.loop_run(outline)), place=place)

    def parallel(distance_m: float) -> float:
        ratio = distance_m / 20
        return 2e-7 * 20 * (math.asinh(1 / ratio) - math.sqrt(1 + ratio**2) + ratio)

    expected = parallel(math.hypot(1.2, 0.6)) - parallel(math.hypot(11.2, 0.6))
    assert conflict.measured == pytest.approx(expected, rel=1e-6)
    assert f"{2 * math.pi * 10_000 * expected:.2f} V" in conflict.message


def test_segments_of_one_line_couple_as_the_line_does() -> None:
    outline = box(0, 0, 20, 10)
    pieces = [LineString([(first, -1.2), (first + 5, -1.2)]) for first in (0, 5, 10, 15)]
    found = []
    for lines in ([LineString([(0, -1.2), (20, -1.2)])], pieces):
        utilities = tuple(sites.utility(line, id=f"gas-{number}") for number, line in enumerate(lines, start=1))
        place = sites.site(parcel=outline.buffer(10), utilities=utilities)
        (conflict,) = _found("utility-coupling", loop=sites.loop_of(sites.loop_run(outline)), place=place)
        found.append(conflict)
    assert found[1].measured == pytest.approx(found[0].measured, rel=1e-9)
    assert "with 3 more segments" in found[1].message


def test_a_stated_depth_is_that_of_the_coupled_line() -> None:
    outline = box(0, 0, 20, 10)
    line = LineString([(0, -1.2), (20, -1.2)])
    measured = []
    for depth_m in (0.65, 2.05, None):
        place = sites.site(parcel=outline.buffer(10), utilities=(sites.utility(line, depth_m=depth_m),))
        (conflict,) = _found("utility-coupling", loop=sites.loop_of(sites.loop_run(outline)), place=place)
        measured.append(conflict.measured or 0.0)
        assert ("stated depth" in conflict.message) is (depth_m is not None)
    assert measured[0] == pytest.approx(measured[2], rel=1e-9)  # 0.6 m below a wire that is 0.05 m deep
    assert measured[1] < 0.75 * measured[0]


def test_a_square_crossing_in_the_middle_couples_nothing_and_neither_does_plastic() -> None:
    outline = box(0, 0, 20, 10)
    middle = LineString([(10, -5), (10, 15)])
    beside = LineString([(0, -1.2), (20, -1.2)])
    for line, metallic in ((middle, True), (beside, False)):
        place = sites.site(parcel=outline.buffer(10), utilities=(sites.utility(line, metallic=metallic),))
        assert not _found("utility-coupling", loop=sites.loop_of(sites.loop_run(outline)), place=place)
