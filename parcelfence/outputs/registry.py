"""All writers, built in and brought by third parties, and the one way to run them.

A third party registers a :class:`~parcelfence.outputs.writer.Writer` under the entry-point group
``parcelfence.writers``; the name of the entry point is the word by which it is asked for.  Plug-ins are looked up when
somebody asks for what is not built in; a broken one is named and left out, and none replaces what is built in.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Final

from parcelfence.errors import Fault, OutputError, ParcelFenceError, PluginError, near_matches
from parcelfence.layers import SUMMARY
from parcelfence.outputs.folder import whole_folder
from parcelfence.outputs.writer import BUILT_IN, CONTRACT, Writer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from importlib.metadata import EntryPoint

    from pyproj import CRS

    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.delivery import Delivery

__all__ = ["GROUP", "Plugins", "plugins", "write"]

_LOG = logging.getLogger(__name__)
GROUP: Final = "parcelfence.writers"


@dataclass(frozen=True, kw_only=True)
class Plugins:
    """Writers of third parties, and what is wrong with those that cannot be used."""

    writers: dict[str, Writer]
    faults: dict[str, Fault]


@cache
def plugins() -> Plugins:
    """Look up the writers of third parties, once."""
    writers: dict[str, Writer] = {}
    faults: dict[str, Fault] = {}
    for entry in metadata.entry_points(group=GROUP):
        found = _loaded(entry, taken=writers)
        if isinstance(found, Writer):
            writers[entry.name] = found
        else:
            faults[entry.name] = found
    return Plugins(writers=writers, faults=faults)


def write(
    plan: Plan,
    directory: str | Path,
    *,
    overwrite: bool = False,
    formats: Sequence[str] | None = None,
    layers: Sequence[str] | None = None,
    dst_crs: CRS | str | None = None,
    beside: Mapping[str, str] | None = None,
) -> Path:
    """Write a plan into a folder, whole or not at all.

    Parameters
    ----------
    plan : Plan
        The plan.
    directory : str or Path
        It must not exist, unless `overwrite` is on and it holds nothing but an older plan.
    overwrite : bool
        Whether an older plan is replaced.
    formats : sequence of str, optional
        Writers by name; the default set if left out.
    layers : sequence of str, optional
        Layers to write; all of them if left out.  Map and worksheet always show everything.
    dst_crs : CRS or str, optional
        System of the GeoPackage, GeoParquet, drawing and stakeout; the working CRS if left out.
    beside : mapping of str to str, optional
        Texts to write beside the outputs, by file name.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If the folder must not or cannot be written, or a format or layer is not known.
    CrsError
        If `dst_crs` is none, or is not reached with a known accuracy.
    MissingExtraError
        If a format needs a package that is not installed.
    PluginError
        If a third party's writer fails.

    Examples
    --------
    >>> import parcelfence
    >>> site = parcelfence.read_site(parcels="sample_geodata/parcels.geojson", select="parcel_no=31-05")
    >>> plan = parcelfence.plan(site, parcelfence.Settings(reach_m=1.5))
    >>> import tempfile
    >>> folder = parcelfence.write(plan, tempfile.mkdtemp() + "/plan", formats=["gpkg", "map"])  # or plan.write(...)
    >>> sorted(path.name for path in folder.iterdir())
    ['map.html', 'plan.gpkg', 'plan.qgs', 'summary.json']
    """
    from parcelfence.outputs.delivery import delivery
    from parcelfence.outputs.summary import write as write_summary

    target = Path(directory)
    wanted = _writers(formats)
    with whole_folder(target, overwrite=overwrite) as folder:
        prepared = delivery(plan, layers=layers, dst_crs=dst_crs)
        made: dict[str, str] = {}
        for writer in wanted:
            before = _files(folder)
            _run(writer, prepared, folder=folder)
            made |= dict.fromkeys(sorted(_files(folder) - before), writer.name)
        made |= {name: _write_text(folder / name, text) for name, text in (beside or {}).items()}
        write_summary(prepared, folder, files=made | {SUMMARY: "summary"})
    return target


def _write_text(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8", newline="\n")
    return "project"


def _writers(formats: Sequence[str] | None) -> list[Writer]:
    if formats is None:
        return [writer for writer in BUILT_IN.values() if writer.default]
    known = BUILT_IN
    asked = [name for name in dict.fromkeys(formats) if name != "summary"]
    if any(name not in BUILT_IN for name in asked):
        known = plugins().writers | BUILT_IN
    unknown = [name for name in asked if name not in known]
    broken = [plugins().faults[name] for name in unknown if name in plugins().faults]
    if broken:
        raise PluginError(broken)
    if unknown:
        raise OutputError(
            Fault(where="formats", found=f"there is no format {name!r}", remedy=near_matches(name, known))
            for name in unknown
        )
    return [known[name] for name in asked]


def _run(writer: Writer, prepared: Delivery, *, folder: Path) -> None:
    _LOG.info("writing %s", writer.files)
    if writer is BUILT_IN.get(writer.name):
        writer.run(prepared, folder)
        return
    try:
        writer.run(prepared, folder)
    except (ParcelFenceError, OSError):
        raise
    except Exception as error:  # whatever a third party's code raises, the reader must learn whose it is
        raise PluginError(
            Fault(
                where=f"writer {writer.name}",
                found=f"it failed: {type(error).__name__}: {error}",
                remedy="leave this format out, or tell its makers",
            )
        ) from error


def _files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}


def _loaded(entry: EntryPoint, *, taken: dict[str, Writer]) -> Writer | Fault:
    distribution = entry.dist.name if entry.dist else "an unknown distribution"
    where = f"writer {entry.name} of {distribution}"
    if entry.name in BUILT_IN or entry.name == "summary":
        return Fault(where=where, found="a writer of that name is built in", remedy="the built-in one stays in use")
    if entry.name in taken:
        return Fault(where=where, found="another plug-in has the same name", remedy="the first one stays in use")
    try:
        writer = entry.load()
    except Exception as error:  # noqa: BLE001  (a broken plug-in must not take the program down)
        return Fault(where=where, found=f"it cannot be loaded: {error!r}", remedy="update or remove that package")
    if not isinstance(writer, Writer):
        return Fault(
            where=where,
            found=f"it is a {type(writer).__name__}",
            must="it must be a parcelfence.outputs.writer.Writer",
            remedy="tell its makers",
        )
    if writer.contract != CONTRACT:
        return Fault(
            where=where,
            found=f"it was made for contract {writer.contract}",
            must=f"this parcelfence has contract {CONTRACT}",
            remedy="update that package, or parcelfence",
        )
    return writer
