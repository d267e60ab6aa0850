from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.errors import SettingsError
from parcelfence.settings import Settings, short_name
from parcelfence.units import ACRE_M2, METRIC, US, US_SURVEY_FOOT_M, parse_area_m2, parse_length_m, rough_percent


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("8 ft", 2.4384),
        ("8'", 2.4384),
        ("6' 6\"", 1.9812),
        ("5ft 6in", 1.6764),
        ("36 in", 0.9144),
        ("2.4 m", 2.4),
        ("  2.4m ", 2.4),
        ("60 cm", 0.6),
        (2, 2.0),
        (2.5, 2.5),
        ("2.5", 2.5),
        ("1e-3 km", 1.0),
        ("3 feet", 0.9144),
        ("1 yd.", 0.9144),
    ],
)
def test_lengths(text: str | float, metres: float) -> None:
    assert parse_length_m(text) == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("slack_percent", "3 %", 3.0),
        ("slack_percent", "3%", 3.0),
        ("frequency_hz", "10 kHz", 10_000.0),
        ("crossing_tolerance_deg", "10 degrees", 10.0),
        ("crossing_tolerance_deg", "12°", 12.0),
        ("receiver_delay_s", "300 ms", 0.3),
        ("animal_speed_m_per_s", "10 mph", 4.4704),
        ("wire_temperature_c", "-5 C", -5.0),
        ("transmitter_amperes", "60 mA", 0.06),
        ("transmitter_volts", "9 V", 9.0),
    ],
)
def test_settings_take_the_unit_of_their_name(name: str, text: str, value: float) -> None:
    assert getattr(Settings.from_words({short_name(name): text}), name) == pytest.approx(value, rel=1e-12)


def test_a_unit_of_another_kind_is_refused() -> None:
    for name, text in (("receiver_delay", "6 in"), ("slack", "3 ft"), ("frequency", "10 s"), ("burial_depth", "3 %")):
        with pytest.raises(SettingsError, match="not known"):
            Settings.from_words({name: text})


def test_feet_and_acres_are_the_published_ones() -> None:
    """NIST Special Publication 811: foot 0.3048 m exactly, US survey foot 1200/3937 m."""
    assert parse_length_m("1 ft") == 0.3048
    assert pytest.approx(0.304800609601, abs=5e-13) == US_SURVEY_FOOT_M
    assert pytest.approx(4046.8564224) == ACRE_M2
    assert parse_area_m2("25 acres") == pytest.approx(101171.41056)


@pytest.mark.parametrize("text", ["", "eight", "8 parsecs", "8 ft 3 m", "nan", "inf", True, "--3", "1,5 m"])
def test_what_is_no_length_is_refused_with_an_example(text: str | bool) -> None:
    with pytest.raises(SettingsError):
        parse_length_m(text)


@given(st.floats(0.001, 1e5))
def test_a_written_length_reads_back(metres: float) -> None:
    for system in (US, METRIC):
        assert parse_length_m(system.length(metres, digits=6).replace(",", "")) == pytest.approx(metres, abs=1e-6)


def test_quantities_are_written_for_people() -> None:
    assert US.length(2.4384) == "8.0 ft"
    assert METRIC.length(1234.56) == "1,234.6 m"
    assert US.area(ACRE_M2) == "1.00 acres"


def test_an_estimated_share_is_written_roughly() -> None:
    assert [rough_percent(share) for share in (0.01, 0.21, 0.98, 1.05)] == ["5 %", "20 %", "100 %", "100 % and more"]
