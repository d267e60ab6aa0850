from __future__ import annotations

import pytest

from parcelfence.errors import SettingsError
from parcelfence.settings import Settings, setting_groups, short_name


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


def test_settings_are_frozen() -> None:
    with pytest.raises(ValueError, match="frozen"):
        Settings().reach_m = 3.0  # type: ignore[misc]


def test_every_fault_is_reported_at_once_with_a_near_match() -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_words({"reech": 2, "bend_radius": -1, "slack": "much", "utility_separation": "5 cubits"})
    message = str(caught.value)
    assert len(caught.value.faults) == 4
    assert "did you mean 'reach'" in message.casefold()
    for words in ("bend_radius", "greater than 0", "slack", "cubits"):
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


def test_every_setting_stands_in_one_group() -> None:
    groups = setting_groups()
    assert [name for names in groups.values() for name in names] == list(Settings.model_fields)
    assert all(groups.values())
