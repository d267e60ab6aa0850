"""A plan in a notebook: one line, a small picture, a map and axes; nothing of a file becomes markup."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import folium
import pytest
from lxml import html

import parcelfence
from tests.sample import sample_plan

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

ATTACK = "<script>alert(1)</script>{{ 7 * 7 }}"


@pytest.fixture(scope="module")
def plan() -> Plan:
    return sample_plan()


@pytest.fixture(scope="module")
def hostile(plan: Plan) -> Plan:
    buildings = tuple(replace(one, id=ATTACK, kind=ATTACK) for one in plan.site.buildings)
    return replace(plan, site=replace(plan.site, name=f"{ATTACK}\nsecond line", buildings=buildings))


def test_a_plan_is_one_line(plan: Plan, hostile: Plan) -> None:
    assert repr(plan).startswith("<Plan of Heron Bend, Thimblewick Lane, parcel 31-07: reach 8.0 ft, ")
    assert "0 must be fixed" in repr(plan)
    assert len(repr(plan)) < 200
    assert "\n" not in repr(hostile)


def test_a_notebook_shows_a_small_picture(plan: Plan, hostile: Plan) -> None:
    shown = plan._repr_html_()
    assert len(shown) < 40_000
    tree = html.fromstring(shown)
    assert len(tree.xpath("//svg")) == 1
    assert "free to roam" in tree.findtext("figcaption")
    assert "<script" not in hostile._repr_html_()


def test_the_map_can_be_drawn_on(plan: Plan) -> None:
    sheet = plan.explore()
    assert isinstance(sheet, folium.Map)
    folium.Marker(location=(0, 0)).add_to(sheet)
    page = sheet.get_root().render()
    for title in ("Parcel", "Transmitter", "Lead-in, twisted pair"):
        assert f'"{title}"' in page, "a switch for it"
    assert "openstreetmap" not in page.lower(), "no tiles unless they are asked for"
    assert "openstreetmap" in plan.explore(tiles="OpenStreetMap").get_root().render().lower()


def test_text_of_a_file_stays_text_on_the_map(hostile: Plan) -> None:
    page = hostile.explore().get_root().render()
    assert "<script>alert" not in page
    assert "49" not in {part.strip() for part in page.split("alert(1)")}
    assert "{{ 7 * 7 }}" not in page


def test_axes_hold_the_layers_in_equal_scales(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MPLBACKEND", "agg")
    import matplotlib as mpl
    import matplotlib.pyplot as plt

    mpl.use("agg")
    figure, own = plt.subplots()
    axes = plan.plot(own)
    assert axes is own
    assert axes.get_aspect() == 1.0
    west, south, east, north = plan.site.parcel.bounds
    assert axes.get_xlim()[0] < west < east < axes.get_xlim()[1]
    assert axes.get_ylim()[0] < south < north < axes.get_ylim()[1]
    assert len(axes.collections) > 10
    plt.close(figure)


def test_without_matplotlib_the_extra_is_named(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "matplotlib.pyplot", None)
    with pytest.raises(parcelfence.ParcelFenceError, match=r"pip install 'parcelfence\[plot\]'"):
        plan.plot()
