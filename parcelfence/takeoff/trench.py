"""Trenches: how much is dug, by surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from parcelfence.site.terrain import ground_length_m

if TYPE_CHECKING:
    from parcelfence.layout.loop import Loop
    from parcelfence.settings import Settings
    from parcelfence.site.site import Site

__all__ = ["BY_HAND", "SOIL", "trenches"]

SOIL: Final = "soil"
BY_HAND: Final = "soil, by hand in tolerance zones"


def trenches(loop: Loop, site: Site, *, settings: Settings) -> tuple[tuple[str, float], ...]:
    """Measure the trench by surface, along the ground where the site has terrain.

    Parameters
    ----------
    loop : Loop
        All runs; where several lie in one trench it is dug once.
    site : Site
        Its hard surfaces, and its utilities, in whose tolerance zones one digs by hand.
    settings : Settings
        Tolerance zone of utilities that state none.

    Returns
    -------
    tuple of (str, float)
        Surface and metres: soil, then soil to be dug by hand, then the hard surfaces by name.  Ground that lies in
        several surfaces counts for the first of the site.
    """
    rest = shapely.union_all([run.line for run in loop.runs])
    hard: dict[str, float] = {}
    for surface in site.hardscape:
        if rest.intersects(surface.geometry):
            hard[surface.kind] = hard.get(surface.kind, 0.0) + ground_length_m(
                rest.intersection(surface.geometry), site.terrain
            )
            rest = rest.difference(surface.geometry)
    zones = [
        utility.geometry.buffer(utility.tolerance_m or settings.tolerance_zone_m)
        for utility in site.utilities
        if rest.dwithin(utility.geometry, utility.tolerance_m or settings.tolerance_zone_m)
    ]
    by_hand_m = ground_length_m(rest.intersection(shapely.union_all(zones)), site.terrain) if zones else 0.0
    by_surface = {SOIL: ground_length_m(rest, site.terrain) - by_hand_m} | (
        {BY_HAND: by_hand_m} if by_hand_m > 0 else {}
    )
    for kind, length_m in sorted(hard.items()):
        by_surface[kind] = by_surface.get(kind, 0.0) + length_m
    return tuple(by_surface.items())
