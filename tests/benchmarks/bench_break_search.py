"""The search for a break over a thousand simulated ones, against plain halving, and whether stated odds hold.

Run it with ``python -m tests.benchmarks.bench_break_search``.  Breaks are drawn from the stated rates on the wire of
the sample property, and once more evenly along the wire, which the search does not know.  Tests err by the stated
rates; a tone also errs by the half metre by which a place is known.  Plain halving seeks the tone in the middle of what
is left and believes each answer; the careful one asks three times and takes the majority.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from parcelfence.service.break_belief import BreakBelief, BreakRates
from parcelfence.service.break_finding import search_of
from parcelfence.service.break_search import DIG_M
from parcelfence.service.buried_wire import BuriedWire, buried_wire
from parcelfence.service.written_plan import read_plan
from tests.sample import sample_plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

BREAKS = 1000
SEED = 20
RATES = BreakRates()
SHARES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)


def sample_wire() -> BuriedWire:
    """Bury the wire of the sample property."""
    with tempfile.TemporaryDirectory() as folder:
        sample_plan().write(Path(folder) / "plan", formats=["gpkg"])
        return buried_wire(read_plan(Path(folder) / "plan"))


def halving(
    truth_m: NDArray[np.float64], *, length_m: float, asked: int, random: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Halve what is left, believing the majority of so many answers; give the tests and whether it ends right."""
    low_m, high_m = np.zeros(len(truth_m)), np.full(len(truth_m), length_m)
    counts = np.zeros(len(truth_m), dtype=np.int64)
    while (high_m - low_m).max() > DIG_M:
        middle_m = (low_m + high_m) / 2.0
        there_m = middle_m[:, None] + RATES.place_error_m * random.standard_normal((len(truth_m), asked))
        beyond = truth_m[:, None] > there_m
        chance = random.random((len(truth_m), asked))
        heard = np.where(beyond, chance >= RATES.tone_miss, chance < RATES.tone_false).mean(axis=1) > 0.5
        low_m, high_m = np.where(heard, middle_m, low_m), np.where(heard, high_m, middle_m)
        counts += asked
    return counts, (truth_m >= low_m) & (truth_m <= high_m)


def line(name: str, counts: NDArray[np.int64], right: NDArray[np.bool_]) -> str:
    """Set one row of the table."""
    most = np.quantile(counts, 0.95)
    return f"{name:<52}{np.median(counts):>8.0f}{most:>8.0f}{right.mean():>9.1%}"


def calibration(
    belief: BreakBelief, after: NDArray[np.float64], *, truth: NDArray[np.int64]
) -> list[tuple[float, float]]:
    """Give for each share that is asked for the probability that is stated, on average, and how often it was so."""
    cells = len(belief.edges_m) - 1
    found = []
    for share in SHARES:
        stated, held = [], []
        for row, where in zip(after, truth, strict=True):
            own = BreakBelief(edges_m=belief.edges_m, probability=row)
            named = own.in_credible_set(share)
            stated.append(float(own.located[named].sum()))
            held.append(bool(where < 2 * cells and named[where % cells]))
        found.append((float(np.mean(stated)), float(np.mean(held))))
    return found


def main() -> None:
    """Print the tables."""
    wire, random = sample_wire(), np.random.default_rng(SEED)
    belief = wire.prior(RATES)
    print(
        f"{BREAKS} faults on {wire.path.length_m:.0f} m of conductor, until {DIG_M:g} m are left to dig; a tone errs "
        f"by {RATES.tone_miss:.0%} and {RATES.tone_false:.0%}, a place by {RATES.place_error_m:g} m\n"
    )
    print(f"{'tests done':<52}{'median':>8}{'95 pct':>8}{'right':>9}")
    truths = drawn_faults(belief, random=random)
    curves = searches(wire, belief, truths=truths, random=random)
    for name in ("open breaks", "open breaks drawn evenly"):
        truth_m = belief.middles_m[truths[name]]
        for asked, words in ((1, "plain halving"), (3, "halving, best of three")):
            counts, right = halving(truth_m, length_m=wire.path.length_m, asked=asked, random=random)
            print(line(f"{words}, {name}", counts, right))
    print("\nprobability that is stated for the named stretch, on average, and how often it held the fault")
    print(f"{'asked for at least, if it is in the wire':<52}" + "".join(f"{share:>9.0%}" for share in SHARES))
    for name, curve in curves:
        for place, words in enumerate(("stated", "held")):
            print(f"{name if not place else '':<44}{words:<8}" + "".join(f"{pair[place]:>9.1%}" for pair in curve))
    worst = max(2 * (p * (1 - p) / BREAKS) ** 0.5 for p in SHARES)
    print(f"(by chance the two differ by up to {worst:.1%} in 95 of 100)")


def drawn_faults(belief: BreakBelief, *, random: np.random.Generator) -> dict[str, NDArray[np.int64]]:
    """Draw faults in three ways, as hypotheses of the belief."""
    cells = len(belief.edges_m) - 1
    only_open = belief.probability[:cells] / belief.probability[:cells].sum()
    return {
        "all faults": random.choice(len(belief.probability), size=BREAKS, p=belief.probability),
        "open breaks": random.choice(cells, size=BREAKS, p=only_open),
        "open breaks drawn evenly": random.integers(0, cells, size=BREAKS),
    }


def searches(
    wire: BuriedWire, belief: BreakBelief, *, truths: dict[str, NDArray[np.int64]], random: np.random.Generator
) -> list[tuple[str, list[tuple[float, float]]]]:
    """Search for all of them, print how it went, and give the rows of the calibration."""
    cells, search = len(belief.edges_m) - 1, search_of(wire, belief, rates=RATES)
    start, curves = np.tile(belief.probability, (BREAKS, 1)), []
    for name, truth in truths.items():
        counts, ended, after = search.search(start, truth=truth, random=random)
        named = np.array([
            where == 2 * cells
            or BreakBelief(edges_m=belief.edges_m, probability=row).in_credible_set(0.9)[where % cells]
            for row, where in zip(after, truth, strict=True)
        ])
        left = f"   ({1 - ended.mean():.1%} cannot be ended by tests)"
        print(line(f"by expected information, {name}", counts[ended], named[ended]) + left)
        curves.append((f"{name}, at the end", calibration(belief, after, truth=truth)))
    for dig_m in (100.0, 20.0):
        _, _, after = search.search(start, truth=truths["all faults"], random=random, dig_m=dig_m)
        curves.append((
            f"all faults, when {dig_m:g} m are left",
            calibration(belief, after, truth=truths["all faults"]),
        ))
    return curves


if __name__ == "__main__":
    main()
