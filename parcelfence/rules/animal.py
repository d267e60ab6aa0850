"""The animal: time to turn back between the first reaction and the strong one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from parcelfence.conflict import Conflict
from parcelfence.lines import gather
from parcelfence.rules.place import nearest_place, vertices
from parcelfence.rules.rule import Rule, rule

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely import MultiPolygon

    from parcelfence.rules.draft import Draft

__all__ = ["RULES"]

_THEME: Final = "animal"
_SIMPLIFIED_M: Final = 0.02
_STEP_M: Final = 2.0
_RESOLVED_S: Final = 0.005


@rule(
    "short-warning",
    theme=_THEME,
    severity="caution",
    summary="The animal is longer on its way from the signal's edge to the core than the receiver takes to react.",
    of_signal=True,
)
def short_warning(draft: Draft) -> Iterator[Conflict]:
    """Measure from the edge of the roam area to the core zone, along all of that edge."""
    settings, zones = draft.settings, draft.zones
    edge = shapely.boundary(zones.roam)
    if edge.is_empty or zones.core.is_empty:
        return
    points = vertices(shapely.segmentize(shapely.simplify(edge, _SIMPLIFIED_M), _STEP_M))
    short_m = settings.animal_speed_m_per_s * (settings.receiver_delay_s - _RESOLVED_S)
    if short_m <= 0:
        return
    number, way_m = _ways(points, core=zones.core, within_m=short_m)
    if not len(number):
        return
    near, worst = points[np.unique(number)], points[number[int(np.argmin(way_m))]]
    warning_s = float(way_m.min()) / settings.animal_speed_m_per_s
    place = nearest_place(draft.loop, worst, twisted=False)
    at = f" {draft.wording.at(place.run, station_m=place.station_m)}" if place else ""
    yield Conflict(
        message=f"At {draft.wording.speed(settings.animal_speed_m_per_s)} the animal is in the core zone "
        f"{warning_s:.2f} s after the signal's edge{at}; the receiver takes {settings.receiver_delay_s:.2f} s. "
        f"This holds for {len(near) / len(points):.0%} of the edge.",
        remedy="Choose a larger reach, train at walking pace, and set the flags with care there.",
        geometry=gather(list(near)),
        station_m=place.station_m if place else None,
        measured=warning_s,
        limit=settings.receiver_delay_s,
        unit="s",
        layer="zones",
    )


def _ways(
    points: NDArray[np.object_], *, core: MultiPolygon, within_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Points that are nearer to the core zone than a distance, and how near."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(shapely.boundary(core))]
    sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(sides), dtype=object))
    (number, _), way_m = tree.query_nearest(points, max_distance=within_m, return_distance=True, all_matches=False)
    return number, way_m


RULES: Final[tuple[Rule, ...]] = (short_warning,)
