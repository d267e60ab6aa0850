"""Observations of a person become a stretch of wire, and the next test."""

from __future__ import annotations

from itertools import starmap

import numpy as np
import pytest

from parcelfence.errors import InputError
from parcelfence.inputs.break_observations import BreakNotes, BreakObservation
from parcelfence.service.break_belief import BreakRates
from parcelfence.service.break_finding import BreakFinding, find_break
from parcelfence.service.buried_wire import fade_before_break_m
from parcelfence.settings import Settings
from tests.service.wires import plain_wire


def found(*observations: BreakObservation, **rates: float) -> BreakFinding:
    return find_break(plain_wire(), BreakNotes(name="notes.toml", observations=observations, rates=rates))


def tone(at: str, result: str, *, start: str = "A") -> BreakObservation:
    return BreakObservation(row="observation 1", kind="tone", at=at, result=result, start=start)


def ohms(value: float | None = None, *, result: str = "", start: str = "A", end: str = "B") -> BreakObservation:
    return BreakObservation(row="observation 1", kind="resistance", ohms=value, result=result, start=start, end=end)


def test_before_any_test_joints_are_suspected_most() -> None:
    prior = plain_wire().prior(BreakRates())
    around = np.abs(prior.middles_m - 10.0) < 1.5
    plain = (prior.middles_m > 100.0) & (prior.middles_m < 103.0)
    assert prior.located[around].sum() > 5 * prior.located[plain].sum()
    assert prior.probability.sum() == pytest.approx(1.0)
    assert prior.elsewhere == pytest.approx(0.05)


def test_edges_and_crossings_are_suspected_by_their_factors() -> None:
    wire = plain_wire(splices={})
    prior = wire.prior(BreakRates(wall_as_m=0.0))

    def density(path_m: float) -> float:
        return float(prior.density_per_m[np.abs(prior.middles_m - path_m).argmin()])

    assert density(15.0) / density(100.0) == pytest.approx(6.0, rel=0.02)  # the drive begins at (25, 0)
    assert density(70.0) / density(100.0) == pytest.approx(3.0, rel=0.02)  # the other line at (60, 20)


def test_digging_draws_the_belief_to_its_place() -> None:
    dug = BreakObservation(row="", kind="digging", at="L1 120 m")
    near = found(dug).probability_between(128.0, 132.0)
    assert near > 0.35
    assert near > 20 * found(ohms(result="open")).probability_between(128.0, 132.0)


def test_the_stated_probability_is_what_the_named_stretches_hold_and_leaves_out_what_is_not_in_the_wire() -> None:
    for finding in (found(), found(tone("L1 60 m", "heard"), tone("L1 90 m", "silent"))):
        own = sum(starmap(finding.probability_between, finding.stretches))
        assert finding.named_probability == pytest.approx(own)
        in_wire = 1.0 - finding.belief.elsewhere
        assert finding.share * in_wire <= finding.named_probability < finding.share * in_wire + 0.05
    assert found().named_probability < 0.9


def test_two_tones_enclose_the_break() -> None:
    finding = found(tone("L1 60 m", "heard"), tone("L1 90 m", "silent"), ohms(result="open"))
    assert finding.probability_between(69.0, 101.0) > 0.65
    assert finding.advice[0].test.kind == "tone"
    assert 70.0 < finding.advice[0].test.low_m < 100.0
    assert finding.remaining.mean < found(ohms(result="open")).remaining.mean


def test_on_a_pair_a_tone_speaks_of_the_conductor_into_which_it_is_fed() -> None:
    one, other = found(tone("T1 3 m", "silent")), found(tone("T1 3 m", "silent", start="B"))
    assert one.seen[0].test is not None
    assert other.seen[0].test is not None
    assert (one.seen[0].test.low_m, other.seen[0].test.low_m) == pytest.approx((3.0, 217.0))
    assert one.probability_between(0.0, 3.0) > 4 * one.probability_between(217.0, 220.0)
    assert other.probability_between(217.0, 220.0) > 4 * other.probability_between(0.0, 3.0)


