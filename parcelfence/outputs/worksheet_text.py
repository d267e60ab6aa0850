"""Fixed texts of the worksheet: steps of testing and burying, flags, and the outline of the training.

All of it is common practice, in general words; the makers of transmitter and receiver, local codes, and whoever knows
the animal come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["AFTER_BURYING", "BEFORE_BURYING", "BURYING", "TRAINING", "TRAINING_CAUTIONS", "Stage"]

BEFORE_BURYING: Final = (
    "Lay the wire on the ground along the plan, leg by leg. Nothing is cut and nothing is buried yet.",
    "Twist the lead-in as evenly as stated in the material list; no part of it may lie beside single wire.",
    "Keep the transmitter unplugged. Measure the resistance between the two ends and write it down.",
    "Make the splices with waterproof connectors, then measure again: the figure must not have risen.",
    "Connect the transmitter, switch it on, and set the level by walking up to the wire, receiver in the hand.",
    "Hold the receiver at the height of the animal's neck. No animal wears it now.",
    "Walk the whole loop on both sides. Write the distances into the table below.",
    "Where all is silent the wire has a break; where a stretch is silent another run beside it cancels it.",
    "Go through the house, to every door, along the lot line and along the lead-in: the receiver must stay silent.",
    "Move the wire until it is right. It is easy now and hard later.",
)
BURYING: Final = (
    "Check once more that every locate mark is there and still valid. No mark, no digging.",
    "Dig by hand in every tolerance zone, and at every crossing between the stations of the crossing list.",
    "Lay the wire loose, with the slack of the list, without kinks, and in curves no tighter than the stated radius.",
    "Protect the wire under drives and at edges where spades, mowers or tillers work.",
    "Take a picture of every crossing and splice with its station before you cover it.",
)
AFTER_BURYING: Final = (
    "Measure the resistance again: it must be what it was before burying.",
    "Walk the whole loop again and set the flags where the receiver first reacts.",
    "Switch the mains of the house off and on: the transmitter must come back by itself, or say so.",
    "Write splices, crossings and changes into the plan, and leave a copy beside the transmitter.",
)
TRAINING_CAUTIONS: Final = (
    "Ask a veterinarian or an experienced trainer first, above all with a young, old, ill, pregnant or fearful animal.",
    "Follow the instructions of receiver and transmitter. Begin with sound, or the lowest setting that it notices.",
    "Fit the receiver as its makers say, take it off for the night, and look at the skin beneath it every day.",
    "Short and calm: a few sessions a day of some ten minutes, always ended with play well inside the flags.",
    "Stop and ask for help if the animal freezes, hides, cries, refuses to go out, or runs through.",
    "A buried wire keeps nothing out. Never leave an animal alone with it that has not learned it.",
)


@dataclass(frozen=True)
class Stage:
    """Some days of the training: which, what to do, and by what to see that the next stage may begin."""

    first_day: int
    last_day: int
    work: str
    done_when: str


TRAINING: Final = (
    Stage(
        1,
        2,
        "All flags stand. On a lead, receiver on without any correction. Walk along the flags, turn back at each with "
        "a cheerful word and a treat.",
        "it turns with you at the flags without pulling",
    ),
    Stage(
        3,
        5,
        "Still on the lead, receiver at its first setting. Let it come up to the flags by itself at another place "
        "each time; help it back at the first sound, reward it inside.",
        "it turns back by itself at the sound, all around the loop",
    ),
    Stage(
        6,
        9,
        "On a long line. Add temptations beyond the flags, mild ones first: a person, a toy, another animal. Never "
        "call it across the wire.",
        "it stays inside with each of them",
    ),
    Stage(
        10,
        14,
        "Off the line under your eyes, a quarter of an hour first, longer each day. Gates and the drive: it leaves "
        "only without the receiver, carried or driven.",
        "three days without a mistake",
    ),
)
"""Stages in general words; every animal takes its own time, and a stage is repeated until it sits."""

FIRST_REMOVAL_DAY: Final = 15
DAYS_BETWEEN_REMOVALS: Final = 3
