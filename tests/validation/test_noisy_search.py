"""The search for a break against what is published about searching with answers that may be wrong.

Certain answers: bisection of n cells takes ceil(log2 n) questions, no more and, in the worst case, no fewer.

Noisy answers (error rate p): M. Horstein, *Sequential transmission using noiseless feedback*, IEEE Transactions on
Information Theory 9 (1963), asks at the median of the belief; each answer then tells the capacity of the binary
symmetric channel, 1 - H(p) bits (Shannon 1948).  M. V. Burnashev and K. Sh. Zigangirov, *An interval estimation problem
for controlled observations*, Problems of Information Transmission 10 (1974), bound the chance that the search of n
questions misses by more than the width d: (1 - d) / d * (1 / 2 + sqrt(p (1 - p)))^n, as restated by R. Castro and
R. Nowak, *Active learning and sampling* (2008).  Both from memory.

The posterior is also checked against a Monte Carlo that shares no code with it: breaks drawn, answers drawn, those kept
that answered as was seen.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from parcelfence.service.break_belief import BreakBelief, BreakRates, BreakTest, chances
from parcelfence.service.break_search import BreakSearch
from tests.service.wires import even_belief

CERTAIN = BreakRates(tone_miss=0.0, tone_false=0.0, place_error_m=0.0)


def tones(belief: BreakBelief, rates: BreakRates) -> BreakSearch:
    return BreakSearch(belief=belief, rates=rates, conductors=np.full(len(belief.edges_m), ""), others=())


@pytest.mark.parametrize("cells", [2, 3, 5, 8, 13, 16, 17, 31, 64, 100])
def test_certain_answers_make_it_bisection(cells: int) -> None:
    belief = even_belief(cells)
    truth = np.arange(cells)
    counts, ended, after = tones(belief, CERTAIN).search(
        np.tile(belief.probability, (cells, 1)), truth=truth, random=np.random.default_rng(1), dig_m=1.0
    )
    assert ended.all()
    assert counts.max() == math.ceil(math.log2(cells))
    assert after[truth, truth] == pytest.approx(np.ones(cells))


@pytest.mark.parametrize("error", [0.02, 0.1, 0.2])
def test_a_noisy_answer_tells_the_capacity_of_its_channel(error: float) -> None:
    capacity = 1.0 + error * math.log2(error) + (1.0 - error) * math.log2(1.0 - error)
    rates = BreakRates(tone_miss=error, tone_false=error, place_error_m=0.0)
    belief = even_belief(1024)
    told = tones(belief, rates).information_bits(belief.probability[None])[0]
    assert told.max() == pytest.approx(capacity, abs=1e-9)
    assert told.argmax() == 512
    for place in (100, 900, 300, 700):  # nothing tells more than the capacity, whatever is believed by then
        belief = belief.after(chances(BreakTest(kind="tone", low_m=float(place)), belief, rates=rates)[place % 2])
        told = tones(belief, rates).information_bits(belief.probability[None])[0]
        assert told.max() <= capacity + 1e-12
        assert told.max() > 0.98 * capacity


@pytest.mark.parametrize(("error", "questions"), [(0.05, 20), (0.1, 30), (0.2, 60)])
def test_it_misses_no_more_often_than_burnashev_and_zigangirov_allow(error: float, questions: int) -> None:
    cells, searches = 50, 400
    rates = BreakRates(tone_miss=error, tone_false=error, place_error_m=0.0)
    belief, random = even_belief(cells), np.random.default_rng(1974)
    one = tones(belief, rates)
    truth = random.integers(0, cells, size=searches)
    after = np.tile(belief.probability, (searches, 1))
    for _ in range(questions):
        place = one.information_bits(after)[:, : cells + 1].argmax(axis=1)
        beyond = truth >= place
        heard = np.where(random.random(searches) < error, ~beyond, beyond)  # the channel itself, not our chances
        after *= np.where((np.arange(len(belief.probability)) >= place[:, None]) == heard[:, None], 1 - error, error)
        after /= after.sum(axis=1, keepdims=True)
    missed = np.mean(after[:, :cells].argmax(axis=1) != truth)
    bound = (cells - 1) * (0.5 + math.sqrt(error * (1.0 - error))) ** questions
    assert bound < 1.0
    assert missed <= bound + 3.0 * math.sqrt(bound * (1.0 - bound) / searches)


def test_the_belief_agrees_with_breaks_drawn_at_random() -> None:
    """By rejection: draw a break, draw the answers, keep it if they are those that were seen."""
    random = np.random.default_rng(7)
    miss, false, width_m, draws, length_m = 0.1, 0.15, 1.5, 1_500_000, 40.0
    breaks_m = random.random(draws) * length_m
    kept = np.ones(draws, dtype=bool)
    for place_m, seen in ((12.0, True), (30.0, False), (22.0, True)):
        reaches = breaks_m - (place_m + width_m * random.standard_normal(draws)) > 0.0  # the place is known so well
        heard = np.where(reaches, random.random(draws) >= miss, random.random(draws) < false)
        kept &= heard == seen
    drawn, _ = np.histogram(breaks_m[kept], bins=40, range=(0.0, length_m))

    rates = BreakRates(tone_miss=miss, tone_false=false, place_error_m=width_m)
    belief = even_belief(400, cell_m=0.1)
    for place_m, outcome in ((12.0, 0), (30.0, 1), (22.0, 0)):
        belief = belief.after(chances(BreakTest(kind="tone", low_m=place_m), belief, rates=rates)[outcome])
    expected = belief.located.reshape(40, 10).sum(axis=1) * kept.sum()
    assert kept.sum() > 100_000
    assert np.abs(drawn - expected).max() < 4.5 * np.sqrt(expected.max())
    assert ((drawn - expected) ** 2 / expected).sum() < 40 + 4 * math.sqrt(80)  # chi squared with 39 degrees
