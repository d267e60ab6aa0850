"""Assets: a rendered map needs no address any more, and an unknown address is refused."""

from __future__ import annotations

import re
from importlib.metadata import version

import folium
import pytest
from folium.plugins import Fullscreen

from parcelfence.errors import OutputError
from parcelfence.outputs.map_assets import LEAFLET_VERSION, asset_store, inline_assets


def test_folium_and_the_packaged_assets_speak_of_one_version() -> None:
    from xstatic.pkg import leaflet

    links = dict(folium.Map.default_js)
    assert f"leaflet@{leaflet.VERSION}/" in links["leaflet"]
    assert leaflet.VERSION == LEAFLET_VERSION
    assert version("folium").startswith("0.20.")


def test_every_link_of_a_plain_map_is_known() -> None:
    linked = {address for _, address in folium.Map.default_js + folium.Map.default_css}
    assert linked == set(asset_store())


def test_no_link_is_left_in_a_map_of_folium() -> None:
    plain = folium.Map([43.0, -76.0], tiles=None)
    folium.Marker([43.0, -76.0], popup=folium.Popup("here")).add_to(plain)
    page = inline_assets(plain.get_root().render(), asset_store())
    assert not re.search(r"<script[^>]+src=|<link[^>]+href=", page)
    assert "sourceMappingURL" not in page
    assert "url(images/" not in page
    assert "jQuery JavaScript Library" not in page, "nothing on the page calls it"
    assert "Leaflet 1.9.3" in page, "the licence banner stays"


def test_an_unknown_address_is_refused() -> None:
    with_plugin = folium.Map([43.0, -76.0], tiles=None)
    Fullscreen().add_to(with_plugin)
    with pytest.raises(OutputError, match="fullscreen"):
        inline_assets(with_plugin.get_root().render(), asset_store())


@pytest.mark.parametrize(
    "link",
    [
        '<script src="//elsewhere.example/a.js"></script>',
        "<SCRIPT async src='relative.js' ></SCRIPT>",
        "<link rel=stylesheet href=https://elsewhere.example/a.css>",
    ],
)
def test_an_address_is_seen_however_it_is_written(link: str) -> None:
    with pytest.raises(OutputError, match=r"elsewhere|relative"):
        inline_assets(f"<head>{link}</head>", {})


def test_an_asset_that_would_close_its_element_is_refused() -> None:
    with pytest.raises(OutputError, match="closing script"):
        inline_assets('<script src="a.js"></script>', {"a.js": "document.write('</SCRIPT>')"})


def test_an_empty_asset_drops_its_link() -> None:
    assert inline_assets('<b><script src="a.js"></script></b>', {"a.js": ""}) == "<b></b>"
