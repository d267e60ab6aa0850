"""The table of a screening: one row a parcel and reach, with its loop, in any format that an analyst asks for.

Finished slices are kept beside the table until it is whole, so that a run that was stopped goes on where it was.  The
table is put together from them piece by piece: nobody ever holds all rows at once, where the format allows it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, MissingExtraError, OutputError, near_matches
from parcelfence.layers import FIXED_TIME, SCREENING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from geopandas import GeoDataFrame

    from parcelfence.screening import Outcome, ScreeningJob, Task

__all__ = ["FORMATS", "Parts", "check_ending", "outcome_table", "refuse_existing", "write_table"]

FORMATS: Final = {".gpkg": "GPKG", ".geojson": "GeoJSON", ".fgb": "FlatGeobuf", ".parquet": "", ".csv": ""}
"""Endings of the table, with the driver that writes it."""
_ROWS_AT_A_TIME: Final = 5_000
_TYPES: Final = {"text": "str", "real": "float64", "integer": "Int64", "boolean": "boolean"}


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
    def waiting(cls, table: Path, job: ScreeningJob, *, version: str) -> Parts | None:
        """Find the folder of an earlier run of the same job on the same inputs."""
        folder = _folder(table)
        mark = folder / "job"
        same = mark.exists() and mark.read_text(encoding="ascii") == _key(job, version=version)
        return cls(folder) if same else None

    @classmethod
    def of(cls, table: Path, job: ScreeningJob, *, version: str) -> Parts:
        """Find or make the folder; a folder of another job is thrown away."""
        folder = _folder(table)
        try:
            if cls.waiting(table, job, version=version) is None:
                if folder.exists():
                    shutil.rmtree(folder)
                folder.mkdir()
                (folder / "job").write_text(_key(job, version=version), encoding="ascii")
        except OSError as error:
            raise OutputError(_refusal(table, error)) from error
        return cls(folder)

    def lacking(self, tasks: Iterable[Task]) -> list[Task]:
        """Give the slices that no run has finished yet."""
        return [task for task in tasks if not self._path(task).exists()]

    def rows(self, tasks: Iterable[Task]) -> Iterator[list[Outcome]]:
        """Read finished slices, one at a time."""
        return (_unpacked(self._path(task)) for task in tasks)

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


def write_table(parts: Parts, tasks: Sequence[Task], *, table: Path, partitioned: bool = False) -> None:
    """Write finished slices, in the order of the parcels.

    Parameters
    ----------
    parts : Parts
        The slices.
    tasks : sequence of (int, int)
        All of them, in order.
    table : Path
        Its ending, one of :data:`FORMATS`, names the format; the geometry is on WGS 84 (in a CSV it is left out).
    partitioned : bool
        Write a folder of GeoParquet files, one for some thousand rows each.

    Raises
    ------
    OutputError
        If the ending is not known or the disk refuses; an older table still stands.
    """
    check_ending(table, partitioned=partitioned)
    partial = table.with_name(f".{table.stem}.tmp{table.suffix}")
    try:
        _remove(partial)
        _write_all(parts, tasks, table=partial, partitioned=partitioned, name=table.stem)
        if table.is_dir():
            _remove(table)
        partial.replace(table)
    except OSError as error:
        raise OutputError(_refusal(table, error)) from error
    finally:
        _remove(partial)


def _write_all(parts: Parts, tasks: Sequence[Task], *, table: Path, partitioned: bool, name: str) -> None:
    if partitioned:
        table.mkdir()
    whole = not partitioned and table.suffix.lower() in {".parquet", ".geojson", ".fgb"}
    for number, frame in enumerate(_frames(parts, tasks, whole=whole)):
        target = table / f"part-{number:05d}.parquet" if partitioned else table
        _write(frame, target, name=name, more=number > 0 and not partitioned)
    if table.suffix.lower() == ".gpkg":
        from parcelfence.outputs.geopackage import forget_program

        forget_program(table)


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    path.unlink(missing_ok=True)


def refuse_existing(table: Path, *, overwrite: bool) -> None:
    """Refuse to replace a table that nobody said may be replaced; raises OutputError."""
    if table.exists() and not overwrite:
        remedy = "choose another name, or replace it with --overwrite"
        raise OutputError(Fault(where=str(table), found="it exists already", remedy=remedy))


def check_ending(table: Path, *, partitioned: bool = False) -> None:
    """Refuse an ending that names no format, or none that comes in parts; raises OutputError."""
    if table.suffix.lower() not in FORMATS:
        raise OutputError(
            Fault(
                where=str(table),
                found=f"the ending {table.suffix!r} names no format",
                remedy=near_matches(table.suffix, FORMATS),
            )
        )
    if partitioned and table.suffix.lower() != ".parquet":
        raise OutputError(
            Fault(where=str(table), found="only GeoParquet is written in parts", remedy="let its name end in .parquet")
        )


def _frames(parts: Parts, tasks: Sequence[Task], *, whole: bool) -> Iterator[GeoDataFrame]:
    """Give the rows as tables of some thousand each, or as one; at least one, which may be empty."""
    types = _kept_types(parts.rows(tasks))
    waiting: list[Outcome] = []
    given = False
    for rows in parts.rows(tasks):
        waiting += rows
        if not whole and len(waiting) >= _ROWS_AT_A_TIME:
            yield _frame(waiting, kept=types)
            waiting, given = [], True
    if waiting or not given:
        yield _frame(waiting, kept=types)


def outcome_table(rows: Sequence[Outcome]) -> GeoDataFrame:
    """Give the rows of a screening as one table on WGS 84; its columns are those of ``layers.SCREENING``."""
    return _frame(rows, kept=_kept_types([list(rows)]))


def _kept_types(slices: Iterable[list[Outcome]]) -> dict[str, str]:
    """Find a type that holds every value of each column that was kept, over all rows."""
    seen: dict[str, set[type]] = {}
    for rows in slices:
        for row in rows:
            for name, value in row.kept.items():
                seen.setdefault(name, set()).update({type(value)} if value is not None else set())
    return {name: _TYPES[_common(types)] for name, types in seen.items()}


def _common(types: set[type]) -> str:
    if types and types <= {bool}:
        return "boolean"
    if types and types <= {int}:
        return "integer"
    return "real" if types and types <= {int, float} else "text"


def _frame(outcomes: Iterable[Outcome], *, kept: dict[str, str]) -> GeoDataFrame:
    import geopandas
    import pandas as pd
    import shapely

    from parcelfence.outputs.tables import rounded

    rows = list(outcomes)

    def column(values: list[Any], dtype: str) -> pd.Series:
        texts = [None if value is None else str(value) for value in values]
        return pd.Series(texts, dtype="str") if dtype == "str" else pd.Series(values, dtype=dtype)

    own = {
        schema.name: column([getattr(row, schema.name) for row in rows], _TYPES[schema.dtype])
        for schema in SCREENING.columns
    }
    wire = geopandas.GeoSeries([shapely.from_wkb(row.wire) if row.wire else None for row in rows], crs=4326)
    figures = rounded({SCREENING.name: geopandas.GeoDataFrame(own, geometry=wire, crs=4326)})[SCREENING.name]
    figures = figures.rename(columns={name: f"{name}_screened" for name in own if name in kept})
    keys = {name: column([row.kept.get(name) for row in rows], dtype) for name, dtype in kept.items()}
    return geopandas.GeoDataFrame(pd.DataFrame(keys, index=figures.index).join(figures), crs=4326)


def _write(frame: GeoDataFrame, path: Path, *, name: str, more: bool) -> None:
    ending = path.suffix.lower()
    if ending == ".csv":
        from parcelfence.outputs.escaping import csv_text

        texts = frame.drop(columns="geometry").map(lambda value: csv_text(value) if isinstance(value, str) else value)
        texts.to_csv(path, index=False, float_format="%.3f", mode="a" if more else "w", header=not more)
    elif ending == ".parquet":
        try:
            frame.to_parquet(path, index=False, schema_version="1.1.0", write_covering_bbox=True)
        except ImportError as error:
            raise MissingExtraError.of("parquet", package="pyarrow", purpose="Writing GeoParquet") from error
    else:
        import pyogrio

        options = {"VERSION": "1.3"} if ending == ".gpkg" and not more else {}
        layer = SCREENING.name if ending == ".gpkg" else name
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_TIME})  # the same rows give the same bytes
        try:
            pyogrio.write_dataframe(
                frame,
                path,
                layer=layer,
                driver=FORMATS[ending],
                geometry_type="MultiLineString",
                append=more,
                **options,
            )
        finally:
            pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _packed(outcome: Outcome) -> dict[str, Any]:
    return asdict(outcome) | {"wire": outcome.wire.hex()}


def _unpacked(path: Path) -> list[Outcome]:
    from parcelfence.screening import Outcome

    rows = json.loads(path.read_text(encoding="utf-8"))
    return [Outcome(**(row | {"wire": bytes.fromhex(row["wire"])})) for row in rows]


def _folder(table: Path) -> Path:
    return table.parent / f".{table.name}.parts"


def _key(job: ScreeningJob, *, version: str) -> str:
    sources = [(str(one), one.path.stat().st_mtime_ns, one.path.stat().st_size) for one in job.sources]
    rest = [job.reaches_m, job.select, job.keep, job.prices, job.limit_s, job.working_crs]
    text = json.dumps([version, sources, job.settings.model_dump(mode="json"), rest])
    return hashlib.sha256(text.encode()).hexdigest()


def _refusal(path: Path, error: OSError) -> Fault:
    reason = error.strerror or str(error)
    return Fault(where=str(path), found=f"it could not be written: {reason}", remedy="choose another place")
