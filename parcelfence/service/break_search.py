"""The next best test for a break, and how many more it will take.

The next test is the one whose outcome is expected to tell most, in bits: the mutual information of the outcome and the
fault.  With tests that never err and all cells alike this is bisection; with tests that err it is the search of
Horstein (1963), which never discards a half but believes less in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.ndimage import correlate1d
from scipy.special import entr, ndtr

from parcelfence.service.break_belief import OUTCOMES, BreakTest, chances, densest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.service.break_belief import BreakBelief, BreakRates

__all__ = ["DIG_M", "LEAST_BITS", "SHARE", "BreakSearch", "RemainingTests"]

DIG_M: Final = 2.0
"""A slot that is dug by hand in one go: where the credible stretch is no longer, one stops testing (from memory)."""
SHARE: Final = 0.9
"""Probability with which a stretch is named, where nothing else is said."""
_MOST_OUTCOMES: Final = max(map(len, OUTCOMES.values()))
LEAST_BITS: Final = 1e-3
"""Less than this no test tells anything: it would take a thousand of them."""
_MOST_TESTS: Final = 60
"""A search that has not ended by then will not end."""
_BITS: Final = 1.0 / np.log(2.0)
_FAR: Final = 5.0
"""Standard errors of a place beyond which it is certain on which side of a break it lies (1 in 3 million)."""


@dataclass(frozen=True, kw_only=True)
class RemainingTests:
    """How many tests are still to be expected, by simulated searches.

    Parameters
    ----------
    mean, median, most : float
        Of the number of tests until the credible stretch is short enough to dig; `most` is not exceeded in 95 of 100.
    ended : float
        Share of the searches that got so far; the others ran out of tests that tell anything.
    """

    mean: float
    median: float
    most: float
    ended: float


@dataclass(frozen=True, kw_only=True, eq=False)
class BreakSearch:
    """All tests that could be done next.

    Parameters
    ----------
    belief : BreakBelief
        Gives the cells, which are all of one length.
    rates : BreakRates
        Rates of error.
    conductors : ndarray of str, shape (n + 1,)
        What lies at each end of a cell: ``""`` single wire, ``"A"`` or ``"B"`` of a pair.  A tone is fed into the first
        terminal, and into the second where conductor B is meant.
    others : tuple of BreakTest
        Further tests, each of which is asked once: a second reading of ohms tells no more than the first.
    """

    belief: BreakBelief
    rates: BreakRates
    conductors: NDArray[np.str_]
    others: tuple[BreakTest, ...]

    def test(self, number: int) -> BreakTest:
        """Give a test by its number: tones at the ends of the cells first, then the others."""
        places_m = self.belief.edges_m
        if number < len(places_m):
            conductor = str(self.conductors[number])
            at_m = float(places_m[number])
            return BreakTest(kind="tone", low_m=at_m, from_start=conductor != "B", on_pair=bool(conductor))
        return self.others[number - len(places_m)]

    def information_bits(self, probability: NDArray[np.float64]) -> NDArray[np.float64]:
        """Compute the expected information of every test.

        Parameters
        ----------
        probability : ndarray, shape (r, h)
            Beliefs.

        Returns
        -------
        ndarray, shape (r, m)
            Mutual information of outcome and fault, in bits.
        """
        tones = self._tone_nats(probability, miss=self.rates.tone_miss)
        for conductor in ("A", "B"):
            own = self.conductors == conductor
            if own.any():
                turned = probability if conductor == "A" else self._turned(probability)
                nats = self._tone_nats(turned, miss=self.rates.pair_miss)
                tones[:, own] = (nats if conductor == "A" else nats[:, ::-1])[:, own]
        outcome = np.einsum("mkh,rh->rmk", self._chance, probability, optimize=True)
        others = entr(outcome).sum(axis=-1) - probability @ entr(self._chance).sum(axis=1).T
        bits: NDArray[np.float64] = np.hstack([tones, others]) * _BITS
        return bits

    def outcome_chance(self, number: int) -> NDArray[np.float64]:
        """Chance of every outcome of a test under every hypothesis, shape (k, h)."""
        return chances(self.test(number), self.belief, rates=self.rates)

    @cached_property
    def _chance(self) -> NDArray[np.float64]:
        """Chance of outcome k of the other tests, shape (m, k, h); zero where a test has fewer outcomes."""
        chance = np.zeros((len(self.others), _MOST_OUTCOMES, len(self.belief.probability)))
        for number, test in enumerate(self.others):
            rows = chances(test, self.belief, rates=self.rates)
            chance[number, : len(rows)] = rows
        return chance

    @cached_property
    def _reached(self) -> NDArray[np.float64]:
        """How surely a tone at an end of a cell is on the near side of a break in the cells around it, shape (2 l,)."""
        cell_m, width_m = float(self.belief.edges_m[1]), self.rates.place_error_m
        reach = math.ceil(_FAR * width_m / cell_m)
        margin_m = (np.arange(-reach, reach) + 0.5) * cell_m
        reached: NDArray[np.float64] = ndtr(margin_m / width_m) if width_m > 0.0 else np.empty(0)
        return reached

    def _turned(self, probability: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give beliefs as they are seen from the second terminal."""
        cells = len(self.belief.edges_m) - 1
        return np.hstack([probability[:, cells - 1 :: -1], probability[:, cells:]])

    def _tone_nats(self, probability: NDArray[np.float64], *, miss: float) -> NDArray[np.float64]:
        """Information of a tone at every end of a cell, shape (r, n + 1): one sum for all, and what differs near it."""
        cells, hit, false = len(self.belief.edges_m) - 1, 1.0 - miss, self.rates.tone_false
        opened = probability[:, :cells]
        before = np.pad(np.cumsum(opened, axis=1), ((0, 0), (1, 0)))
        beyond = before[:, -1:] - before
        whole = 1.0 - before[:, -1:]
        near = self._reached * hit + (1.0 - self._reached) * false
        far = np.where(np.arange(len(near)) < len(near) // 2, false, hit)
        heard = before * false + (beyond + whole) * hit + _around(opened, near - far)
        unsure = before * _entropy(false) + (beyond + whole) * _entropy(hit)
        unsure += _around(opened, _entropy(near) - _entropy(far))
        nats: NDArray[np.float64] = _entropy(heard) - unsure
        return nats

    def remaining(self, belief: BreakBelief, *, searches: int = 100, seed: int = 1963) -> RemainingTests:
        """Simulate searches for faults that are as likely as the belief says.

        Parameters
        ----------
        belief : BreakBelief
            What is known now.
        searches : int
            How many.
        seed : int
            Of the random numbers, so that the same question gets the same answer.

        Returns
        -------
        RemainingTests
            Each search does the most telling test until the credible stretch (:data:`SHARE`) is no longer than
            :data:`DIG_M`, or nothing tells more.
        """
        random = np.random.default_rng(seed)
        truth = random.choice(len(belief.probability), size=searches, p=belief.probability)
        counts, ended, _ = self.search(np.tile(belief.probability, (searches, 1)), truth=truth, random=random)
        done = counts[ended] if ended.any() else counts
        return RemainingTests(
            mean=float(done.mean()),
            median=float(np.median(done)),
            most=float(np.quantile(done, 0.95)),
            ended=float(ended.mean()),
        )

    def search(
        self,
        probability: NDArray[np.float64],
        *,
        truth: NDArray[np.int64],
        random: np.random.Generator,
        dig_m: float = DIG_M,
    ) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.float64]]:
        """Search for many faults at once.

        Parameters
        ----------
        probability : ndarray, shape (r, h)
            What is believed at the start of each search.
        truth : ndarray of int, shape (r,)
            Hypothesis that holds in each.
        random : Generator
            Draws the outcomes.
        dig_m : float
            Length at which a search ends.

        Returns
        -------
        counts : ndarray of int, shape (r,)
            Tests done.
        ended : ndarray of bool, shape (r,)
            Whether the stretch became short enough.
        probability : ndarray, shape (r, h)
            What is believed at the end of each.
        """
        probability = probability.copy()
        counts, ended = np.zeros(len(truth), dtype=np.int64), self._short_enough(probability, dig_m=dig_m)
        tones = len(self.conductors)
        free = np.ones((len(truth), tones + len(self.others)), dtype=bool)
        active = np.flatnonzero(~ended)
        while active.size and counts.max(initial=0) < _MOST_TESTS:
            bits = np.where(free[active], self.information_bits(probability[active]), 0.0)
            best = bits.argmax(axis=1)
            telling = bits[np.arange(active.size), best] > LEAST_BITS
            active, best = active[telling], best[telling]
            for search, number in zip(active, best, strict=True):
                chance = self.outcome_chance(int(number))
                outcome = int((random.random() > np.cumsum(chance[:, truth[search]])).sum().clip(max=len(chance) - 1))
                weights = probability[search] * chance[outcome]
                probability[search] = weights / weights.sum()
            free[active, best] = best < tones
            counts[active] += 1
            ended[active] = self._short_enough(probability[active], dig_m=dig_m)
            active = active[~ended[active]]
        return counts, ended, probability

    def _short_enough(self, probability: NDArray[np.float64], *, dig_m: float) -> NDArray[np.bool_]:
        """Tell in which searches the credible stretch can be dug, or the fault is not in the wire at all."""
        cells = len(self.belief.edges_m) - 1
        located = probability[:, :cells] + probability[:, cells : 2 * cells]
        lengths_m = np.diff(self.belief.edges_m)
        held = densest(located, lengths_m, share=SHARE)
        short: NDArray[np.bool_] = (held * lengths_m).sum(axis=1) <= dig_m
        return short | (probability[:, -1] >= SHARE)


def _around(opened: NDArray[np.float64], kernel: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum a kernel over the cells around every end of a cell, shape (r, n + 1); nothing lies beyond the ends."""
    if not len(kernel):
        return np.zeros((len(opened), opened.shape[1] + 1))
    half = len(kernel) // 2
    padded = np.pad(opened, ((0, 0), (half, half)))
    summed = correlate1d(padded, kernel, axis=1, mode="constant", origin=0)
    around: NDArray[np.float64] = summed[:, half : half + opened.shape[1] + 1]
    return around


def _entropy(chance: Any) -> Any:
    """Entropy of a yes or no, in nats."""
    return entr(chance) + entr(1.0 - chance)
