"""The animal: warning time between the signal's edge and the core."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, box

from parcelfence.settings import Settings
from tests.rules import sites

LOOP = sites.loop_of(sites.loop_run(sites.rounded(box(3, 3, 57, 37), 3.0)))


def _way_m(draft: sites.Draft) -> float:
    """Shortest way from free ground to the core, over straight walks square to the four sides."""
    ways = []
    for x in np.linspace(10, 50, 41):
        walk = LineString([(x, 3), (x, 20)])
        signal = walk.intersection(draft.zones.signal).bounds[3]
        core = walk.intersection(draft.zones.core).bounds[3]
        ways.append(signal - core)
    return min(ways)


def test_the_warning_is_the_way_over_the_speed() -> None:
    draft = sites.draft(loop=LOOP)
    seconds = _way_m(draft) / 4.0
    for delay_s, holds in ((seconds - 0.02, True), (seconds + 0.02, False)):
        settings = Settings(animal_speed_m_per_s=4.0, receiver_delay_s=delay_s)
        found = sites.found("short-warning", sites.draft(loop=LOOP, settings=settings))
        assert bool(found) is not holds
        for conflict in found:
            assert conflict.measured == pytest.approx(seconds, abs=0.003)
            assert (conflict.limit, conflict.unit) == (delay_s, "s")


def test_a_receiver_without_delay_always_warns_in_time() -> None:
    assert not sites.found("short-warning", sites.draft(loop=LOOP, settings=Settings(receiver_delay_s=0.0)))
