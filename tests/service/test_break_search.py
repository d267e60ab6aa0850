"""The most telling test has the greatest mutual information, computed here a second time in the plain way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parcelfence.service.break_belief import BreakBelief, BreakRates, BreakTest, chances
from parcelfence.service.break_search import BreakSearch
from tests.service.wires import even_belief

if TYPE_CHECKING:
    from numpy.typing import NDArray

OTHERS = (BreakTest(kind="resistance", low_m=0.0, high_m=13.0), BreakTest(kind="test_loop"))


def bench(belief: BreakBelief, rates: BreakRates) -> BreakSearch:
    return BreakSearch(belief=belief, rates=rates, conductors=conductors_of(belief), others=OTHERS)


def conductors_of(belief: BreakBelief) -> NDArray[np.str_]:
    """Lay a pair at both ends, and single wire between."""
    conductors = np.full(len(belief.edges_m), "")
    conductors[:9], conductors[-9:] = "A", "B"
    return conductors


def plain_bits(test: BreakTest, belief: BreakBelief, *, rates: BreakRates) -> float:
    """Mutual information as the mean of log2 of the joint over the product, term by term."""
    bits = 0.0
    chance = chances(test, belief, rates=rates)
    for row in chance:
        outcome = float(row @ belief.probability)
        for one, share in zip(row, belief.probability, strict=True):
            if one > 0.0 and share > 0.0:
                bits += one * share * np.log2(one / outcome)
    return bits


@settings(max_examples=25)
@given(
    seed=st.integers(0, 10_000),
    miss=st.sampled_from([0.0, 0.05, 0.3]),
    false=st.sampled_from([0.0, 0.1]),
    width_m=st.sampled_from([0.0, 0.4, 2.0]),
)
def test_information_agrees_with_its_definition(seed: int, miss: float, false: float, width_m: float) -> None:
    random = np.random.default_rng(seed)
    belief = BreakBelief.of(
        np.linspace(0.0, 24.0, 49), opened=random.random(48), weak=random.random(48) * 0.2, elsewhere=random.random()
    )
    rates = BreakRates(tone_miss=miss, tone_false=false, place_error_m=width_m)
    found = bench(belief, rates).information_bits(belief.probability[None])[0]
    for number in (1, 7, 24, 40, 48, 49, 50):
        expected = plain_bits(bench(belief, rates).test(number), belief, rates=rates)
        assert found[number] == pytest.approx(expected, abs=1e-6)


def test_the_same_question_gets_the_same_answer() -> None:
    belief = even_belief(100)
    one = bench(belief, BreakRates())
    assert one.remaining(belief, searches=20) == one.remaining(belief, searches=20)


def test_a_search_ends_where_the_break_is() -> None:
    belief = even_belief(200, cell_m=0.5)
    random = np.random.default_rng(7)
    truth = random.integers(0, 200, size=100)
    one = BreakSearch(belief=belief, rates=BreakRates(), conductors=np.full(201, ""), others=())
    counts, ended, after = one.search(np.tile(belief.probability, (100, 1)), truth=truth, random=random)
    assert ended.all()
    assert 6 <= np.median(counts) <= 15
    final = [BreakBelief(edges_m=belief.edges_m, probability=row) for row in after]
    right = [one.in_credible_set(0.9)[cell] for one, cell in zip(final, truth, strict=True)]
    assert np.mean(right) > 0.83  # 90 of 100 within three standard errors and a half of a count
