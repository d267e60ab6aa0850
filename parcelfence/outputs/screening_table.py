"""The table of a screening: one row a parcel, with its loop, in any format that an analyst asks for.

Finished slices are kept beside the table until it is whole, so that a run that was stopped goes on where it was.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, MissingExtraError, OutputError, near_matches
from parcelfence.layers import FIXED_TIME

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from geopandas import GeoDataFrame

    from parcelfence.screening import Outcome, ScreeningJob

__all__ = ["FORMATS", "Parts", "write_table"]

FORMATS: Final = {".gpkg": "GPKG", ".geojson": "GeoJSON", ".fgb": "FlatGeobuf", ".parquet": "", ".csv": ""}
"""Endings of the table, with the driver that writes it."""


@dataclass(frozen=True)
class Parts:
    """Finished slices of a screening, kept in a folder beside the table.

    Parameters
    ----------
    folder : Path
        Where they are kept; it belongs to one job with one version of its inputs.
    """

    folder: Path

    @classmethod
    def of(cls, table: Path, job: ScreeningJob, *, version: str) -> Parts:
        """Find or make the folder; a folder of another job is thrown away."""
        folder = table.parent / f".{table.name}.parts"
        key = _key(job, version=version)
        mark = folder / "job"
        try:
            if folder.exists() and (not mark.exists() or mark.read_text(encoding="ascii") != key):
                shutil.rmtree(folder)
            folder.mkdir(exist_ok=True)
            mark.write_text(key, encoding="ascii")
        except OSError as error:
            raise OutputError(_refusal(table, error)) from error
        return cls(folder)

    def finished(self, tasks: Iterable[tuple[int, int]]) -> dict[tuple[int, int], list[Outcome]]:
        """Read the slices that an earlier run finished."""
        return {task: _unpacked(path) for task in tasks if (path := self._path(task)).exists()}

    def keep(self, task: tuple[int, int], outcomes: list[Outcome]) -> None:
        """Keep one slice, whole or not at all; raises OutputError if the disk refuses."""
        path = self._path(task)
        partial = path.with_suffix(".tmp")
        try:
            partial.write_text(json.dumps([_packed(outcome) for outcome in outcomes]), encoding="utf-8")
            partial.replace(path)
        except OSError as error:
            raise OutputError(_refusal(path, error)) from error

    def forget(self) -> None:
        """Remove the folder when the table is written."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _path(self, task: tuple[int, int]) -> Path:
        return self.folder / f"{task[0]:08d}-{task[1]:08d}.part"


def write_table(outcomes: Iterable[Outcome], table: Path) -> None:
    """Write the outcomes, in the order of the parcels.

    Parameters
    ----------
    outcomes : iterable of Outcome
        One for each parcel.
    table : Path
        Its ending, one of :data:`FORMATS`, names the format; the geometry is on WGS 84 (in a CSV it is left out).

    Raises
    ------
    OutputError
        If the ending is not known or the disk refuses; an older table still stands.
    """
    check_ending(table)
    frame = _frame(outcomes)
    partial = table.with_name(f".{table.stem}.tmp{table.suffix}")
    try:
        _write(frame, partial, ending=table.suffix.lower())
        partial.replace(table)
    except OSError as error:
        raise OutputError(_refusal(table, error)) from error
    finally:
        partial.unlink(missing_ok=True)


def refuse_existing(table: Path, *, overwrite: bool) -> None:
    """Refuse to replace a table that nobody said may be replaced; raises OutputError."""
    if table.exists() and not overwrite:
        remedy = "choose another name, or replace it with --overwrite"
        raise OutputError(Fault(where=str(table), found="it exists already", remedy=remedy))


def check_ending(table: Path) -> None:
    """Refuse an ending that names no format; raises OutputError."""
    if table.suffix.lower() not in FORMATS:
        raise OutputError(
            Fault(
                where=str(table),
                found=f"the ending {table.suffix!r} names no format",
                remedy=near_matches(table.suffix, FORMATS),
            )
        )


def _frame(outcomes: Iterable[Outcome]) -> GeoDataFrame:
    import geopandas
    import pandas as pd
    import shapely

    from parcelfence.outputs.tables import rounded

    rows = pd.DataFrame([asdict(outcome) for outcome in sorted(outcomes, key=lambda one: one.position)])
    wire = [shapely.from_wkb(line) if line else None for line in rows.pop("wire")] if len(rows) else []
    return rounded({"screening": geopandas.GeoDataFrame(rows, geometry=wire, crs=4326)})["screening"]


def _write(frame: GeoDataFrame, path: Path, *, ending: str) -> None:
    if ending == ".csv":
        from parcelfence.outputs.escaping import csv_text

        texts = frame.drop(columns="geometry").map(lambda value: csv_text(value) if isinstance(value, str) else value)
        texts.to_csv(path, index=False, float_format="%.3f")
    elif ending == ".parquet":
        try:
            frame.to_parquet(path, index=False, schema_version="1.1.0", write_covering_bbox=True)
        except ImportError as error:
            raise MissingExtraError.of("parquet", package="pyarrow", purpose="Writing GeoParquet") from error
    else:
        import pyogrio

        options = {"layer": "screening", "VERSION": "1.3"} if ending == ".gpkg" else {}
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_TIME})  # the same rows give the same bytes
        try:
            frame.to_file(path, driver=FORMATS[ending], geometry_type="MultiLineString", engine="pyogrio", **options)
        finally:
            pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _packed(outcome: Outcome) -> dict[str, Any]:
    return asdict(outcome) | {"wire": outcome.wire.hex()}


def _unpacked(path: Path) -> list[Outcome]:
    from parcelfence.screening import Outcome

    rows = json.loads(path.read_text(encoding="utf-8"))
    return [Outcome(**(row | {"wire": bytes.fromhex(row["wire"])})) for row in rows]


def _key(job: ScreeningJob, *, version: str) -> str:
    sources = [(str(one), one.path.stat().st_mtime_ns, one.path.stat().st_size) for one in job.sources]
    text = json.dumps([version, sources, job.settings.model_dump(mode="json"), job.working_crs])
    return hashlib.sha256(text.encode()).hexdigest()


def _refusal(path: Path, error: OSError) -> Fault:
    reason = error.strerror or str(error)
    return Fault(where=str(path), found=f"it could not be written: {reason}", remedy="choose another place")
