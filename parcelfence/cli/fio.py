"""Sub-commands of ``fio``: parcels in, loops, zones or flags out, as a stream of GeoJSON features.

fio cat parcels.gpkg --dst-crs EPSG:4326 | fio boundary-loop --reach "8 ft" | fio collect > loops.geojson
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click
import cligj

from parcelfence.cli.options import given_settings, given_sources, setting_options
from parcelfence.cli.run import in_options
from parcelfence.layers import INPUT_ROLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from geopandas import GeoDataFrame

    from parcelfence.inputs.table import Table

__all__ = ["boundary_flags", "boundary_loop", "boundary_zones"]


def _piped(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add what the three commands share."""
    for role, meaning in reversed(INPUT_ROLES.items()):
        if role != "parcels":
            flag = f"--{role.replace('_', '-')}"
            function = click.option(flag, role, multiple=True, metavar="FILE", help=f"file of {meaning}")(function)
    function = click.option("--crs", metavar="CRS", help="CRS of those files that state none")(function)
    function = click.option(
        "--src-crs", default="EPSG:4326", show_default=True, metavar="CRS", help="CRS of the features that are piped in"
    )(function)
    piped: Callable[..., Any] = cligj.features_in_arg(cligj.use_rs_opt(setting_options(function)))
    return piped


@click.command("boundary-loop", short_help="Boundary-wire loop of every parcel.")
@_piped
def boundary_loop(features: Iterable[dict[str, Any]], **options: Any) -> None:
    """Design the boundary-wire loop of every parcel that is piped in.

    Writes one feature for each, with the id of its parcel: the loop, or no geometry and the reason. The other parcels
    are taken as neighbours. Call the utility locating service before any digging.
    """
    from parcelfence.outputs.frames import loops_of

    _answer(features, made=loops_of, options=options)


@click.command("boundary-zones", short_help="Roam, signal and core zones of every parcel's loop.")
@_piped
def boundary_zones(features: Iterable[dict[str, Any]], **options: Any) -> None:
    """Compute the zones of the boundary-wire loop of every parcel that is piped in."""
    from parcelfence.outputs.frames import zones_of

    _answer(features, made=zones_of, options=options)


@click.command("boundary-flags", short_help="Training flags of every parcel's loop.")
@_piped
def boundary_flags(features: Iterable[dict[str, Any]], **options: Any) -> None:
    """Place the training flags of the boundary-wire loop of every parcel that is piped in."""
    from parcelfence.outputs.frames import flags_of

    _answer(features, made=flags_of, options=options)


def _answer(features: Iterable[dict[str, Any]], *, made: Callable[..., GeoDataFrame], options: dict[str, Any]) -> None:
    from parcelfence.errors import ParcelFenceError

    try:
        piped = _piped_in(features)
        for line in _lines(piped, made=made, options=options) if piped else ():
            click.echo(("\x1e" if options["use_rs"] else "") + line)
    except ParcelFenceError as error:
        raise click.ClickException(in_options(error)) from error


def _piped_in(features: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Take all features; a stream that holds nothing at all holds none."""
    try:
        return list(features)
    except RuntimeError as error:  # cligj asks an empty stream for its first line
        if isinstance(error.__cause__, StopIteration):
            return []
        raise
    except json.JSONDecodeError as error:
        raise click.ClickException(f"What is piped in is no GeoJSON: {error}") from error


def _lines(
    features: list[dict[str, Any]], *, made: Callable[..., GeoDataFrame], options: dict[str, Any]
) -> Iterator[str]:
    from parcelfence.inputs.reader import read_table
    from parcelfence.outputs.geojson import feature_collection
    from parcelfence.settings import Settings

    settings = Settings.from_words(given_settings(options), where="options")
    parcels = _parcels(features, crs=options["src_crs"])
    others = [read_table(source) for source in given_sources({**options, "parcels": ()})]
    frame = made([parcels, *others], settings)
    for place, feature in zip(frame.index, feature_collection(frame, name="")["features"], strict=True):
        properties = {**(features[place].get("properties") or {}), **feature["properties"]}
        identifier = features[place].get("id", place + 1)
        yield json.dumps({**feature, "id": identifier, "properties": properties}, ensure_ascii=False)


def _parcels(features: list[dict[str, Any]], *, crs: str) -> Table:
    import geopandas
    import pandas as pd
    from shapely.geometry import shape

    from parcelfence.outputs.frames import table_of

    shapes = [shape(feature["geometry"]) if feature.get("geometry") else None for feature in features]
    attributes = pd.DataFrame([feature.get("properties") or {} for feature in features], dtype=object)
    frame = geopandas.GeoDataFrame(
        attributes.drop(columns="geometry", errors="ignore"), geometry=geopandas.GeoSeries(shapes, crs=crs)
    )
    return table_of(frame, "parcels")
