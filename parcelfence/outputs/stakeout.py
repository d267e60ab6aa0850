"""Points to set out, in the order of surveyors: point, northing, easting, elevation, description.

No header line, as data collectors expect it; system and unit stand in ``stakeout.txt`` beside it.  The elevation is
left empty: a plan knows none, and a zero would be taken for one.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Final

from parcelfence.outputs.delivery import public_code
from parcelfence.outputs.escaping import csv_text
from parcelfence.units import station_label

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from shapely import Point

    from parcelfence.outputs.delivery import Delivery

__all__ = ["NAME", "ORDER", "SIDE_FILE", "write"]

NAME: Final = "stakeout.csv"
SIDE_FILE: Final = "stakeout.txt"
ORDER: Final = ("point", "northing", "easting", "elevation", "description")
DECIMALS: Final = 3


def write(delivery: Delivery, folder: Path) -> None:
    """Write the stations of the wire, then crossings, splices, transmitter and flags, and beside them their system."""
    with (folder / NAME).open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        for number, (point, description) in enumerate(_points(delivery), start=1):
            northing, easting = f"{point.y:.{DECIMALS}f}", f"{point.x:.{DECIMALS}f}"
            rows.writerow((number, northing, easting, "", csv_text(" ".join(description.split()))))
    (folder / SIDE_FILE).write_text(_system(delivery), encoding="utf-8", newline="\n")


def _system(delivery: Delivery) -> str:
    """Say in which system the points stand, so that nobody takes a local grid for a public one."""
    crs = delivery.plane_crs
    code = public_code(crs)
    lines = [
        f"Columns of {NAME}: {', '.join(ORDER)}; no header line.",
        f"System: {crs.name}" + (f" ({':'.join(code)})" if code else ""),
        f"Unit: {crs.axis_info[0].unit_name}",
    ]
    if delivery.is_local_grid:
        longitude, latitude = delivery.plan.site.frame.centre_lon_lat
        lines += [
            "This is a LOCAL GRID of this plan alone: no national or state grid, and of no use with another plan.",
            f"Its centre lies at longitude {longitude:.3f}, latitude {latitude:.3f}.",
            "A public system is to be had with --dst-crs, such as --dst-crs EPSG:6535.",
            f"As WKT: {crs.to_wkt()}",
        ]
    return "\n".join(lines) + "\n"


def _points(delivery: Delivery) -> Iterator[tuple[Point, str]]:
    plan, tables = delivery.plan, delivery.plane

    def label(station_m: float) -> str:
        return station_label(station_m, style=delivery.station_style)

    for station, point in zip(plan.take_off.stations, tables["stations"].geometry, strict=True):
        yield point, f"WIRE {station.loop_id} {label(station.station_m)} {station.point_kind}"
    for crossing, point in zip(plan.crossings, tables["crossings"].geometry, strict=True):
        yield point, f"CROSSING {crossing.kind} {crossing.crosses} on {crossing.loop_id} at {label(crossing.station_m)}"
    for splice, point in zip(plan.take_off.sequence.splices, tables["splices"].geometry, strict=True):
        yield point, f"SPLICE {splice.id} on {splice.loop_id} at {label(splice.station_m)}"
    for point in tables["transmitter"].geometry:
        yield point, "TRANSMITTER"
    for flag, point in zip(plan.take_off.flags, tables["flags"].geometry, strict=True):
        yield point, f"FLAG {flag.flag} of {flag.loop_id} round {flag.removal_round}"
