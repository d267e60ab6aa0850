"""Tape ties: what the two tapes say leads back to the point, by a computation that shares nothing with the choice."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from parcelfence.takeoff.flags import Flag
from parcelfence.takeoff.ties import TAPE_ERROR_M, Tie, flag_rows, within_95
from parcelfence.units import METRIC, US
from tests.sample import sample_plan, sample_site

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.takeoff.tape_marks import TapeMark

SIDES = {"east": 0, "north-east": 45, "north": 90, "north-west": 135, "west": 180}
SIDES |= {"south-west": 225, "south": 270, "south-east": 315}


Circle = tuple["NDArray[np.float64]", float]


@cache
def sample_ties() -> tuple[Tie, ...]:
    return sample_plan().take_off.ties


def taped(tie: Tie, *, first_m: float, second_m: float) -> NDArray[np.float64]:
    """Find a point as a crew does: swing the two tapes, take the meeting that lies farther to the side that is said.

    Circles by the law of cosines, lines by their normals.
    """
    both = (tie.first, first_m), (tie.second, second_m)
    lines = [_beside(mark, length_m=length_m) for mark, length_m in both if isinstance(mark.geometry, LineString)]
    circles = [
        (shapely.get_coordinates(mark.geometry)[0], length_m) for mark, length_m in both if mark.geometry.length == 0
    ]
    if len(lines) == 2:
        return np.linalg.solve(np.array([lines[0][0], lines[1][0]]), np.array([lines[0][1], lines[1][1]]))
    meetings = _circle_and_line(circles[0], lines[0]) if lines else _two_circles(*circles)
    angle = math.radians(SIDES[tie.side])
    best: NDArray[np.float64] = meetings[(meetings @ [math.cos(angle), math.sin(angle)]).argmax()]
    return best


def _circle_and_line(circle: Circle, line: tuple[NDArray[np.float64], float]) -> NDArray[np.float64]:
    (centre, radius_m), (normal, offset) = circle, line
    away_m = offset - float(normal @ centre)
    half_m = math.sqrt(radius_m**2 - away_m**2)
    meetings: NDArray[np.float64] = centre + normal * away_m + np.outer([half_m, -half_m], [-normal[1], normal[0]])
    return meetings


def _two_circles(one: Circle, other: Circle) -> NDArray[np.float64]:
    base = other[0] - one[0]
    between_m = math.hypot(*base)
    cosine = (one[1] ** 2 + between_m**2 - other[1] ** 2) / (2 * one[1] * between_m)
    turns = math.atan2(base[1], base[0]) + math.acos(cosine) * np.array([1, -1])
    meetings: NDArray[np.float64] = one[0] + one[1] * np.column_stack([np.cos(turns), np.sin(turns)])
    return meetings


def _beside(mark: TapeMark, *, length_m: float) -> tuple[NDArray[np.float64], float]:
    """Give normal and offset of the line at a distance from a lot line, on the side of the lot."""
    start, end = shapely.get_coordinates(mark.geometry)
    normal = np.array([start[1] - end[1], end[0] - start[0]]) / math.dist(start, end)
    if not sample_site().parcel.contains(Point((start + end) / 2 + 0.5 * normal)):
        normal = -normal
    return normal, float(normal @ start) + length_m


def test_the_sample_has_ties_for_all_that_is_staked() -> None:
    plan, found = sample_plan(), sample_ties()
    names = [tie.name for tie in found]
    assert len(names) == len(set(zip(names, (tie.loop_id for tie in found), strict=True)))
    assert {f"X{number}" for number in range(1, len(plan.crossings) + 1)} <= set(names)
    assert {f"splice {splice.id}" for splice in plan.take_off.sequence.splices} <= set(names)
    for row in flag_rows(plan.take_off.flags):
        assert {f"flag {row[0].flag}", f"flag {row[-1].flag}"} <= set(names)


def test_strings_from_bend_to_bend_lie_beside_the_wire() -> None:
    for run in sample_plan().loop.runs:
        own = [tie for tie in sample_ties() if tie.kind == "bend" and tie.loop_id == run.loop_id]
        at_m = [tie.station_m - run.start_station_m for tie in own if run.line.distance(tie.point) < 1e-6]
        places = [run.line.interpolate(at) for at in sorted({0.0, *at_m, run.line.length})]
        assert LineString(places).hausdorff_distance(run.line) <= 0.15 + 1e-6


def test_the_written_distances_lead_back_to_the_point() -> None:
    for tie in sample_ties():
        for units, step_m in ((US, 0.3048 / 48), (METRIC, 0.005)):
            first_m, second_m = (_read(units.tape(length_m)) for length_m in (tie.first_m, tie.second_m))
            assert abs(first_m - tie.first_m) <= step_m + 1e-9
            place = taped(tie, first_m=first_m, second_m=second_m)
            most_m = 1.5 * step_m / math.sqrt(1 - math.cos(math.radians(tie.cut_deg)))
            assert Point(place).distance(tie.point) <= most_m + 0.002, tie


def _read(text: str) -> float:
    found = re.fullmatch(r"([\d,]+) ft (\d+)( 1/2)? in", text)
    if found is None:
        return float(text.removesuffix(" m").replace(",", ""))
    return (float(found[1].replace(",", "")) + (float(found[2]) + (0.5 if found[3] else 0.0)) / 12) * 0.3048


def test_95_of_100_points_come_out_within_5_cm_at_1_cm_of_tape_error() -> None:
    rng = np.random.default_rng(12)
    off_m = []
    for tie in sample_ties():
        for _ in range(4):
            first_m, second_m = np.array([tie.first_m, tie.second_m]) + rng.normal(0.0, TAPE_ERROR_M, 2)
            place = taped(tie, first_m=max(first_m, 0.02), second_m=max(second_m, 0.02))
            off_m.append(Point(place).distance(tie.point))
    assert np.mean(np.array(off_m) <= 0.05) >= 0.95
    worst = max(sample_ties(), key=lambda tie: tie.within_m)
    assert worst.within_m < 0.08, f"{worst.name}: {worst.within_m:.3f} m"


@pytest.mark.parametrize("cut_deg", [90, 60, 45, 30, 15])
def test_the_stated_radius_holds_95_of_100_points(cut_deg: float) -> None:
    rng, cut = np.random.default_rng(3), math.radians(cut_deg)
    errors = rng.normal(size=(200_000, 2))
    ways = np.array([[1.0, 0.0], [math.cos(cut), math.sin(cut)]])
    off = np.linalg.norm(np.linalg.solve(ways, errors.T), axis=0)
    assert np.mean(off <= within_95(cut)) == pytest.approx(0.95, abs=0.012)


def test_tapes_pass_through_no_building() -> None:
    walls = shapely.union_all([building.geometry for building in sample_site().buildings]).buffer(-0.06)
    for tie in sample_ties():
        assert not tie.line.intersects(walls), tie
        assert tie.line.length == pytest.approx(tie.first_m + tie.second_m)


def test_marks_are_numbered_in_the_order_of_use_and_found_by_their_words() -> None:
    marks = list(dict.fromkeys(mark for tie in sample_ties() for mark in (tie.first, tie.second)))
    assert sorted(mark.tag for mark in marks) == sorted(f"P{number}" for number in range(1, len(marks) + 1))
    for mark in marks:
        assert re.fullmatch(r"(north|south|east|west)(-(east|west))? (corner of the .+|lot pin|lot line)", mark.words)


def test_rows_of_flags_are_straight_and_share_their_ends() -> None:
    square = LineString([(0, 0), (9, 0), (9, 9), (0, 9)])
    points = [square.interpolate(at) for at in range(0, 28, 3)]
    flags = [Flag(flag=n, point=p, loop_id="L1", station_m=3.0 * n, removal_round=1) for n, p in enumerate(points, 1)]
    assert [[flag.flag for flag in row] for row in flag_rows(flags)] == [[1, 2, 3, 4], [4, 5, 6, 7], [7, 8, 9, 10]]
    assert flag_rows([]) == ()
