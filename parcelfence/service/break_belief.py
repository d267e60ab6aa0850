"""What is believed about a break: a probability for every cell of the conductor, and how a test changes it.

There is one fault.  It is an open break or a weak joint in one cell of the conductor, or it is not in the wire but
at the transmitter.  A test has a few outcomes; each hypothesis gives each outcome a chance, and Bayes' rule does the
rest, exactly, cell by cell.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.special import ndtr

from parcelfence.errors import Fault, SettingsError, near_matches

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["OUTCOMES", "BreakBelief", "BreakRates", "BreakTest", "chances", "densest"]

TestKind = Literal["tone", "resistance", "movement", "exposed", "test_loop"]

OUTCOMES: Final[dict[TestKind, tuple[str, ...]]] = {
    "tone": ("heard", "silent"),
    "resistance": ("normal", "raised", "open"),
    "movement": ("changed", "unchanged"),
    "exposed": ("whole", "damaged"),
    "test_loop": ("works", "fails"),
}


@dataclass(frozen=True, kw_only=True)
class BreakRates:
    """How often what fails, and how often a test errs.

    There is no published count of breaks of such wires, as far as is known here: every figure is common practice put
    into numbers from memory, and can be replaced.  What matters is their order and rough size.  Rates of places are
    written as the length of plain buried wire that fails as often.

    Parameters
    ----------
    splice_as_m : float
        One joint: the most common place, for water gets in.
    wall_as_m : float
        Where the pair leaves the house: corners, staples, string trimmers.
    digging_as_m : float
        A place where somebody has dug lately: the first thing to suspect.
    hardscape_edge_factor : float
        Wire beside or under the edge of a drive or walk, by which edging tools cut.
    bed_edge_factor : float
        Wire at the edge of a bed or another keep-out, where spades work.
    crossing_factor : float
        Wire in the tolerance zone of another line, where others dig.
    edge_m : float
        How far from an edge that holds: about the width of a spade and a hand.
    partial_share : float
        Share of faults that are weak rather than open: corroded joints, a few strands left.
    partial_plain_factor : float
        Weak faults in plain wire, against those in joints.
    transmitter_share : float
        Share of faults that are not in the wire: supply, surge, terminals.
    tone_miss, tone_false : float
        A tone not heard though it is there (deep, dry, a tired ear); one heard though it is not (another run or
        another line carries it over).
    pair_miss : float
        A tone not heard on a twisted pair though it is there: the other conductor is earthed and shields it.
    place_error_m : float
        Standard error of a place on the wire as a person finds it by stations and flags.
    resistance_error : float
        An ohmmeter misread, or a probe without contact.
    leak_chance : float
        An open break that reads as raised: both ends lie in wet soil.
    weak_missed : float
        A weak joint that reads normal: it comes and goes.
    movement_hit, movement_false : float
        Moving the wire at the fault changes something; moving it elsewhere does by chance.
    exposed_miss : float
        A break that is not seen in the bare hole: it hides under whole insulation.
    exposed_false : float
        Damage that is seen and is not the fault.
    test_loop_error : float
        The test loop itself is bad.
    """

    splice_as_m: float = 30.0
    wall_as_m: float = 10.0
    digging_as_m: float = 200.0
    hardscape_edge_factor: float = 6.0
    bed_edge_factor: float = 4.0
    crossing_factor: float = 3.0
    edge_m: float = 0.6
    partial_share: float = 0.2
    partial_plain_factor: float = 0.1
    transmitter_share: float = 0.05
    tone_miss: float = 0.05
    tone_false: float = 0.05
    pair_miss: float = 0.2
    place_error_m: float = 0.5
    resistance_error: float = 0.02
    leak_chance: float = 0.05
    weak_missed: float = 0.15
    movement_hit: float = 0.7
    movement_false: float = 0.03
    exposed_miss: float = 0.1
    exposed_false: float = 0.02
    test_loop_error: float = 0.02

    def __post_init__(self) -> None:
        shares = [name for name in _SHARES if not 0.0 <= getattr(self, name) <= 1.0]
        if shares or self.partial_share + self.transmitter_share >= 1.0:
            raise SettingsError(
                Fault(
                    where="rates",
                    found=", ".join(f"{name} = {getattr(self, name):g}" for name in shares or _SHARES[:2]),
                    must="each is a share from 0 to 1, and partial_share and transmitter_share leave room for breaks",
                )
            )

    @classmethod
    def replaced(cls, given: Mapping[str, float]) -> BreakRates:
        """Give the rates with some of them replaced; raises SettingsError where one is not known or not usable."""
        known = [one.name for one in fields(cls)]
        faults = [
            Fault(where="rates", found=f"there is no rate {name!r}", remedy=near_matches(name, known))
            for name in given
            if name not in known
        ]
        if faults:
            raise SettingsError(faults)
        return cls(**given)


_SHARES: Final = (
    *(
        "partial_share",
        "transmitter_share",
        "partial_plain_factor",
        "tone_miss",
        "tone_false",
        "pair_miss",
        "resistance_error",
    ),
    *("leak_chance", "weak_missed", "movement_hit", "movement_false", "exposed_miss", "exposed_false"),
    "test_loop_error",
)


@dataclass(frozen=True, kw_only=True)
class BreakTest:
    """One test, done or to be done.

    Parameters
    ----------
    kind : str
        ``"tone"``: fed into the first terminal and sought at `low_m`; with `from_start` off, into the second.
        ``"resistance"``: measured from `low_m` to `high_m` of the path.  ``"movement"`` and ``"exposed"``: at each of
        `places_m`, as far as `radius_m`.  ``"test_loop"``: of no place.
    low_m, high_m, places_m, radius_m
        Places along the path, see `kind`.
    from_start : bool
        Terminal into which a tone is fed.
    fade_m : float
        How far before a break the tone fades.
    on_pair : bool
        Whether the tone is sought on a twisted pair, where the earthed conductor shields it.
    """

    kind: TestKind
    low_m: float = 0.0
    high_m: float = 0.0
    places_m: tuple[float, ...] = ()
    radius_m: float = 0.0
    from_start: bool = True
    fade_m: float = 0.0
    on_pair: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class BreakBelief:
    """Probabilities of where and what the fault is.

    Parameters
    ----------
    edges_m : ndarray, shape (n + 1,)
        Ends of the cells along the path.
    probability : ndarray, shape (2 n + 1,)
        Of an open break in each cell, of a weak joint in each cell, and of a fault at the transmitter; they sum to 1.
    """

    edges_m: NDArray[np.float64]
    probability: NDArray[np.float64]

    @classmethod
    def of(
        cls, edges_m: NDArray[np.float64], *, opened: NDArray[np.float64], weak: NDArray[np.float64], elsewhere: float
    ) -> BreakBelief:
        """Make a belief of weights, which need not sum to 1."""
        weights = np.concatenate([opened, weak, [elsewhere]])
        return cls(edges_m=edges_m, probability=weights / weights.sum())

    @cached_property
    def middles_m(self) -> NDArray[np.float64]:
        """Middle of each cell, shape (n,)."""
        return (self.edges_m[:-1] + self.edges_m[1:]) / 2.0

    @cached_property
    def located(self) -> NDArray[np.float64]:
        """Probability of each cell, whatever the fault is, shape (n,)."""
        cells = len(self.edges_m) - 1
        located: NDArray[np.float64] = self.probability[:cells] + self.probability[cells : 2 * cells]
        return located

    @property
    def weak_share(self) -> float:
        """Probability of a weak joint anywhere."""
        cells = len(self.edges_m) - 1
        return float(self.probability[cells : 2 * cells].sum())

    @property
    def elsewhere(self) -> float:
        """Probability of a fault that is not in the wire."""
        return float(self.probability[-1])

    @property
    def density_per_m(self) -> NDArray[np.float64]:
        """Probability per metre of each cell, shape (n,)."""
        return self.located / np.diff(self.edges_m)

    def after(self, chance: NDArray[np.float64]) -> BreakBelief:
        """Apply Bayes' rule: `chance`, shape (2 n + 1,), is that of what was seen under each hypothesis."""
        weights = self.probability * chance
        return BreakBelief(edges_m=self.edges_m, probability=weights / weights.sum())

    def in_credible_set(self, share: float) -> NDArray[np.bool_]:
        """Tell which cells make up the least length that holds a share of what is in the wire, shape (n,)."""
        chosen: NDArray[np.bool_] = densest(self.located[None], np.diff(self.edges_m), share=share)[0]
        return chosen

    def credible_stretches(self, share: float) -> tuple[tuple[float, float], ...]:
        """List the stretches of the path of :meth:`in_credible_set`, in the order of the path."""
        chosen = np.concatenate([[False], self.in_credible_set(share), [False]])
        starts, ends = np.flatnonzero(~chosen[:-1] & chosen[1:]), np.flatnonzero(chosen[:-1] & ~chosen[1:])
        return tuple(zip(self.edges_m[starts].tolist(), self.edges_m[ends].tolist(), strict=True))


