"""Where a wire is broken: the observations of a person, the stretch that they point to, and what to test next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from parcelfence.errors import Fault, InputError
from parcelfence.service.break_belief import OUTCOMES, BreakRates, BreakTest, chances
from parcelfence.service.break_search import LEAST_BITS, SHARE, BreakSearch

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from parcelfence.inputs.break_observations import BreakNotes, BreakObservation
    from parcelfence.service.break_belief import BreakBelief
    from parcelfence.service.break_search import RemainingTests
    from parcelfence.service.buried_wire import BuriedWire

__all__ = ["Advice", "BreakFinding", "Seen", "find_break", "search_of"]

_RAISED_SHARE: Final = 0.15
_RAISED_OHM: Final = 0.5
"""A reading above what is expected by more than both is raised: temperature alone makes 10 % in 25 degrees, and the
leads of the meter some tenths of an ohm."""
_OPEN_OHM: Final = 1000.0
"""Far above any loop (200 ft of 18 AWG have 1.3 ohms), and below what two wet ends in soil leave (from memory)."""
HOLE_RADIUS_M: Final = 0.75
"""How far a hole over a joint lays the wire bare: the joint is searched for by hand (from memory)."""
_UNLIKELY: Final = 0.2
_MISFIT: Final = 0.1
"""Observations whose best explanation is so much less likely than each alone do not speak of one fault."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation as it was understood.

    Parameters
    ----------
    observation : BreakObservation
        As it was written.
    test : BreakTest or None
        The test; None for digging, which changes what was to be expected.
    outcome : str
        One of :data:`parcelfence.service.break_belief.OUTCOMES`; empty for digging.
    likely : float
        Chance of that outcome, now that all is known; small where the observation may be mistaken.
    """

    observation: BreakObservation
    test: BreakTest | None
    outcome: str
    likely: float = 1.0

    @property
    def doubtful(self) -> bool:
        """Whether it does not agree with the others."""
        return self.likely < _UNLIKELY


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One test that could be done next, with its expected information."""

    test: BreakTest
    bits: float


@dataclass(frozen=True, kw_only=True, eq=False)
class BreakFinding:
    """Where the break is, as far as can be said.

    Parameters
    ----------
    wire : BuriedWire
        The wire as built.
    rates : BreakRates
        Rates that were used.
    seen : tuple of Seen
        All observations.
    prior, belief : BreakBelief
        Before and after them.
    share : float
        Probability that the named stretches hold, of a fault in the wire.
    stretches : tuple of (float, float)
        The least length of the path that holds it.
    best_m : float
        Most likely place along the path.
    advice : tuple of Advice
        The most telling test of each kind, the most telling first; empty where nothing tells more.
    remaining : RemainingTests
        How many more tests to expect.
    agrees : bool
        Whether one single fault explains all observations.
    """

    wire: BuriedWire
    rates: BreakRates
    seen: tuple[Seen, ...]
    prior: BreakBelief
    belief: BreakBelief
    share: float
    stretches: tuple[tuple[float, float], ...]
    best_m: float
    advice: tuple[Advice, ...]
    remaining: RemainingTests
    agrees: bool

    @property
    def stretch_m(self) -> float:
        """Length of the named stretches together."""
        return sum(high_m - low_m for low_m, high_m in self.stretches)

    @property
    def named_probability(self) -> float:
        """Probability that the fault lies in the named stretches.

        They are made up of whole cells and so hold at least `share` of what is in the wire; what is not in the wire is
        not in them.
        """
        return float(self.belief.located[self.belief.in_credible_set(self.share)].sum())

    def probability_between(self, low_m: float, high_m: float) -> float:
        """Probability that the fault lies in a stretch of the path."""
        middles_m = self.belief.middles_m
        return float(self.belief.located[(middles_m >= low_m) & (middles_m <= high_m)].sum())


