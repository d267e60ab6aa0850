"""The map as a text: self-contained, the same each time, and deaf to planted markup."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from parcelfence.outputs.map_features import AREA_DECIMALS, DECIMALS, drawn_layers
from parcelfence.outputs.map_page import Background, map_page
from parcelfence.outputs.map_panel import key_figures
from parcelfence.outputs.map_words import words_of
from parcelfence.settings import Settings

_SPEC = spec_from_file_location("map_fixture", Path(__file__).with_name("map_fixture.py"))
assert _SPEC is not None
assert _SPEC.loader is not None
fixture: Any = sys.modules.setdefault("map_fixture", module_from_spec(_SPEC))
_SPEC.loader.exec_module(fixture)

DOT = "data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAAC"


@pytest.fixture(scope="module")
def plan() -> Any:
    return fixture.map_plan()


@pytest.fixture(scope="module")
def tables(plan: Any) -> Any:
    return fixture.wgs84_tables(plan)


@pytest.fixture(scope="module")
def page(plan: Any, tables: Any) -> str:
    return map_page(plan, tables=tables)


def test_two_runs_give_the_same_text(plan: Any, tables: Any, page: str) -> None:
    assert map_page(plan, tables=tables) == page
    assert not re.search(r"_[0-9a-f]{32}", page), "no random names are left"


def test_nothing_is_linked(page: str) -> None:
    assert not re.search(r"<(?:script|img|iframe)[^>]*\ssrc\s*=|<link[^>]*\shref\s*=|@import|url\((?!data:|#)", page)
    assert "openstreetmap" not in page
    assert "default-src 'none'" in page
    assert page.index("Content-Security-Policy") < page.index("<script>"), "the policy comes before what it governs"


def test_tiles_widen_the_policy_for_one_server_only(plan: Any, tables: Any) -> None:
    page = map_page(plan, tables=tables, tiles=True)
    assert "img-src data: https://tile.openstreetmap.org;" in page
    assert "default-src 'none'" in page


def test_the_sample_stays_under_one_megabyte(page: str) -> None:
    assert len(page.encode()) < 1_000_000


def test_it_is_folium_that_draws(page: str) -> None:
    assert page.count("L.geoJson(null") > 20
    assert "Leaflet 1.9.3" in page


def test_planted_text_is_escaped_everywhere() -> None:
    hostile = fixture.hostile_plan()
    page = map_page(hostile, tables=fixture.wgs84_tables(hostile))
    assert "<img src=x" not in page
    assert "window.hacked=2</script" not in page
    assert "{{7*7}}" not in page.split("<body>")[1]
    assert ">49<" not in page
    assert "\u202e" not in page
    assert page.count("</script>") == page.count("<script>")


def test_every_layer_with_features_is_in_the_legend(plan: Any, tables: Any, page: str) -> None:
    shown = {name: table for name, table in tables.items() if name != "reach"}
    for name, table in shown.items():
        assert (f'data-layer="{name}' in page) is (len(table) > 0), name
    drawn = drawn_layers(plan, tables=tables)
    for name, table in shown.items():
        assert sum(entry.count for entry in drawn if entry.layer == name) == len(table), name


def test_the_reach_along_the_wire_is_left_to_other_tools(plan: Any, tables: Any, page: str) -> None:
    assert len(tables["reach"]) > 100
    assert 'data-layer="reach' not in page
    assert not [entry for entry in drawn_layers(plan, tables=tables) if entry.layer == "reach"]


def test_cautions_stand_on_the_map(page: str) -> None:
    for words in ("Call the utility locating service", "Dig by hand", "licensed electricians", "supervise the animal"):
        assert words in page


def test_the_key_figures_are_those_of_the_plan(plan: Any) -> None:
    shown = dict(key_figures(plan))
    assert shown["Enclosed"] == f"{plan.loop.enclosed.area / 4046.8564224:.2f} acres"
    loops_m = sum(leg.ground_length_m for leg in plan.take_off.sequence.legs if not leg.twisted)
    assert shown["Loops, along the ground"] == f"{loops_m / 0.3048:,.0f} ft"
    assert shown["Must fix"] == "1"


def test_many_features_are_painted_on_a_canvas(plan: Any, tables: Any, page: str) -> None:
    assert '"preferCanvas": false' in page
    lots = tables["neighbours"]
    many = geopandas.GeoDataFrame(pd.concat([lots] * 401, ignore_index=True), crs=lots.crs)
    assert '"preferCanvas": true' in map_page(plan, tables={**tables, "neighbours": many})


def test_coordinates_keep_a_millimetre(plan: Any, tables: Any) -> None:
    drawn = {entry.key: entry for entry in drawn_layers(plan, tables=tables)}
    written = shapely.get_coordinates(shapely.geometry.shape(drawn["wire-loop"].features[0]["geometry"]))
    exact = shapely.get_coordinates(tables["wire"].geometry.iloc[0])
    assert written.shape == exact.shape, "nothing is simplified"
    assert np.abs(written - exact).max() <= 0.5 * 10**-DECIMALS * (1 + 1e-6)
    zone = shapely.geometry.shape(drawn["zones-signal"].features[0]["geometry"])
    off = np.abs(shapely.get_coordinates(zone) - shapely.get_coordinates(tables["zones"].geometry.iloc[1]))
    assert off.max() <= 0.5 * 10**-AREA_DECIMALS * (1 + 1e-6)


def test_tolerance_zones_have_their_width(plan: Any, tables: Any) -> None:
    zones = [entry for entry in drawn_layers(plan, tables=tables) if entry.layer == "tolerance"]
    local = plan.site.frame.conversion_from(fixture.WGS84, where="test")
    area = sum(local.geometry(shapely.geometry.shape(f["geometry"])).area for entry in zones for f in entry.features)
    expected = sum(line.geometry.length * 2 * 0.61 + np.pi * 0.61**2 for line in plan.site.utilities)
    assert area == pytest.approx(expected, rel=0.02)


def test_a_badge_stands_on_its_conflict(plan: Any, tables: Any) -> None:
    for entry in drawn_layers(plan, tables=tables):
        for feature in entry.features:
            if entry.layer == "conflicts" and feature["geometry"]["type"] == "Point":
                row = plan.site.frame.to_wgs84().geometry(plan.conflicts[feature["properties"]["n"]].geometry)
                assert shapely.geometry.shape(feature["geometry"]).distance(row) < 1e-7


def test_a_picture_lies_under_the_plan(plan: Any, tables: Any) -> None:
    ground = Background(image=DOT, west=-76.26, south=42.99, east=-76.24, north=43.01)
    page = map_page(plan, tables=tables, background=ground)
    assert DOT in page
    assert page.index(DOT) < page.index("L.geoJson(null")


def test_a_plan_without_conflicts_says_so(plan: Any, tables: Any) -> None:
    spotless = fixture.stand_in(**{**vars(plan), "conflicts": ()})
    page = map_page(spotless, tables={**tables, "conflicts": tables["conflicts"].iloc[:0]})
    assert "None found." in page


def test_metric_words(tables: Any) -> None:
    record = tables["flags"].iloc[3].to_dict()
    metric = Settings(units="metric", station_format="metric")
    assert words_of("flags", record, settings=metric).lines[0] == f"0+{record['station_m']:05.1f}"
    zone = tables["zones"].iloc[0].to_dict()
    assert words_of("zones", zone, settings=metric).lines[1].endswith(" ha")


def test_unknown_lines_are_named_the_most_dangerous(tables: Any, plan: Any) -> None:
    record = {**tables["utilities"].iloc[0].to_dict(), "kind": "unknown", "apwa_color": "", "inferred": True}
    words = words_of("utilities", record, settings=plan.settings)
    assert "most dangerous" in words.title
    assert any("inferred" in value for value in words.lines)
    assert words.lines[0].startswith("2.00 ft each side")


@pytest.mark.parametrize("name", ["", fixture.PARCEL_NO])
def test_a_site_without_a_name_of_its_own_is_called_by_its_parcel(plan: Any, tables: Any, name: str) -> None:
    nameless = fixture.stand_in(**{**vars(plan), "site": replace(plan.site, name=name)})
    page = map_page(nameless, tables=tables)
    assert "<title>Parcel 31-07: boundary wire plan</title>" in page
    assert page.count("<bdi>Parcel 31-07</bdi>") == 1
