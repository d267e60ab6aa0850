"""The names of prices and rates, and what is refused.  Costs of whole lists stand in the tests of what is counted."""

from __future__ import annotations

import pytest

from parcelfence.errors import SettingsError
from parcelfence.takeoff.pricing import CREW, PRICES, checked_crew, checked_prices


def test_wire_is_not_paid_twice() -> None:
    with pytest.raises(SettingsError, match=r"prices, feature spool.*by length \(single_wire_per_ft\)"):
        checked_prices({"spool": 40, "single_wire_per_ft": 0.1})


def test_unknown_names_are_answered_with_near_ones() -> None:
    with pytest.raises(SettingsError, match="Did you mean 'flag'"):
        checked_prices({"flags": 1})
    with pytest.raises(SettingsError, match="Did you mean 'trench_m_per_hour'"):
        checked_crew({"trench_m_per_hr": 1})


def test_all_faults_come_at_once() -> None:
    with pytest.raises(SettingsError) as caught:
        checked_crew({"flags_per_hour": 0, "hourly_rate": -1, "setup_hours": float("nan"), "beer": 1})
    assert len(caught.value.faults) == 4
    with pytest.raises(SettingsError, match="conduit_per_m says the same thing"):
        checked_prices({"conduit_per_m": 1, "conduit_per_ft": 1})


def test_every_name_of_the_tables_is_understood() -> None:
    assert checked_prices({name: 2.0 for name in PRICES if name != "spool"}).keys() == PRICES.keys() - {"spool"}
    assert checked_crew(dict.fromkeys(CREW, 2.0)) == dict.fromkeys(CREW, 2.0)
    assert checked_crew({"trench_ft_per_hour": 100.0}) == {"trench_m_per_hour": pytest.approx(30.48)}
