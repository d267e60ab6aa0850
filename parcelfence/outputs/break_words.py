"""How a person is told where a wire is broken: places, tests, what is found, in plain words and the person's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parcelfence.outputs.cautions import Caution
from parcelfence.service.break_search import DIG_M
from parcelfence.wording import Wording

if TYPE_CHECKING:
    from parcelfence.service.break_finding import Advice, BreakFinding, Seen

__all__ = ["CAUTIONS", "EFFORT", "FAULT_TREE", "LIMITS", "BreakWords"]

CAUTIONS: Final = (
    Caution(
        "Unplug the transmitter",
        "before you touch the terminals, open a joint, read ohms or feed in a tone. Never do it in a thunderstorm.",
    ),
    Caution(
        "Call the utility locating service before you dig,",
        "also for one small hole, and dig by hand: the wire is thin, and other lines lie beside it.",
    ),
    Caution(
        "The animal is not contained",
        "while the wire is broken. Keep it on a lead, and walk the whole loop before it wears the receiver again.",
    ),
    Caution(
        "Mains, grounding and surge protection",
        "are for a licensed electrician. If a lamp, a socket or another device failed at the same time, ask one first.",
    ),
)
FAULT_TREE: Final = (
    Caution(
        "No light at the transmitter",
        "Try the socket with another device, and the power supply of the transmitter in another socket. After a "
        "thunderstorm the transmitter itself is suspect.",
    ),
    Caution(
        "Light, and the alarm for a broken wire",
        "Unplug. Take the buried wire off the terminals and put a short loop of wire on them, an arm's length or two. "
        "Plug in: if the alarm goes on, the fault is the transmitter. If it stops, the fault is in the wire.",
    ),
    Caution(
        "The lead-in",
        "Unplug. Open the joint where the lead-in meets the loop and twist its two ends together. Read the ohms at the "
        "terminals: open means that the lead-in is broken. Read the loop alone the same way at its two ends.",
    ),
    Caution(
        "Halves",
        "Open a joint near the middle. Read the ohms from each terminal to it. The half that reads open holds the "
        "break; halve that one again.",
    ),
    Caution(
        "Without opening anything",
        "Feed a tone into one terminal, earth the other, and seek the tone from above: it ends at the break. Common "
        "practice; the receiver of the animal falls silent long before the break and misleads.",
    ),
    Caution(
        "Joints first",
        "Look at every splice, at both edges of every drive, at the edges of beds and wherever somebody has dug. "
        "Mend with a waterproof connector, read the ohms again and write the new splice into the record.",
    ),
    Caution(
        "All reads as it should, and the signal is weak or comes and goes",
        "A joint corrodes. Read the ohms while somebody moves the wire at one joint after the other: where the reading "
        "jumps is the joint.",
    ),
)
"""The plain order of looking for a fault, for a sheet that is kept at the transmitter: what is met, what to do."""
EFFORT: Final = {
    "tone": "a walk",
    "resistance": "a joint opened",
    "exposed": "a hole",
    "movement": "a hole",
    "test_loop": "at the terminals",
}
"""What a kind of test costs."""
LIMITS: Final = (
    "One single fault is assumed. Two breaks at once show as observations that do not agree.",
    (
        "How often what fails is not published, as far as is known here: joints, edges and fresh digging are weighed "
        "by common practice, from memory. The rates stand in summary.json; the file of observations can replace them."
    ),
    (
        "Tests are taken to err independently. A tone that another line carries over errs the same way each time: seek "
        "it again from the other terminal."
    ),
    (
        "A tone tells nothing about a weak joint, which carries it. On a twisted pair it is faint, for the earthed "
        "conductor shields the other: hold the probe to the pair."
    ),
)


class BreakWords:
    """Words for one finding.

    Parameters
    ----------
    finding : BreakFinding
        What was found.
    """

    def __init__(self, finding: BreakFinding) -> None:
        self.finding = finding
        self.wording = Wording(finding.wire.settings, several_runs=True)

    def place(self, path_m: float) -> str:
        """Say where a place of the path lies: run, chainage, and what is near."""
        path = self.finding.wire.path
        piece = path.piece_at(path_m)
        which = f", conductor {piece.conductor}" if piece.conductor else ""
        text = self.wording.at(piece.run, station_m=path.station_m(path_m)).removeprefix("at ") + which
        near = self._near(path_m)
        return f"{text} ({near})" if near else text

    def stretch(self, low_m: float, high_m: float) -> str:
        """Say between which stations a stretch of the path lies, by run."""
        path, parts = self.finding.wire.path, []
        for piece in path.pieces:
            low, high = max(low_m, piece.start_m), min(high_m, piece.start_m + piece.length_m)
            if high - low > 0.01:  # noqa: PLR2004  (a centimetre is no stretch)
                ends = sorted(piece.run.start_station_m + piece.along_run_m(at_m) for at_m in (low, high))
                which = f", conductor {piece.conductor}" if piece.conductor else ""
                run = self.wording.at(piece.run, station_m=0.0).split(" of ", 1)[1]
                first, last = (self.wording.station(station_m) for station_m in ends)
                parts.append(f"{run}{which}, {first} to {last}")
        return "; ".join(parts)

    def why(self, low_m: float, high_m: float) -> str:
        """Name what makes a stretch suspect."""
        wire, reach_m = self.finding.wire, self.finding.rates.place_error_m
        inside = [
            name for name, at in wire.splices.items() if any(low_m - reach_m <= m <= high_m + reach_m for m in at)
        ]
        found = [f"splice {name}" for name in inside]
        ends = ((0.0, "terminal A"), (wire.path.length_m, "terminal B"))
        found += [name for at_m, name in ends if low_m <= at_m <= high_m]
        dug = [
            one.observation.at
            for one in self.finding.seen
            if one.observation.kind == "digging"
            and any(low_m <= m <= high_m for m in wire.places(one.observation.at, where=""))
        ]
        found += [f"dug at {place}" for place in dug]
        line = wire.path.line(low_m, high_m)
        edge_m = self.finding.rates.edge_m
        for edges, words in ((wire.hardscape, "edge of a drive or walk"), (wire.beds, "edge of a bed or keep-out")):
            if not edges.is_empty and line.distance(edges) <= edge_m:
                found.append(words)
        return ", ".join(found) or "plain wire"

    def answer(self) -> str:
        """Say in a sentence or two where the fault is."""
        finding, words = self.finding, self.wording
        near = finding.probability_between(finding.best_m - DIG_M / 2, finding.best_m + DIG_M / 2)
        if finding.belief.elsewhere > 0.5:  # noqa: PLR2004  (more likely than not)
            return (
                f"The fault is most likely not in the wire ({finding.belief.elsewhere:.0%}): look at the transmitter, "
                "its supply and its terminals."
            )
        count = len(finding.stretches)
        pieces = "in one piece" if count == 1 else f"in {count} pieces"
        return (
            f"Most likely at {self.place(finding.best_m)}: {near:.0%} within {words.length(DIG_M / 2)} each way. It "
            f"lies with {finding.named_probability:.0%} probability on {words.length(finding.stretch_m)} of conductor "
            f"{pieces}."
        )

    def advice(self, advice: Advice) -> str:
        """Say what to do next, and what its outcomes mean."""
        test, end_m = advice.test, self.finding.wire.path.length_m
        if test.kind == "tone":
            near, far = ("A", "B") if test.from_start else ("B", "A")
            return (
                f"Feed the tone into terminal {near}, earth terminal {far}, and seek it at {self.place(test.low_m)}. "
                f"Heard: the break lies beyond, towards terminal {far}. Silent: before, towards terminal {near}."
            )
        if test.kind == "exposed":
            return f"Dig up the joint at {self.place(test.places_m[0])} by hand, and look at it."
        if test.kind == "test_loop":
            return (
                "Take the buried wire off the terminals and put a short loop of wire on them. If the transmitter still "
                "complains, the fault is not in the wire."
            )
        expected = self.finding.wire.expected_ohms * (test.high_m - test.low_m) / end_m
        if test.low_m <= 0.0 and test.high_m >= end_m:
            return f"Read the ohms between the two terminals: {expected:.1f} ohm when the wire is sound."
        from_a = test.low_m <= 0.0
        joint = self.place(test.high_m if from_a else test.low_m)
        return (
            f"Open the joint at {joint} and read the ohms from terminal {'A' if from_a else 'B'} to it: "
            f"{expected:.1f} ohm if that part is sound."
        )

    def remaining(self) -> str:
        """Say how many tests are still to be expected."""
        left = self.finding.remaining
        if not self.finding.advice:
            return "No test that is known here would tell more: dig at the most likely place."
        text = (
            f"{left.mean:.0f} more tests are to be expected until {self.wording.length(DIG_M)} of wire are left to dig "
            f"up; in 95 of 100 cases no more than {left.most:.0f}."
        )
        if left.ended < 0.95:  # noqa: PLR2004  (said where it is more than a rare case)
            text += (
                f" In {1 - left.ended:.0%} of the cases tests do not get so far: then replace the part that is left."
            )
        return text

    def observation(self, seen: Seen) -> str:
        """Say what was observed, as it was understood."""
        one = seen.observation
        if seen.test is None:
            return f"digging at {one.at}, within {self.wording.length(one.radius_m)}"
        if seen.test.kind == "test_loop":
            return f"short test loop at the terminals: {seen.outcome}"
        if seen.test.kind == "resistance":
            figure = "" if one.ohms is None else f" ({one.ohms:g} ohm)"
            return f"resistance from {one.start} to {one.end}: {seen.outcome}{figure}"
        if seen.test.kind == "tone":
            fades = (
                f", by a receiver that fades {self.wording.length(seen.test.fade_m)} before" if seen.test.fade_m else ""
            )
            return f"tone fed into {one.start.upper()}, at {one.at}: {seen.outcome}{fades}"
        return f"wire {'laid bare' if seen.test.kind == 'exposed' else 'moved'} at {one.at}: {seen.outcome}"

    def _near(self, path_m: float) -> str:
        """Name the nearest splice, crossing or flag."""
        wire = self.finding.wire
        point = wire.path.point(path_m)
        for name, places in wire.splices.items():
            if any(abs(at_m - path_m) <= 2.0 * self.finding.rates.place_error_m for at_m in places):
                return f"splice {name}"
        near = [(float(there.distance(point)), name) for name, there in wire.named.items()]
        crossings = [(apart_m, name) for apart_m, name in near if name.startswith("X") and apart_m <= DIG_M]
        if crossings:
            return f"crossing {min(crossings)[1]}"
        flags = [(apart_m, name) for apart_m, name in near if name.startswith("FLAG")]
        if not flags or wire.path.piece_at(path_m).conductor:
            return ""
        return f"near {min(flags)[1].lower()}"
