"""What ground, wire and trouble are worth to the layout, in metres of plain wire.

One unit lets a person argue with every price.  None has a published source: they are reckoned from what the work takes
(common practice, no source) and were tried on some hundred real lots.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from parcelfence.site.meaning import Surface

__all__ = [
    "BEND",
    "BEND_PER_90",
    "BESIDE",
    "CLEARANCE",
    "CLEARANCE_WORTH",
    "CORNER",
    "COURSE",
    "CUT",
    "EASEMENT",
    "EASEMENT_ALONG",
    "FORBIDDEN",
    "FREE_GROUND",
    "HAND_DUG",
    "INNER_LOOP",
    "PEGLESS",
    "ROOTS",
    "SHORT_LEG",
    "SHORT_LEG_PER_M",
]

FREE_GROUND: Final = 0.8
"""A square metre of free ground: a free strip 2.5 m wide pays for the wire on both of its sides."""
HAND_DUG: Final = 6.0
"""A metre in a tolerance zone, dug by hand; lines in one trench count once."""
BESIDE: Final = 100.0
"""A metre beside a buried line, nearer than the separation: never bought where there is another way."""
FORBIDDEN: Final = 100.0
"""A metre where no wire may lie, such as ground that is not dug: as dear as beside a buried line."""
BEND: Final = 1.5
BEND_PER_90: Final = 1.5
"""A bend, and every right angle of it: a chamfer of a square corner never pays, waves do not pay."""
SHORT_LEG: Final = 0.5
SHORT_LEG_PER_M: Final = 40.0
"""A leg without room for its two bends, and every metre that it lacks: a bend is not laid tighter than its radius."""
PEGLESS: Final = 1.5
"""A leg that is neither along nor square to a lot line, wall or buried line: it has no line to peg from."""
CLEARANCE: Final = 8.0
CLEARANCE_WORTH: Final = 30.0
"""A metre within a building's clearance: the larger of the first and so many square metres of ground."""
CORNER: Final = 12.0
"""A bend that doubles the field at the corner of a wall: signal indoors."""
EASEMENT: Final = 1.0
EASEMENT_ALONG: Final = 6.0
"""A metre in an easement, and what following its axis costs besides: it is crossed square with the holder's consent."""
CUT: Final[dict[Surface, float]] = {"pool surround": 100.0, "concrete": 5.0, "pavers": 2.0, "gravel": 1.0, "deck": 5.0}
"""A metre of cut by surface; a pool surround is not cut at all."""
COURSE: Final = 5.0
"""A metre of a creek or ditch and its banks."""
ROOTS: Final = 6.0
"""A metre among the roots of a tree, dug by hand."""
INNER_LOOP: Final = 20.0
"""An inner loop besides its wire, its bends and its lead-in: two splices and its test."""
