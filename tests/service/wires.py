"""Wires for the tests of what comes after laying."""

from __future__ import annotations

import numpy as np
from shapely import LineString, MultiPolygon, Point, Polygon

from parcelfence.layout.loop import Loop, Run, Transmitter
from parcelfence.service.break_belief import BreakBelief
from parcelfence.service.buried_wire import BuriedWire
from parcelfence.service.conductor_path import conductor_path
from parcelfence.settings import Settings

LEAD = Run(part="lead_in", loop_id="T1", line=LineString([(20, 10), (20, 0)]), current=0.0)
OUTER = Run(
    part="loop", loop_id="L1", line=LineString([(20, 0), (60, 0), (60, 40), (0, 40), (0, 0), (20, 0)]), current=1.0
)
BRANCH = Run(part="lead_in", loop_id="T2", line=LineString([(20, 5), (30, 5)]), current=0.0)
INNER = Run(
    part="inner_loop", loop_id="K1", line=LineString([(30, 5), (30, 15), (40, 15), (40, 5), (30, 5)]), current=1.0
)


def loop_of(*runs: Run) -> Loop:
    """Put runs together, with the transmitter at the beginning of the lead-in."""
    transmitter = Transmitter(point=Point(20, 10), given=True, note="")
    return Loop(runs=runs, transmitter=transmitter, allowed=MultiPolygon())


def plain_wire(*, splices: dict[str, tuple[float, ...]] | None = None) -> BuriedWire:
    """Bury the outer loop with its lead-in: 10 m of pair, 200 m of loop."""
    return BuriedWire(
        path=conductor_path(loop_of(OUTER, LEAD)),
        settings=Settings(),
        splices={"S1": (10.0, 210.0)} if splices is None else splices,
        named={"X1": Point(60, 20), "FLAG 7": Point(30, 38)},
        crossings=((Point(60, 20), 1.2),),
        hardscape=Polygon([(25, -5), (30, -5), (30, 5), (25, 5)]).boundary,
        beds=Point(0, 100).buffer(1.0).boundary,
        expected_ohms=4.4,
        fade_m=40.0,
    )


def even_belief(cells: int, *, cell_m: float = 1.0) -> BreakBelief:
    """Believe in an open break, anywhere alike."""
    edges_m = np.linspace(0.0, cells * cell_m, cells + 1)
    return BreakBelief.of(edges_m, opened=np.ones(cells), weak=np.zeros(cells), elsewhere=0.0)