def find_break(wire: BuriedWire, notes: BreakNotes, *, share: float = SHARE) -> BreakFinding:
    """Find out where a wire is broken.

    Parameters
    ----------
    wire : BuriedWire
        The wire as built.
    notes : BreakNotes
        What was measured, and rates that replace the stated ones.
    share : float
        Share of what is believed of the wire that the named stretches hold at least.

    Returns
    -------
    BreakFinding
        By Bayes' rule on a grid, for one single fault, with tests that err independently.

    Raises
    ------
    InputError
        If a place is not on the wire; with all such faults.
    SettingsError
        If a rate is not known or not usable.
    """
    rates = BreakRates.replaced(notes.rates)
    seen = _understood(wire, notes)
    dug = [(one.test.places_m, one.test.radius_m) for one in seen if one.test is not None and not one.outcome]
    prior = wire.prior(rates, dug=dug)
    belief, best, alone = prior, np.zeros(len(prior.probability)), 0.0
    asked = [one for one in seen if one.test is not None and one.outcome]
    seen_chance = [_chance(one, prior, rates=rates) for one in asked]
    for chance in seen_chance:
        belief = belief.after(chance)
        best += np.log(np.maximum(chance, 1e-300))
        alone += math.log(chance.max())
    likely = {id(one): float(chance @ belief.probability) for one, chance in zip(asked, seen_chance, strict=True)}
    bench = search_of(wire, belief, rates=rates, done=tuple(one.test for one in asked if one.test is not None))
    return BreakFinding(
        wire=wire,
        rates=rates,
        seen=tuple(
            Seen(
                observation=one.observation,
                test=one.test if one.outcome else None,
                outcome=one.outcome,
                likely=likely.get(id(one), 1.0),
            )
            for one in seen
        ),
        prior=prior,
        belief=belief,
        share=share,
        stretches=belief.credible_stretches(share),
        best_m=float(belief.middles_m[belief.density_per_m.argmax()]),
        advice=_advice(bench, belief),
        remaining=bench.remaining(belief),
        agrees=bool(best.max() >= alone + math.log(_MISFIT)),
    )


def _chance(one: Seen, belief: BreakBelief, *, rates: BreakRates) -> NDArray[np.float64]:
    assert one.test is not None  # noqa: S101  (the caller leaves digging out)
    chance: NDArray[np.float64] = chances(one.test, belief, rates=rates)[OUTCOMES[one.test.kind].index(one.outcome)]
    return chance


def search_of(
    wire: BuriedWire, belief: BreakBelief, *, rates: BreakRates, done: tuple[BreakTest, ...] = ()
) -> BreakSearch:
    """Set up what can be tested next: a tone all along the wire, ohms at every joint, and the terminals.

    Parameters
    ----------
    wire : BuriedWire
        The wire.  Each joint can also be dug up and looked at.
    belief : BreakBelief
        What is known now.
    rates : BreakRates
        Rates of error.
    done : tuple of BreakTest
        Readings of ohms and test loops among them are not asked again.
    """
    end_m = wire.path.length_m
    joints = sorted({at_m for places in wire.splices.values() for at_m in places})
    tests = [BreakTest(kind="resistance", low_m=0.0, high_m=at_m) for at_m in joints]
    tests += [BreakTest(kind="resistance", low_m=at_m, high_m=end_m) for at_m in joints]
    tests += [BreakTest(kind="resistance", low_m=0.0, high_m=end_m), BreakTest(kind="test_loop")]
    tests += [
        BreakTest(kind="exposed", places_m=places, radius_m=HOLE_RADIUS_M) for places in wire.splices.values() if places
    ]
    conductors = np.array([wire.path.piece_at(float(edge_m)).conductor for edge_m in belief.edges_m])
    return BreakSearch(
        belief=belief, rates=rates, conductors=conductors, others=tuple(test for test in tests if test not in done)
    )


