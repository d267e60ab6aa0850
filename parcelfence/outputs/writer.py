"""A writer: one kind of file that a plan can become; built in, or brought by a third party."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Final

from parcelfence.errors import MissingExtraError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from parcelfence.outputs.delivery import Delivery

__all__ = ["BUILT_IN", "CONTRACT", "Writer"]

CONTRACT: Final = 1
"""Version of what a writer gets and must do; it rises when that changes."""


@dataclass(frozen=True, kw_only=True)
class Writer:
    """One kind of output.

    Parameters
    ----------
    name : str
        Word by which it is asked for.
    files : str
        What it writes, for people: ``"plan.dxf"``, ``"geojson/LAYER.geojson"``.
    meaning : str
        What that is good for.
    write : callable
        Gets a :class:`~parcelfence.outputs.delivery.Delivery` and a folder to write into.  It writes nothing
        outside of that folder, and the same bytes for the same plan.
    contract : int
        The :data:`CONTRACT` that it was made for.
    default : bool
        Whether it is written when nobody chooses.
    extra, package : str
        Optional part of parcelfence, and the package in it, that it needs; empty if none.
    """

    name: str
    files: str
    meaning: str
    write: Callable[[Delivery, Path], None]
    contract: int = CONTRACT
    default: bool = False
    extra: str = ""
    package: str = ""

    def run(self, delivery: Delivery, folder: Path) -> None:
        """Write the files.

        Raises
        ------
        MissingExtraError
            If the package that it needs is not installed.
        """
        if self.package:
            self._demand_package()
        self.write(delivery, folder)

    def _demand_package(self) -> None:
        try:
            import_module(self.package)
        except (ImportError, OSError) as error:  # OSError: a system library behind the package is missing
            raise MissingExtraError.of(self.extra, package=self.package, purpose=f"The output {self.name}") from error


def _late(module: str, function: str = "write") -> Callable[[Delivery, Path], None]:
    """Name a function of a module of this folder, to be imported when it is used."""

    def write(delivery: Delivery, folder: Path) -> None:
        getattr(import_module(f"parcelfence.outputs.{module}"), function)(delivery, folder)

    return write


_TABLE: Final = (
    Writer(
        name="gpkg",
        files="plan.gpkg, plan.qgs",
        meaning="every layer in the working CRS, with a stored style; a QGIS project that shows them in order",
        write=_late("geopackage"),
        default=True,
    ),
    Writer(
        name="geojson",
        files="geojson/LAYER.geojson",
        meaning="every layer on WGS 84 (RFC 7946)",
        write=_late("geojson"),
        default=True,
    ),
    Writer(
        name="map",
        files="map.html",
        meaning="the map, in one file that opens without a connection",
        write=_late("map_page"),
        default=True,
    ),
    Writer(
        name="worksheet",
        files="worksheet.html",
        meaning="the crew's sheet, to be printed",
        write=_late("worksheet"),
        default=True,
    ),
    Writer(
        name="owner",
        files="owner.html",
        meaning="one page for the owner: a small map, what the wire does and does not do, daily care, the quote",
        write=_late("owner_page"),
        default=True,
    ),
    Writer(
        name="training",
        files="training.html",
        meaning="a record of the training for each animal, with its rounds of flags, to be printed",
        write=_late("training_page"),
        default=True,
    ),
    Writer(
        name="as-built",
        files="as_built.html",
        meaning="the sheet for the next digging crew; only where parcelfence check was given a record",
        write=_late("as_built_page"),
        default=True,
    ),
    Writer(
        name="stakeout",
        files="stakeout.csv, stakeout.txt",
        meaning="points to set out: number, northing, easting, elevation, description",
        write=_late("stakeout"),
        default=True,
    ),
    Writer(
        name="gpx",
        files="flags.gpx",
        meaning="flags as waypoints, wire as routes and tracks (GPX 1.1)",
        write=_late("gpx"),
        default=True,
    ),
    Writer(
        name="dxf",
        files="plan.dxf",
        meaning="drawing for CAD, one layer per theme",
        write=_late("dxf"),
        default=True,
    ),
    Writer(
        name="survey",
        files="survey.csv",
        meaning="courses of wire and lot lines: stations, bearings, distances, curves, coordinates, offsets",
        write=_late("survey"),
    ),
    Writer(
        name="kml",
        files="plan.kml",
        meaning="every layer for globes (OGC KML 2.2)",
        write=_late("kml"),
    ),
    Writer(
        name="parquet",
        files="parquet/LAYER.parquet",
        meaning="every layer as GeoParquet 1.1",
        write=_late("geoparquet"),
        extra="parquet",
        package="pyarrow",
    ),
    Writer(
        name="pdf",
        files="worksheet.pdf",
        meaning="the crew's sheet as PDF",
        write=_late("worksheet", "write_pdf"),
        extra="pdf",
        package="weasyprint",
    ),
)

BUILT_IN: Final[dict[str, Writer]] = {writer.name: writer for writer in _TABLE}
"""The writers of parcelfence itself; ``summary.json`` is written beside any of them, last."""