def densest(located: NDArray[np.float64], lengths_m: NDArray[np.float64], *, share: float) -> NDArray[np.bool_]:
    """Choose for each row of `located`, shape (r, n), the densest cells that hold a share of its sum."""
    order = np.argsort(-located / lengths_m, axis=1, kind="stable")
    held = np.cumsum(np.take_along_axis(located, order, axis=1), axis=1)
    wanted = held - np.take_along_axis(located, order, axis=1) < share * held[:, -1:]
    chosen = np.zeros_like(wanted)
    np.put_along_axis(chosen, order, wanted, axis=1)
    return chosen


def chances(test: BreakTest, belief: BreakBelief, *, rates: BreakRates) -> NDArray[np.float64]:
    """Chance of every outcome of a test under every hypothesis.

    Parameters
    ----------
    test : BreakTest
        The test.
    belief : BreakBelief
        Gives the cells.
    rates : BreakRates
        Rates of error.

    Returns
    -------
    ndarray, shape (k, 2 n + 1)
        In the order of :data:`OUTCOMES`; each column sums to 1.
    """
    middles_m = belief.middles_m
    rows = {"tone": _tone, "resistance": _resistance, "movement": _near, "exposed": _near, "test_loop": _test_loop}
    return rows[test.kind](test, middles_m, rates=rates)


