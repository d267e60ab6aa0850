"""How lengths, places and names are written for a person."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from parcelfence.settings import Settings
from parcelfence.wording import Wording, feature_name, listing, name_once, run_name, utility_name


@dataclass(frozen=True)
class _Run:
    part: str = "inner_loop"
    loop_id: str = "K1"


@dataclass(frozen=True)
class _Stretch:
    start_m: float
    end_m: float
    run: _Run = _Run()

    @property
    def station_m(self) -> float:
        return (self.start_m + self.end_m) / 2

    @property
    def length_m(self) -> float:
        return self.end_m - self.start_m


@dataclass(frozen=True)
class _Feature:
    id: str
    kind: str


METRIC, US = Wording(Settings()), Wording(Settings(units="us"))


def test_lengths_are_written_as_fine_as_they_are_laid() -> None:
    assert METRIC.length(2.456) == "2.46 m"
    assert US.length(0.3048 * 2.46) == "2.5 ft"


def test_small_areas_are_not_fractions_of_an_acre() -> None:
    assert US.area(0.3048**2 * 250) == "250.0 sq ft"
    assert "acre" in US.area(4046.86 * 2)


def test_a_short_stretch_is_one_place_and_a_long_one_two() -> None:
    assert METRIC.along(_Stretch(10.0, 10.4)) == "at station 0+010.2"
    assert METRIC.along(_Stretch(10.0, 14.0)) == "between stations 0+010.0 and 0+014.0"


def test_the_run_is_named_where_there_are_several() -> None:
    several = Wording(Settings(), several_runs=True)
    assert several.at(_Run(), station_m=3.0) == "at station 0+003.0 of inner loop K1"
    assert run_name(_Run("lead_in", "T1")) == "lead-in T1"


@pytest.mark.parametrize(
    ("feature", "name"),
    [
        (_Feature("building 7", "building"), "building 7"),
        (_Feature("7", "tool_shed"), "tool shed 7"),
    ],
)
def test_a_feature_is_named_once(feature: _Feature, name: str) -> None:
    assert feature_name(feature) == name


def test_an_unknown_line_says_so() -> None:
    assert utility_name(_Feature("u-1", "unknown")) == "utility of unknown kind u-1"
    assert utility_name(_Feature("g-1", "gas")) == "gas line g-1"


def test_long_lists_end_in_a_count() -> None:
    assert listing(["a", "b"]) == "a, b"
    assert listing(list("abcdef")) == "a, b, c, d and 2 more"


@pytest.mark.parametrize(
    ("noun", "identifier", "named"),
    [
        ("parcel", "31-07", "parcel 31-07"),
        ("parcel", "parcel 1", "parcel 1"),
        ("Parcel", "parcel 1", "Parcel 1"),
        ("building", "Building 7", "building 7"),
        ("building", "garage", "building garage"),
    ],
)
def test_a_noun_is_said_once(noun: str, identifier: str, named: str) -> None:
    assert name_once(noun, identifier) == named


def test_how_far_away_things_are_has_two_figures() -> None:
    assert METRIC.away(340.2) == "; the nearest lies 340 m away"
    assert METRIC.away(3_440.0) == "; the nearest lies 3.4 km away"
    assert US.away(500_000.0) == "; the nearest lies 311 miles away"
    assert not METRIC.away(None)
