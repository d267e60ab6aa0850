"""Beliefs are probabilities, and what a test says follows Bayes' rule."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parcelfence.errors import SettingsError
from parcelfence.service.break_belief import OUTCOMES, BreakBelief, BreakRates, BreakTest, chances
from tests.service.wires import even_belief

RATES = BreakRates()
TESTS = (
    BreakTest(kind="tone", low_m=30.0),
    BreakTest(kind="tone", low_m=30.0, from_start=False, fade_m=5.0),
    BreakTest(kind="resistance", low_m=0.0, high_m=40.0),
    BreakTest(kind="movement", places_m=(12.0, 50.0), radius_m=1.5),
    BreakTest(kind="exposed", places_m=(12.0,), radius_m=1.5),
    BreakTest(kind="test_loop"),
)
EVEN = BreakBelief.of(np.linspace(0.0, 60.0, 61), opened=np.ones(60), weak=np.full(60, 0.2), elsewhere=5.0)


@pytest.mark.parametrize("test", TESTS, ids=lambda test: test.kind)
def test_the_outcomes_of_every_test_are_all_there_are(test: BreakTest) -> None:
    chance = chances(test, EVEN, rates=RATES)
    assert chance.shape == (len(OUTCOMES[test.kind]), 121)
    assert chance.min() >= 0.0
    assert chance.sum(axis=0) == pytest.approx(np.ones(121))


@pytest.mark.parametrize("test", TESTS, ids=lambda test: test.kind)
def test_what_is_expected_before_a_test_is_what_is_believed(test: BreakTest) -> None:
    chance = chances(test, EVEN, rates=RATES)
    outcome = chance @ EVEN.probability
    after = sum(share * EVEN.after(row).probability for share, row in zip(outcome, chance, strict=True))
    assert after == pytest.approx(EVEN.probability, abs=1e-12)


def test_a_heard_tone_moves_the_belief_beyond_it() -> None:
    sure = replace(RATES, tone_miss=0.0, tone_false=0.0, place_error_m=0.0)
    after = even_belief(10).after(chances(BreakTest(kind="tone", low_m=4.0), even_belief(10), rates=sure)[0])
    assert after.located == pytest.approx([0.0] * 4 + [1 / 6] * 6)


def test_from_the_other_terminal_all_is_turned_round() -> None:
    belief = even_belief(20)
    here = chances(BreakTest(kind="tone", low_m=8.0, fade_m=2.0), belief, rates=RATES)
    there = chances(BreakTest(kind="tone", low_m=12.0, fade_m=2.0, from_start=False), belief, rates=RATES)
    assert here[:, :20] == pytest.approx(there[:, 19::-1])


def test_a_weak_joint_carries_the_tone_but_shows_in_its_ohms() -> None:
    tone = chances(TESTS[0], EVEN, rates=RATES)[0]
    assert tone[60:120] == pytest.approx(np.full(60, 1.0 - RATES.tone_miss))
    ohms = chances(TESTS[2], EVEN, rates=RATES)
    assert ohms[1, 60:100].min() > 0.8
    assert ohms[1, 100:120].max() < 0.02


def test_only_a_test_loop_that_fails_accuses_the_transmitter() -> None:
    chance = chances(BreakTest(kind="test_loop"), EVEN, rates=RATES)
    assert EVEN.after(chance[1]).elsewhere > 0.7
    assert EVEN.after(chance[0]).elsewhere < 0.01


@given(
    weights=st.lists(st.floats(0.0, 1.0), min_size=3, max_size=40).filter(lambda weights: sum(weights) > 0.01),
    share=st.floats(0.05, 0.99),
)
def test_the_credible_set_holds_its_share_and_no_cell_too_many(weights: list[float], share: float) -> None:
    opened = np.array(weights)
    belief = BreakBelief.of(
        np.arange(len(opened) + 1, dtype=float), opened=opened, weak=np.zeros(len(opened)), elsewhere=0.0
    )
    chosen = belief.in_credible_set(share)
    held = belief.located[chosen]
    assert held.sum() >= share - 1e-9
    assert held.sum() - held.min() < share + 1e-9
    assert sum(high - low for low, high in belief.credible_stretches(share)) == pytest.approx(chosen.sum())


def test_rates_that_cannot_be_are_refused() -> None:
    with pytest.raises(SettingsError, match=r"tone_miss = 1\.5"):
        BreakRates.replaced({"tone_miss": 1.5})
    with pytest.raises(SettingsError, match="Did you mean 'tone_miss'"):
        BreakRates.replaced({"tone_mis": 0.1})
    assert BreakRates.replaced({"splice_as_m": 5.0}).splice_as_m == pytest.approx(5.0)