def _tone(test: BreakTest, middles_m: NDArray[np.float64], *, rates: BreakRates) -> NDArray[np.float64]:
    """Give the chance of a tone: an open break ends it, a weak joint carries it as well as whole wire does."""
    margin_m = (middles_m - test.low_m if test.from_start else test.low_m - middles_m) - test.fade_m
    reached = ndtr(margin_m / rates.place_error_m) if rates.place_error_m > 0.0 else (margin_m > 0.0).astype(float)
    hit = 1.0 - (rates.pair_miss if test.on_pair else rates.tone_miss)
    opened = reached * hit + (1.0 - reached) * rates.tone_false
    whole = np.full(len(middles_m) + 1, hit)
    heard = np.concatenate([opened, whole])
    return np.stack([heard, 1.0 - heard])


def _resistance(test: BreakTest, middles_m: NDArray[np.float64], *, rates: BreakRates) -> NDArray[np.float64]:
    """Read the ohms of a section: the fault shows where it lies in between."""
    low_m, high_m = sorted((test.low_m, test.high_m))
    within = (middles_m > low_m) & (middles_m < high_m)
    error = rates.resistance_error
    whole = np.array([1.0 - error, error / 2.0, error / 2.0])
    weak = np.array([rates.weak_missed, 1.0 - rates.weak_missed - error / 2.0, error / 2.0])
    opened = np.array([error / 2.0, rates.leak_chance, 1.0 - rates.leak_chance - error / 2.0])
    return np.hstack([
        np.where(within, opened[:, None], whole[:, None]),
        np.where(within, weak[:, None], whole[:, None]),
        whole[:, None],
    ])


def _near(test: BreakTest, middles_m: NDArray[np.float64], *, rates: BreakRates) -> NDArray[np.float64]:
    """Look at, or move, the wire at a place."""
    places_m = np.asarray(test.places_m)
    here = (np.abs(middles_m[:, None] - places_m) <= test.radius_m).any(axis=1)
    if test.kind == "movement":
        first = np.where(here, rates.movement_hit, rates.movement_false)
        away = rates.movement_false
    else:
        first = np.where(here, rates.exposed_miss, 1.0 - rates.exposed_false)
        away = 1.0 - rates.exposed_false
    row = np.concatenate([first, first, [away]])
    return np.stack([row, 1.0 - row])


def _test_loop(_test: BreakTest, middles_m: NDArray[np.float64], *, rates: BreakRates) -> NDArray[np.float64]:
    """Only a fault that is not in the wire lets the test loop fail."""
    works = np.full(2 * len(middles_m) + 1, 1.0 - rates.test_loop_error)
    works[-1] = rates.test_loop_error
    return np.stack([works, 1.0 - works])
