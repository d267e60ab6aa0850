"""What a person reads about a stretch of weak signal, and the same as data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from parcelfence.text import visible
from parcelfence.wording import Wording

if TYPE_CHECKING:
    from parcelfence.service.signal_trouble import Cause, SignalTrouble
    from parcelfence.service.walking import WalkTest

__all__ = ["UNTRIED", "cause_words", "trouble_data", "trouble_lines"]

_MOST_SHOWN: Final = 4
_WORTH_SAYING: Final = 0.01
UNTRIED: Final = (
    "Only causes that can be computed are weighed, one at a time and each as likely as the others before. A weak "
    "battery, a receiver held askew and a poor joint weaken the whole loop alike and show as a lower level."
)


def cause_words(cause: Cause, *, wording: Wording) -> str:
    """Say what a cause is, with its most likely size."""
    length, share, about = wording.length(abs(cause.size)), f"{abs(cause.size):.0%}", visible(cause.about)
    sense, side = ("with", "inside") if cause.size > 0 else ("against", "outside")
    return {
        "mistaken": "the points are mistaken, and the wire is as drawn",
        "deeper": f"the wire lies some {length} deeper there",
        "aside": f"the wire lies some {length} farther {'in' if cause.size > 0 else 'out'} than drawn",
        "facing-run": f"the run of wire that faces it lies some {length} nearer than drawn",
        "metal": f"{about} carries an induced current, some {share} of the most that it can",
        "unknown-metal": f"metal that is on no layer runs along it, some {length} {side}",
        "bypassed-loop": f"a joint bypasses {f'loop {about}' if about else 'this loop'}: some {share} of the current "
        "does not go round it",
        "shorted-turn": f"splice {about} touches the run beside it: some {share} of the current does not go round the "
        "wire between them",
        "other-loop": f"{about} carries some {share} of this current, {sense} it",
    }[cause.kind]


def trouble_lines(trouble: SignalTrouble, test: WalkTest) -> list[str]:
    """Write what is known about one stretch, one sentence or cause a line."""
    wording = Wording(test.plan.settings)
    ends = f"stations {wording.station(trouble.start_m)} and {wording.station(trouble.end_m)}"
    missing = wording.length(trouble.shortfall_m)
    lines = [
        f"{len(trouble.points)} points between {ends} of {_loop_id(trouble, test)} lie {missing} too near the wire."
    ]
    for cause in trouble.causes[:_MOST_SHOWN]:
        if cause.probability >= _WORTH_SAYING:
            reach = "" if math.isnan(cause.reach_m) else f"; reach {wording.length(cause.reach_m)} in its middle"
            lines.append(f"{cause.probability:4.0%}  {cause_words(cause, wording=wording)}{reach}")
    if not trouble.clear:
        lines.append("These cannot be told apart by the points that were walked.")
    if trouble.check is not None and not trouble.clear:
        first, second = (_reach(reach_m, wording=wording) for reach_m in trouble.check.reaches_m)
        side = "inside" if trouble.check.inside else "outside"
        lines.append(
            f"To tell the first two apart, tape the reach {side} the loop at station "
            f"{wording.station(trouble.check.station_m)}: {first} by the first, {second} by the second."
        )
    return lines


def trouble_data(trouble: SignalTrouble, test: WalkTest) -> dict[str, Any]:
    """Give it as plain data, in metres."""
    wording, check = Wording(test.plan.settings), trouble.check
    return {
        "loop_id": _loop_id(trouble, test),
        "from_station_m": round(trouble.start_m, 2),
        "to_station_m": round(trouble.end_m, 2),
        "points": [visible(test.names[number]) for number in trouble.points],
        "shortfall_m": round(trouble.shortfall_m, 3),
        "computed_reach_m": _rounded(trouble.computed_m),
        "told_apart": trouble.clear,
        "causes": [
            {
                "kind": cause.kind,
                "about": visible(cause.about),
                "size": cause.size,
                "probability": round(cause.probability, 6),
                "reach_m": _rounded(cause.reach_m),
                "words": cause_words(cause, wording=wording),
            }
            for cause in trouble.causes
        ],
        "check": None
        if check is None
        else {
            "station_m": round(check.station_m, 2),
            "side": "inside" if check.inside else "outside",
            "reaches_m": [_rounded(reach_m) for reach_m in check.reaches_m],
        },
    }


def _loop_id(trouble: SignalTrouble, test: WalkTest) -> str:
    return visible(test.laid[trouble.loop].loop_id)


def _reach(reach_m: float, *, wording: Wording) -> str:
    return "none that ends" if math.isnan(reach_m) else wording.length(reach_m)


def _rounded(value_m: float) -> float | None:
    return None if math.isnan(value_m) else round(value_m, 3)
