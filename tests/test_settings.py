from __future__ import annotations

import re
import typing

import pytest

from parcelfence.errors import SettingsError
from parcelfence.settings import Settings, short_name


def test_clearances_follow_the_reach_until_they_are_given() -> None:
    assert Settings().lot_line_setback_m == pytest.approx(2.3)
    settings = Settings.from_words({"reach": "8 ft"})
    assert settings.reach_m == pytest.approx(2.4384)
    assert settings.lot_line_setback_m == settings.building_clearance_m == pytest.approx(2.7384)
    assert settings.replaced(reach_m=1.0).lot_line_setback_m == pytest.approx(1.3)
    given = Settings.from_words({"reach": "8 ft", "lot-line-setback": "10 ft"})
    assert given.replaced(reach_m=1.0).lot_line_setback_m == pytest.approx(3.048)


def test_stations_follow_the_units_until_they_are_given() -> None:
    assert Settings(units="us").station_format == "us"
    assert Settings(units="us").replaced(units="metric").station_format == "metric"
    assert Settings(units="us", station_format="metric").replaced(reach_m=1.0).station_format == "metric"


@pytest.mark.parametrize("reach", ["6 ft", "6'", "5 ft 6 in", "72 in", "2 yd"])
def test_a_reach_in_feet_makes_everything_speak_of_feet(reach: str) -> None:
    settings = Settings.from_words({"reach": reach})
    assert (settings.units, settings.station_format) == ("us", "us")
    feet = settings.station_interval_m, settings.flag_spacing_min_m, settings.flag_spacing_max_m
    assert [length_m / 0.3048 for length_m in feet] == pytest.approx([25, 8, 10])
    assert settings.replaced(reach_m=1.0).units == "us"


@pytest.mark.parametrize("reach", [2, "2", "2 m", "180 cm"])
def test_a_reach_in_metres_or_without_a_unit_is_metric(reach: str | float) -> None:
    settings = Settings.from_words({"reach": reach})
    assert (settings.units, settings.station_interval_m) == ("metric", 10.0)


def test_units_that_are_given_win_over_those_of_the_reach() -> None:
    settings = Settings.from_words({"reach": "6 ft", "units": "metric"})
    assert (settings.units, settings.station_format, settings.station_interval_m) == ("metric", "metric", 10.0)
    assert settings.reach_m == pytest.approx(1.8288)
    assert Settings.from_words({"reach": "2 m", "units": "us"}).station_format == "us"


def test_settings_are_frozen() -> None:
    with pytest.raises(ValueError, match="frozen"):
        Settings().reach_m = 3.0  # type: ignore[misc]


def test_every_fault_is_reported_at_once_with_a_near_match() -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_words({"reech": 2, "bend_radius": -1, "slack": "much", "utility_separation": "5 cubits"})
    message = str(caught.value)
    assert len(caught.value.faults) == 4
    assert "did you mean 'reach'" in message.casefold()
    for words in ("bend_radius", "at least 0.05 m", "slack", "cubits"):
        assert words in message


def test_settings_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(SettingsError, match="must not exceed flag_spacing_max"):
        Settings.from_words({"flag_spacing_min": "4 m", "flag_spacing_max": "3 m"})


def test_every_setting_is_described_and_its_short_name_is_unique() -> None:
    fields = Settings.model_fields
    assert all(field.description for field in fields.values())
    assert len({short_name(name) for name in fields}) == len(fields)


@pytest.mark.parametrize("reach", ["far", "-3 ft", 0])
def test_a_reach_that_is_none_is_said_so_once(reach: str | float) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_words({"reach": reach})
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("station_interval", 1e-9, "at least 0.1 m"),
        ("spool_length", "1e-9", "at least 1 m"),
        ("reach", "400 m", "at most 30 m"),
        ("reach", 0.05, "at least 0.1 m"),
        ("flag_spacing_min", 1e-6, "at least 0.3 m"),
        ("bend_radius", "1 mm", "at least 0.05 m"),
        ("frequency", 1e12, "at most 1e+06 hz"),
        ("slack", 90, "at most 25 %"),
        ("crossing_tolerance", 0, "more than 0 deg"),
    ],
)
def test_every_setting_has_a_least_and_a_most_in_words(name: str, value: object, words: str) -> None:
    with pytest.raises(SettingsError, match=re.escape(words)) as caught:
        Settings.from_words({name: value})
    assert len(caught.value.faults) == 1


def test_no_number_or_length_is_without_bounds() -> None:
    for name, field in Settings.model_fields.items():
        kinds = {int, float} & {field.annotation, *typing.get_args(field.annotation)}
        if kinds and field.annotation is not bool:
            bounds = {type(one).__name__ for one in field.metadata}
            assert bounds & {"Le", "Lt"}, name
            assert bounds & {"Ge", "Gt"}, name
