"""The settings as data."""

from __future__ import annotations

from parcelfence.setting_info import describe_settings, setting_groups
from parcelfence.settings import Settings


def test_every_setting_stands_in_one_group() -> None:
    groups = setting_groups()
    assert [name for names in groups.values() for name in names] == list(Settings.model_fields)
    assert all(groups.values())


def test_a_setting_is_described_by_its_own_field() -> None:
    found = {info.name: info for info in describe_settings()}
    assert list(found) == list(Settings.model_fields)
    reach, units, volts = found["reach_m"], found["units"], found["transmitter_volts"]
    assert (reach.short, reach.kind, reach.unit, reach.default_text, reach.limits) == (
        "reach", "length", "m", "2 m", ">= 0.1, <= 30",
    )  # fmt: skip
    assert (units.kind, units.choices) == ("choice", ("metric", "us"))
    assert (volts.default, volts.default_text, volts.limits) == (None, "", "> 0, <= 1000")
    assert found["crossing_tolerance_deg"].limits == "> 0, <= 45"
    assert found["lot_line_setback_m"].default_text == "reach + 0.3 m"


def test_the_default_that_is_shown_is_the_one_that_is_used() -> None:
    settings = Settings()
    for info in describe_settings():
        if info.default is not None:
            assert getattr(settings, info.name) == info.default