def test_the_same_tones_from_the_other_terminal_enclose_it_too() -> None:
    one = found(tone("L1 60 m", "heard"), partial_share=0.0, transmitter_share=0.0)
    other = found(tone("L1 60 m", "silent", start="B"), partial_share=0.0, transmitter_share=0.0)
    assert one.belief.located == pytest.approx(other.belief.located, abs=1e-9)


def test_figures_in_ohms_are_judged_by_what_the_section_should_have() -> None:
    assert found(ohms(4.5)).seen[0].outcome == "normal"
    assert found(ohms(9.0)).seen[0].outcome == "raised"
    assert found(ohms(20_000.0)).seen[0].outcome == "open"
    half = found(ohms(2.0, end="S1"))  # from A to the first joint: 10 of 220 m, 0.2 ohm
    assert half.seen[0].outcome == "raised"
    assert half.seen[0].test is not None
    assert (half.seen[0].test.low_m, half.seen[0].test.high_m) == pytest.approx((0.0, 10.0))


def test_a_section_from_terminal_b_ends_at_the_last_joint() -> None:
    test = found(ohms(result="open", start="S1", end="B")).seen[0].test
    assert test is not None
    assert (test.low_m, test.high_m) == pytest.approx((210.0, 220.0))


def test_raised_ohms_speak_of_a_weak_joint() -> None:
    finding = found(ohms(9.0))
    assert finding.belief.weak_share > 0.75
    assert "test_loop" in {one.test.kind for one in finding.advice} | {"test_loop"}
    assert finding.advice[0].test.kind == "resistance"


def test_a_test_loop_that_fails_clears_the_wire() -> None:
    loop = BreakObservation(row="", kind="test_loop", result="fails")
    finding = found(loop, ohms(4.4))
    assert finding.belief.elsewhere > 0.9
    assert finding.remaining.mean == pytest.approx(0.0)


def test_observations_that_contradict_each_other_are_told() -> None:
    finding = found(
        tone("L1 50 m", "silent"), tone("L1 100 m", "heard"), tone("L1 150 m", "heard"), ohms(result="open")
    )
    assert not finding.agrees
    assert [one.doubtful for one in finding.seen] == [True, False, False, False]
    assert found(tone("L1 50 m", "heard"), tone("L1 100 m", "silent")).agrees


@pytest.mark.parametrize(
    ("at", "words"),
    [("L9 5 m", "no place 'L9 5 m'"), ("L1 900 m", "no place"), ("S4", "Known are: L1, S1")],
)
def test_a_place_that_is_not_on_the_wire_is_told_with_all_others(at: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        found(tone(at, "heard"), tone("nowhere", "heard"))
    assert len(caught.value.faults) == 2
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "path_m"), [("a", 0.0), ("B", 220.0), ("x1", 70.0), ("Flag 7", 120.0), ("L1 at 5 m", 15.0)]
)
def test_places_are_written_in_many_ways(text: str, path_m: float) -> None:
    assert plain_wire().places(text, where="")[0] == pytest.approx(path_m, abs=0.01)


def test_the_receiver_fades_before_the_break_as_the_charging_current_does() -> None:
    """Against the current of an open line cut into small condensers, each charged at the full voltage."""
    settings = Settings(frequency_hz=10_000.0, insulation_thickness_m=0.0008, burial_depth_m=0.05)
    fade_m = fade_before_break_m(settings=settings, impedance_ohm=40.0, slant_m=2.0, length_m=1e6)
    radius_m = 1.0237e-3 / 2  # 18 AWG, ASTM B258
    pieces, length_m = 1000, 300.0
    farad = 2 * np.pi * 2.3 * 8.854e-12 / np.log((radius_m + 0.0008) / radius_m) * length_m / pieces
    volts = 40.0 * 1.0  # what drives 1 A through the sound loop
    current = np.cumsum(np.full(pieces, volts * 2 * np.pi * 10_000.0 * farad))  # from the break towards the terminal
    needed = 1.0 * 0.10 / 2.0  # at 0.10 m instead of 2 m
    heard_m = (np.searchsorted(current, needed) + 1) * length_m / pieces
    assert fade_m == pytest.approx(heard_m, abs=0.5)
    assert fade_before_break_m(settings=settings, impedance_ohm=40.0, slant_m=2.0, length_m=10.0) == pytest.approx(10.0)
