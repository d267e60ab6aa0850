"""The tables: exactly the layers, columns and types of the layer table."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pandas.api import types
from pyproj import CRS

from parcelfence.errors import CrsError, OutputError
from parcelfence.layers import LAYERS
from parcelfence.outputs.delivery import delivery
from parcelfence.outputs.tables import tables

if TYPE_CHECKING:
    from collections.abc import Callable

    from parcelfence.finished_plan import Plan

_IS: dict[str, Callable[[object], bool]] = {
    "text": types.is_string_dtype,
    "real": types.is_float_dtype,
    "integer": types.is_integer_dtype,
    "boolean": types.is_bool_dtype,
}


def test_layers_come_in_the_order_of_the_schema_table(plan: Plan) -> None:
    assert list(tables(plan)) == [schema.name for schema in LAYERS]


@pytest.mark.parametrize("schema", LAYERS, ids=lambda schema: schema.name)
def test_a_layer_has_its_columns_and_types_even_when_empty(plan: Plan, schema: object) -> None:
    table = tables(plan)[schema.name]
    assert tuple(table.columns) == (*schema.column_names, "geometry")
    assert table.crs == plan.site.frame.crs
    for column in schema.columns:
        assert _IS[column.dtype](table[column.name].dtype), column.name
    wanted = {schema.geometry, f"Multi{schema.geometry}"}
    assert schema.geometry == "Unknown" or set(table.geom_type) <= wanted
    assert table.geometry.is_valid.all()


def test_there_are_empty_layers_and_full_ones_in_this_test(plan: Plan) -> None:
    sizes = {name: len(table) for name, table in tables(plan).items()}
    assert not sizes["easements"]
    assert not sizes["open_sides"]
    assert all(sizes[name] for name in ("parcel", "wire", "zones", "flags", "stations", "conflicts", "utilities"))


def test_counts_and_lengths_are_those_of_the_plan(plan: Plan) -> None:
    layers = tables(plan)
    assert len(layers["flags"]) == len(plan.take_off.flags)
    assert len(layers["crossings"]) == len(plan.crossings)
    assert layers["wire"].length.sum() == pytest.approx(sum(run.line.length for run in plan.loop.runs), abs=1e-9)
    assert layers["wire"]["ground_length_m"].to_numpy() == pytest.approx(layers["wire"].length.to_numpy())
    assert layers["zones"]["area_m2"].to_numpy() == pytest.approx(layers["zones"].area.to_numpy())
    assert layers["stations"]["easting_m"].to_numpy() == pytest.approx(layers["stations"].geometry.x.to_numpy())


def test_what_has_no_station_is_missing_not_zero(plan: Plan) -> None:
    stations = tables(plan)["conflicts"]["station_m"]
    assert stations.isna().tolist() == [False, True, True]


def test_layers_come_back_from_state_plane_feet(plan: Plan) -> None:
    """EPSG:6535 is NAD83(2011) / New York Central in US survey feet, by the EPSG registry."""
    given = delivery(plan, dst_crs="EPSG:6535")
    assert given.operation is not None
    assert given.tables["wire"].crs == CRS.from_epsg(6535)
    feet = given.tables["wire"].length.to_numpy() * 1200 / 3937
    metres = given.working["wire"].length.to_numpy()
    assert feet == pytest.approx(metres, rel=1e-4)  # the grid scale of the state plane
    assert given.plane is given.tables


def test_degrees_are_no_plane(plan: Plan) -> None:
    given = delivery(plan, dst_crs="EPSG:4326")
    assert given.tables["wire"].crs == CRS.from_epsg(4326)
    assert given.plane_crs == plan.site.frame.crs
    assert given.plane["wire"].total_bounds == pytest.approx(tables(plan)["wire"].total_bounds)


def test_wgs84_is_longitude_before_latitude(plan: Plan) -> None:
    west, south, east, north = delivery(plan).wgs84["parcel"].total_bounds
    assert -76.26 < west < east < -76.24
    assert 42.99 < south < north < 43.01


@pytest.mark.parametrize(
    ("given", "reason"), [("EPSG:999999", "'EPSG:999999' is no coordinate"), ("here", "'here' is no coordinate")]
)
def test_a_crs_that_is_none_is_refused(plan: Plan, given: str, reason: str) -> None:
    with pytest.raises(CrsError, match=reason):
        delivery(plan, dst_crs=given)


def test_layers_that_do_not_exist_are_refused_all_at_once(plan: Plan) -> None:
    with pytest.raises(OutputError, match=r"2 faults(.|\n)*Did you mean 'wire'(.|\n)*'roofs'"):
        delivery(plan, layers=["wires", "roofs", "flags"])


def test_chosen_layers_keep_their_order(plan: Plan) -> None:
    assert delivery(plan, layers=["flags", "wire"]).layer_names == ("wire", "flags")


def test_the_plan_is_not_changed_by_conversion(plan: Plan) -> None:
    given = delivery(plan)
    before = given.tables["wire"].geometry.to_wkb().tolist()
    assert given.wgs84["wire"].geometry.to_wkb().tolist() != before
    assert given.tables["wire"].geometry.to_wkb().tolist() == before
    assert np.array_equal(given.wgs84["wire"].index, given.tables["wire"].index)


def test_the_reach_stands_every_few_metres_on_both_sides(plan: Plan) -> None:
    reach = tables(plan)["reach"]
    for run in plan.loop.signal_runs:
        own = reach[reach["loop_id"] == run.loop_id]
        steps_m = np.diff(np.append(own["station_m"], run.start_station_m + run.line.length))
        assert 0 <= own["station_m"].iloc[0] - run.start_station_m < 1
        assert steps_m.min() > 0
        assert steps_m.max() <= 2 * 3.0
        assert own.geometry.distance(run.line).max() < 1e-6
        stations = np.array([run.line.project(point) for point in own.geometry])
        assert stations[1:] == pytest.approx(own["station_m"].to_numpy()[1:] - run.start_station_m)
    outer = reach[reach["loop_id"] == "L1"]
    assert np.nanmedian(outer["reach_inside_m"]) > plan.zones.receiver.reach_m > np.nanmedian(outer["reach_outside_m"])


def test_an_endless_reach_is_missing(plan: Plan) -> None:
    profile = plan.profiles[0]
    endless = replace(profile, reach_inside_m=np.full(len(profile.station_m), np.inf))
    reach = tables(replace(plan, profiles=(endless, *plan.profiles[1:])))["reach"]
    outer = reach[reach["loop_id"] == "L1"]
    assert outer["reach_inside_m"].isna().all()
    assert outer["reach_outside_m"].notna().all()
