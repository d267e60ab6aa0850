"""A draft: everything that a rule may look at, complete but for the conflicts themselves."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isnan
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from parcelfence.circuit.circuit import Circuit
    from parcelfence.field.profile import ReachProfile
    from parcelfence.field.zones import Zones
    from parcelfence.layout.crossing import Crossing
    from parcelfence.layout.loop import Loop, Run
    from parcelfence.rules.nearness import Nearness
    from parcelfence.rules.wire import Stretch, Wire
    from parcelfence.settings import Settings
    from parcelfence.site.accuracy import Budget
    from parcelfence.site.feature import Utility
    from parcelfence.site.site import Site
    from parcelfence.wording import Wording

__all__ = ["Draft"]


@dataclass(frozen=True, kw_only=True)
class Draft:
    """The plan in progress."""

    site: Site
    settings: Settings
    loop: Loop
    crossings: tuple[Crossing, ...]
    zones: Zones
    profiles: tuple[ReachProfile, ...]
    circuit: Circuit

    @cached_property
    def wire(self) -> Wire:
        """All runs cut into short pieces: what the rules measure."""
        from parcelfence.rules.wire import Wire

        return Wire.of(self.loop)

    @cached_property
    def wording(self) -> Wording:
        """How lengths and stations are written for the person."""
        from parcelfence.wording import Wording

        return Wording(self.settings, several_runs=len(self.loop.runs) > 1)

    @cached_property
    def beside_utilities(self) -> Nearness:
        """How near the wire comes to each utility, as far as any rule asks."""
        from parcelfence.rules.nearness import Nearness

        utilities = self.site.utilities
        widest_m = max((utility.tolerance_m for utility in utilities), default=0.0)
        known_m = max((self.mark_budget(utility).total_m for utility in utilities), default=0.0)
        reached_m = max(widest_m, self.settings.utility_separation_m + known_m)
        return Nearness.of(self.wire, [utility.geometry for utility in utilities], within_m=reached_m)

    def near(
        self,
        obstacles: Sequence[BaseGeometry],
        *,
        within_m: float | Sequence[float],
        among: NDArray[np.bool_] | None = None,
    ) -> tuple[tuple[Stretch, ...], ...]:
        """Find where the wire comes nearer to each obstacle than a distance, see :func:`near_stretches`."""
        from parcelfence.rules.nearness import near_stretches

        return near_stretches(self.wire, obstacles, within_m=within_m, among=among)

    def signal_edge_budget(self, *, layer: str) -> Budget:
        """Uncertainty of the distance between the edge of the signal and a feature."""
        from parcelfence.site.accuracy import clearance_budget, signal_budget

        receiver = self.zones.receiver
        signal = signal_budget(reach_m=receiver.reach_m, height_m=receiver.height_m, settings=self.settings)
        return clearance_budget(self.site, layer=layer, settings=self.settings) + signal

    def mark_budget(self, utility: Utility) -> Budget:
        """Uncertainty of the distance between the laid wire and a utility."""
        from parcelfence.site.accuracy import clearance_budget

        return clearance_budget(self.site, layer="utilities", settings=self.settings, utility=utility)

    @cached_property
    def line_of_utility(self) -> NDArray[np.int64]:
        """Place of the buried line that each utility is a member of, in the order of the site's utilities."""
        import numpy as np

        place = {id(own): number for number, line in enumerate(self.site.buried_lines) for own in line.members}
        return np.array([place[id(utility)] for utility in self.site.utilities], dtype=np.int64)

    @cached_property
    def line_crossings(self) -> tuple[tuple[Crossing, ...], ...]:
        """Crossings of the finished wire with each buried line, in the order of the site's buried lines."""
        member = {utility.id: line for utility, line in zip(self.site.utilities, self.line_of_utility, strict=True)}
        found: list[list[Crossing]] = [[] for _ in self.site.buried_lines]
        for crossing in self.crossings:
            if crossing.layer == "utilities" and not isnan(crossing.angle_deg):
                found[member[crossing.crosses]].append(crossing)
        return tuple(tuple(own) for own in found)

    def run_of(self, crossing: Crossing) -> Run:
        """Give the run on which a crossing lies."""
        wanted = crossing.loop_id, crossing.twisted
        return next(run for run in self.loop.runs if (run.loop_id, run.twisted) == wanted)

    @property
    def facing_spacing_m(self) -> float:
        """Distance below which two runs with opposite currents count as facing: two reaches."""
        return 2 * self.zones.receiver.reach_m

    @cached_property
    def facing(self) -> tuple[Stretch, ...]:
        """Stretches of wire beside wire with the opposite current, on both sides of each pair."""
        from parcelfence.rules.facing import facing_stretches

        return facing_stretches(self.wire, spacing_m=self.facing_spacing_m, least_length_m=self.settings.reach_m)