def _advice(bench: BreakSearch, belief: BreakBelief) -> tuple[Advice, ...]:
    bits = bench.information_bits(belief.probability[None])[0]
    best: dict[str, Advice] = {}
    for number in np.argsort(-bits, kind="stable").tolist():
        if bits[number] <= LEAST_BITS:
            break
        test = bench.test(number)
        best.setdefault(test.kind, Advice(test=test, bits=float(bits[number])))
    return tuple(best.values())


def _understood(wire: BuriedWire, notes: BreakNotes) -> tuple[Seen, ...]:
    """Find the place of every observation; raises InputError with all that are nowhere."""
    seen: list[Seen] = []
    faults: list[Fault] = []
    for observation in notes.observations:
        where = f"{notes.name}, {observation.row}"
        try:
            seen.append(_one(wire, observation, where=where))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return tuple(seen)


def _one(wire: BuriedWire, observation: BreakObservation, *, where: str) -> Seen:
    kind, end_m = observation.kind, wire.path.length_m
    if kind == "test_loop":
        return Seen(observation=observation, test=BreakTest(kind=kind), outcome=observation.result)
    if kind == "resistance":
        low_m, high_m = _section(wire, observation, where=where)
        outcome = _class_of(observation, expected_ohm=wire.expected_ohms * (high_m - low_m) / end_m, where=where)
        return Seen(observation=observation, test=BreakTest(kind=kind, low_m=low_m, high_m=high_m), outcome=outcome)
    places_m = wire.places(observation.at, where=where)
    if kind == "tone":
        return Seen(
            observation=observation,
            test=_tone(wire, observation, places_m=places_m, where=where),
            outcome=observation.result,
        )
    test = BreakTest(
        kind="exposed" if kind == "exposed" else "movement", places_m=places_m, radius_m=observation.radius_m
    )
    return Seen(observation=observation, test=test, outcome="" if kind == "digging" else observation.result)


def _tone(wire: BuriedWire, observation: BreakObservation, *, places_m: tuple[float, ...], where: str) -> BreakTest:
    fed = observation.start.strip().upper()
    if fed not in {"A", "B"}:
        found = f"the tone was fed into {observation.start!r}"
        raise InputError(Fault(where=where, found=found, must="it is fed into terminal A or B"))
    fade_m = wire.fade_m if observation.senses == "current" else 0.0
    at_m = places_m[0] if fed == "A" else places_m[-1]  # on a pair the conductor that is fed from that terminal
    on_pair = bool(wire.path.piece_at(at_m).conductor)
    return BreakTest(kind="tone", low_m=at_m, from_start=fed == "A", fade_m=fade_m, on_pair=on_pair)


def _section(wire: BuriedWire, observation: BreakObservation, *, where: str) -> tuple[float, float]:
    """Give the shortest section between two places, each of which may lie on the path more than once.

    From a terminal it is that to the nearest joint along the wire: for A the first, for B the last.

    Raises
    ------
    InputError
        If one of them is not on the wire, or both are the same.
    """
    pairs = [
        (min(one, other), max(one, other))
        for one in wire.places(observation.start, where=where)
        for other in wire.places(observation.end, where=where)
    ]
    low_m, high_m = min(pairs, key=lambda pair: pair[1] - pair[0])
    if high_m - low_m <= 0.0:
        found = f"{observation.start!r} and {observation.end!r} are the same place"
        raise InputError(Fault(where=where, found=found, must="ohms are read between two places"))
    return low_m, high_m


def _class_of(observation: BreakObservation, *, expected_ohm: float, where: str) -> str:
    """Say whether a reading is normal, raised or open."""
    if observation.ohms is None:
        return observation.result
    if not math.isfinite(expected_ohm):
        found = "the resistance of the sound wire is not known"
        remedy = "give expected_ohms, or write the result as normal, raised or open"
        raise InputError(Fault(where=where, found=found, remedy=remedy))
    if observation.ohms >= _OPEN_OHM:
        return "open"
    return "raised" if observation.ohms > expected_ohm + max(_RAISED_SHARE * expected_ohm, _RAISED_OHM) else "normal"
