"""Fixed words for people: the cautions that every output carries by which somebody digs, and the care that follows.

All of it is common practice, in general words and from memory; makers' instructions, local codes and whoever knows the
animal come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = [
    "CAUTIONS",
    "DAILY_CARE",
    "OWNER_CALLS",
    "PRIVATE_LINES",
    "SEASONS",
    "WHAT_IT_DOES",
    "WHAT_IT_DOES_NOT",
    "Caution",
]


@dataclass(frozen=True)
class Caution:
    """One caution: a short order, and what it means."""

    order: str
    meaning: str


CAUTIONS: Final[tuple[Caution, ...]] = (
    Caution(
        "Call the utility locating service before you dig.",
        "Wait until every line is marked. This sheet is no substitute for marks on the ground, and marks grow old.",
    ),
    Caution(
        "Dig by hand in tolerance zones.",
        "Lines may lie anywhere in the zone beside a mark, at any depth, and some are never marked at all.",
    ),
    Caution(
        "Local codes and licensed electricians come first.",
        "Where they ask for something else than this sheet, do as they say. Leave mains, grounding and surge "
        "protection to those who are licensed for it.",
    ),
    Caution(
        "Fit and supervise the animal.",
        "Walk the finished loop with the receiver in your hand before the animal meets it, and train it with flags.",
    ),
)
"""In the order of doing."""
PRIVATE_LINES: Final = (
    "The locating service marks the lines of the utilities only. Ask the owner for private lines and have them "
    "located: irrigation, yard lighting, power to a shed or pool, propane, septic pipes, drains, an old boundary wire."
)
SEASONS: Final[tuple[Caution, ...]] = (
    Caution("Every month:", "test or change the battery of the receiver, and walk up to the wire at three places."),
    Caution(
        "After the last frost:",
        "walk the whole loop. Frost lifts wire out of the ground; press it back, and look at the edges of drives.",
    ),
    Caution(
        "When beds are edged, soil is loosened or sprinklers are mended:",
        "show where the wire lies before anybody digs, and read the ohms afterwards.",
    ),
    Caution("After a thunderstorm:", "look at the lamp of the transmitter, and test the receiver at one place."),
    Caution("Before winter:", "read the ohms and write them down; mend what has changed while the ground is soft."),
    Caution("When another crew digs:", "it calls the locating service anew. Old marks and this sheet do not count."),
)
"""When to look again, and at what."""
WHAT_IT_DOES: Final = (
    "A thin wire in the ground carries a weak signal. The receiver on the animal hears it near the wire and warns "
    "first with a sound. A trained animal turns back."
)
WHAT_IT_DOES_NOT: Final[tuple[str, ...]] = (
    "It keeps nothing out: other animals and people walk in freely.",
    "It does not hold an animal that was not trained, or that is frightened or determined enough to run through.",
    "It does not work without power, with an empty battery, or with a broken wire. Then keep the animal on a lead.",
    "It is not for aggressive animals, and not in place of a fence where the law asks for one.",
)
DAILY_CARE: Final[tuple[str, ...]] = (
    "Look at the lamp of the transmitter.",
    "Look at the skin beneath the receiver, and feel that two fingers fit under the strap.",
    "At any redness leave the receiver off and ask a veterinarian.",
    "Take the receiver off for the night. It is worn for some hours of the day, not around the clock.",
    "Never take the animal across the wire with its receiver on. Take it off, carry or drive the animal across.",
    "Do not leave the animal alone outdoors for long, and never before its training is finished.",
)
OWNER_CALLS: Final[tuple[tuple[str, str], ...]] = (
    ("Utility locating service", "before anybody digs, every time"),
    ("Installer", "an alarm, a silent stretch of wire, signal in the house"),
    ("Trainer", "it runs through, or is afraid to go out"),
    ("Veterinarian", "sore skin; an ill, pregnant, very young or old animal"),
    ("Licensed electrician", "sockets, grounding, after lightning"),
)
"""Whom an owner calls, and when."""
