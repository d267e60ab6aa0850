"""The map as a person meets it: in Chromium, without a network."""

from __future__ import annotations

import re
from typing import Any

import pytest
import shapely
from map_fixture import map_plan, wgs84_tables
from pyproj import Geod

from parcelfence.outputs.map_levels import plan_levels
from parcelfence.outputs.map_page import map_page

pytestmark = pytest.mark.browser

GEOD = Geod(ellps="WGS84")
PHONE = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True, "device_scale_factor": 2}


def _centre(page: Any, longitude: float, latitude: float, zoom: float = 20) -> tuple[float, float]:
    """Bring a place into the middle of the map and say where on the page it is."""
    page.evaluate(f"parcelMap.setView([{latitude!r}, {longitude!r}], {zoom}, {{animate: false}})")
    return _on_page(page, longitude, latitude)


def _on_page(page: Any, longitude: float, latitude: float) -> tuple[float, float]:
    spot = page.evaluate(
        f"""() => {{
            const box = parcelMap.getContainer().getBoundingClientRect();
            const point = parcelMap.latLngToContainerPoint([{latitude!r}, {longitude!r}]);
            return [box.left + point.x, box.top + point.y];
        }}"""
    )
    return spot[0], spot[1]


def _number(text: str) -> float:
    return float(re.sub(r"[^\d.]", "", text))


def test_opens_without_a_request_or_an_error(visit: Any) -> None:
    opened = visit()
    opened.page.wait_for_timeout(300)
    assert opened.requests == [opened.address]
    assert opened.page.title() == "Heron Bend, Thimblewick Lane: boundary wire plan"
    assert opened.page.evaluate("document.compatMode") == "CSS1Compat"


def test_the_policy_of_the_page_forbids_requests(visit: Any) -> None:
    opened = visit(requests_allowed=True)
    refused = opened.page.evaluate(
        "fetch('https://elsewhere.example/').then(() => 'done', (error) => String(error))",
    )
    assert "Failed to fetch" in refused
    assert any("Content Security Policy" in complaint for complaint in opened.complaints)


def test_every_layer_switches_off_and_on(visit: Any) -> None:
    page = visit().page
    drawn = "document.querySelectorAll('.leaflet-overlay-pane path, .leaflet-marker-pane > *').length"
    before = page.evaluate(drawn)
    boxes = page.locator("input[data-layer]")
    assert boxes.count() > 15
    for place in range(boxes.count()):
        count = page.evaluate(drawn)
        boxes.nth(place).uncheck()
        assert page.evaluate(drawn) < count, boxes.nth(place).get_attribute("data-layer")
    assert page.evaluate(drawn) == 0
    for place in range(boxes.count()):
        boxes.nth(place).check()
    assert page.evaluate(drawn) == before


def test_layers_keep_their_order_after_switching(visit: Any) -> None:
    page = visit().page
    order = """[...document.querySelectorAll('.leaflet-overlay-pane path')].map(
        (path) => path.getAttribute('stroke') + path.getAttribute('d').length
    )"""
    before = page.evaluate(order)
    page.locator("input[data-layer='parcel']").uncheck()
    page.locator("input[data-layer='parcel']").check()
    assert page.evaluate(order) == before


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_the_list_flies_to_a_conflict_and_opens_it(visit: Any, motion: str) -> None:
    plan = map_plan()
    page = visit(reduced_motion=motion).page
    entries = page.locator("#conflict-list button")
    assert entries.count() == len(plan.conflicts)
    for place in (0, entries.count() - 1):
        entry = entries.nth(place)
        number = int(entry.get_attribute("data-conflict"))
        entry.click()
        page.locator(".leaflet-popup .words h3", has_text=plan.conflicts[number].message).wait_for()
        anchor = plan.site.frame.to_wgs84().geometry(plan.conflicts[number].geometry).representative_point()
        x, y = _on_page(page, anchor.x, anchor.y)
        assert 352 < x < 1280
        assert 0 < y < 800
        assert page.evaluate("parcelMap.getZoom()") >= 18.5
        page.locator(".leaflet-popup dd", has_text=plan.conflicts[number].remedy).wait_for()


@pytest.mark.parametrize("options", [{}, PHONE], ids=["desktop", "phone"])
def test_pictures_stand_on_their_places(visit: Any, options: dict[str, Any]) -> None:
    page = visit(**options).page
    off = page.evaluate(
        """() => {
            const map = parcelMap.getContainer().getBoundingClientRect();
            const found = [];
            parcelMap.eachLayer((layer) => {
                if (!layer._icon || !layer.feature) return;
                const [width, height] = layer.options.icon.options.iconSize;
                const [x, y] = layer.options.icon.options.iconAnchor;
                const box = layer._icon.getBoundingClientRect();
                if (!box.width) return; // flags are left out where they would run together
                const place = parcelMap.latLngToContainerPoint(layer.getLatLng());
                const aside = parseFloat(layer._icon.style.translate) || 0;
                found.push([box.left - map.left + x - aside - place.x, box.top - map.top + y - place.y]);
                found.push([box.width - width, box.height - height]);
            });
            return found;
        }"""
    )
    assert len(off) > 60
    assert max(abs(value) for pair in off for value in pair) < 1.5


def test_a_conflict_shows_its_extent_while_it_is_open(visit: Any) -> None:
    page = visit().page
    shown = """() => {
        let count = 0;
        parcelMap.eachLayer((layer) => {
            if (layer.feature && 'n' in layer.feature.properties && layer.options.stroke && !layer._icon) count += 1;
        });
        return count;
    }"""
    assert page.evaluate(shown) == 0
    page.locator("#conflict-list .note button").click()
    page.wait_for_selector(".leaflet-popup .words-conflicts-note")
    assert page.evaluate(shown) == 1
    page.evaluate("parcelMap.closePopup()")
    assert page.evaluate(shown) == 0


def test_the_list_of_conflicts_works_by_keyboard(visit: Any) -> None:
    page = visit().page
    page.focus("#conflict-list button")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector(".leaflet-popup .words-conflicts-caution")
    assert page.evaluate("document.activeElement.closest('#conflict-list') !== null")


def test_a_hidden_severity_comes_back_when_its_conflict_is_asked_for(visit: Any) -> None:
    page = visit().page
    page.locator("input[data-layer='conflicts-must_fix']").uncheck()
    page.locator("#conflict-list .must_fix button").click()
    page.wait_for_selector(".leaflet-popup .words-conflicts-must_fix")
    assert page.locator("input[data-layer='conflicts-must_fix']").is_checked()


def test_measured_lengths_and_areas_are_geodesic(visit: Any) -> None:
    page = visit().page
    page.click("#tool-measure")
    corners = [(520.0, 180.0), (1150.0, 230.0), (1020.0, 640.0), (560.0, 590.0)]
    for x, y in corners:
        page.mouse.click(x, y)
        page.wait_for_timeout(320)  # two quick clicks would be a double click
    places = page.evaluate(
        f"""() => {{
            const box = parcelMap.getContainer().getBoundingClientRect();
            return {[list(corner) for corner in corners]}.map(([x, y]) => {{
                const place = parcelMap.containerPointToLatLng([x - box.left, y - box.top]);
                return [place.lng, place.lat];
            }});
        }}"""
    )
    longitudes, latitudes = zip(*places, strict=True)
    length = GEOD.line_length(longitudes, latitudes)
    area = abs(GEOD.polygon_area_perimeter(longitudes, latitudes)[0])
    shown = re.fullmatch(r"Length ([\d,.]+) ft\nArea ([\d,.]+) acres", page.inner_text("#measure-text"))
    assert shown
    assert length > 200
    assert _number(shown[1]) * 0.3048 == pytest.approx(length, rel=0.005)
    assert _number(shown[2]) * 4046.8564224 == pytest.approx(area, rel=0.005)
    assert page.locator(".leaflet-popup").count() == 0, "features must not swallow the clicks"
    page.keyboard.press("Backspace")
    assert "Area" in page.inner_text("#measure-text")
    page.keyboard.press("Escape")
    assert page.locator("#measure").is_hidden()


def test_centimetres_can_be_measured(visit: Any) -> None:
    page = visit().page
    x, y = _centre(page, -76.25, 43.0, zoom=24)
    page.click("#tool-measure")
    page.mouse.click(x, y)
    page.wait_for_timeout(320)
    page.mouse.click(x + 60, y)
    text = page.inner_text("#measure-text")
    per_pixel = page.evaluate("156543.03392804097 * Math.cos(43 * Math.PI / 180) / 2 ** 24")
    assert _number(text) * 0.3048 == pytest.approx(60 * per_pixel, abs=0.01)


@pytest.mark.parametrize("station_m", [0.4, 152.4, 333.3, 601.0])
def test_the_pointer_reads_the_station(visit: Any, station_m: float) -> None:
    plan = map_plan()
    page = visit().page
    run = plan.loop.runs[0].line
    place = plan.site.frame.to_wgs84().geometry(run.interpolate(station_m))
    x, y = _centre(page, place.x, place.y, zoom=22)
    page.mouse.move(x + 90, y + 90)
    page.mouse.move(round(x), round(y))
    page.wait_for_selector(".leaflet-tooltip.reading b")
    label = page.inner_text(".leaflet-tooltip.reading b")
    hundreds, rest = re.fullmatch(r"L1 (\d+)\+(\d\d\.\d)", label).groups()
    assert (int(hundreds) * 100 + float(rest)) * 0.3048 == pytest.approx(station_m, abs=0.06)


def test_no_station_is_read_far_from_the_wire(visit: Any) -> None:
    plan = map_plan()
    page = visit().page
    inside = plan.site.frame.to_wgs84().geometry(shapely.maximum_inscribed_circle(plan.zones.roam).interpolate(0))
    x, y = _centre(page, inside.x, inside.y)
    page.mouse.move(x, y)
    page.wait_for_timeout(100)
    assert page.locator(".leaflet-tooltip.reading").count() == 0


def test_a_station_is_found_by_its_label(visit: Any) -> None:
    plan = map_plan()
    page = visit().page
    page.fill("#station-text", "4+68.5")
    page.press("#station-text", "Enter")
    page.wait_for_selector(".leaflet-tooltip.reading b")
    assert page.inner_text(".leaflet-tooltip.reading b") == "L1 4+68.5"
    shown = page.evaluate("[parcelMap.getCenter().lng, parcelMap.getCenter().lat]")
    place = plan.site.frame.to_wgs84().geometry(plan.loop.runs[0].line.interpolate(468.5 * 0.3048))
    assert GEOD.line_length([shown[0], place.x], [shown[1], place.y]) < 0.1
    page.fill("#station-text", "99+00")
    page.press("#station-text", "Enter")
    assert "no such station" in page.inner_text("#station-answer")


def test_popups_speak_the_units_of_the_person(visit: Any) -> None:
    page = visit().page
    page.evaluate(
        """parcelMap.eachLayer((layer) => {
            if (layer.feature && layer.feature.properties.t === 'Signal zone') layer.openPopup();
        })"""
    )
    assert re.search(r"\d acres", page.inner_text(".leaflet-popup .words"))


def test_a_phone_can_use_it(visit: Any) -> None:
    page = visit(**PHONE).page
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.locator("#sheet-body").is_hidden()
    assert page.locator(".first-caution").is_visible()
    for button in page.locator("#tools button:visible, #sheet-toggle").all():
        box = button.bounding_box()
        assert box["width"] >= 40
        assert box["height"] >= 40
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
    page.tap("#sheet-toggle")
    assert page.locator("#conflict-list button").first.is_visible()
    for row in page.locator("#sheet-body summary, #sheet-body label:has(input), #conflict-list button").all():
        assert row.bounding_box()["height"] >= 40
    page.locator("#conflict-list button").nth(1).tap()
    page.wait_for_selector(".leaflet-popup .words")
    assert page.locator("#sheet-body").is_hidden(), "the drawer makes room for the map"
    popup = page.locator(".leaflet-popup-content-wrapper").bounding_box()
    assert popup["x"] >= 0
    assert popup["x"] + popup["width"] <= 390


def test_the_print_is_clean_and_complete(visit: Any) -> None:
    page = visit().page
    view = page.evaluate("[parcelMap.getCenter().lat, parcelMap.getZoom()]")
    page.emulate_media(media="print")
    page.wait_for_selector("html.printing")
    assert page.locator("#tools").is_hidden()
    for part in (".cautions", ".legend", ".figures", "#north", ".leaflet-control-scale"):
        assert page.locator(part).is_visible(), part
    map_box = page.locator(".folium-map").bounding_box()
    legend_box = page.locator(".legend").bounding_box()
    assert legend_box["x"] + legend_box["width"] <= map_box["x"]
    assert legend_box["y"] + legend_box["height"] < 190 / 25.4 * 96, "the first page holds the legend"
    inside = "parcelMap.getBounds().contains(parcelMap.getCenter())"
    assert page.evaluate(inside)
    page.emulate_media(media="screen")
    page.wait_for_selector("html:not(.printing)")
    assert page.evaluate("[parcelMap.getCenter().lat, parcelMap.getZoom()]") == pytest.approx(view)


def test_planted_markup_shows_as_text(visit: Any) -> None:
    page = visit("hostile").page
    page.locator("#conflict-list button").first.click()
    page.wait_for_selector(".leaflet-popup .words h3")
    text = page.inner_text(".leaflet-popup .words h3")
    for piece in ("<img src=x onerror=", "</script>", "{{7*7}}", "{% raise %}", "אבג", "🐕", "\"'&"):
        assert piece in text
    page.evaluate("parcelMap.eachLayer((layer) => { if (layer.feature) layer.openPopup(); })")
    page.wait_for_timeout(100)
    assert page.evaluate("window.hacked") is None
    assert page.locator("img[src='x']").count() == 0
    assert "<img src=x" in page.inner_text("h1")


def test_own_position_is_off_until_asked_for(visit: Any) -> None:
    opened = visit(permissions=["geolocation"], geolocation={"longitude": -76.25, "latitude": 43.0, "accuracy": 4})
    page = opened.page
    assert page.get_attribute("#tool-place", "aria-pressed") == "false"
    page.click("#tool-place")
    page.locator("#message", has_text="You are within").wait_for()
    assert "13.12 ft of" in page.inner_text("#message")
    page.click("#tool-place")
    assert not page.inner_text("#message")


def test_tiles_are_asked_for_on_a_click_only(visit: Any) -> None:
    opened = visit("tiles", requests_allowed=True)
    opened.page.wait_for_timeout(300)
    assert opened.requests == [opened.address]
    with opened.page.expect_request("https://tile.openstreetmap.org/**"):
        opened.page.click("#tool-tiles")
    assert visit().page.locator("#tool-tiles").is_hidden()


def test_five_thousand_features_stay_quick(browser: Any, tmp_path: Any) -> None:
    import geopandas
    import pandas as pd

    plan = map_plan()
    tables = wgs84_tables(plan)
    lots = tables["neighbours"]
    copies = [lots.set_geometry(lots.translate(0.004 * (k % 32), 0.004 * (k // 32))) for k in range(1000)]
    tables["neighbours"] = geopandas.GeoDataFrame(pd.concat(copies, ignore_index=True), crs=lots.crs)
    assert len(tables["neighbours"]) == 5000
    file = tmp_path / "many.html"
    file.write_text(map_page(plan, tables=tables), encoding="utf-8")
    context = browser.new_context(offline=True)
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(file.as_uri())
    page.wait_for_selector("body.ready")
    loaded_ms = page.evaluate("performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd")
    assert page.locator("canvas").count() > 0
    assert complaints == []
    context.close()
    assert loaded_ms < 10_000, "a wide margin for a busy machine; alone on it, the page needs well under 2 s"


def _drawn_area_m2(page: Any, key: str) -> float:
    """Measure what is drawn of a zone, on the ellipsoid."""
    polygons = page.evaluate(
        f"""() => parcelLevel.layers["{key}"].flatMap((layer) => layer.getLayers ? layer.getLayers() : [layer])
            .filter((shape) => shape._path && shape._path.isConnected)
            .flatMap((shape) => {{
                const latlngs = shape.getLatLngs();
                return (Array.isArray(latlngs[0][0]) ? latlngs : [latlngs]);
            }})
            .map((rings) => rings.map((ring) => ring.map((place) => [place.lng, place.lat])))"""
    )
    signed = [
        abs(GEOD.polygon_area_perimeter(*zip(*ring, strict=True))[0]) * (-1 if number else 1)
        for rings in polygons
        for number, ring in enumerate(rings)
    ]
    return float(sum(signed))


def _set_level(page: Any, place: int) -> None:
    page.evaluate(
        f"""() => {{
            document.getElementById("level").value = {place};
            document.getElementById("level").dispatchEvent(new Event("input"));
        }}"""
    )


def test_every_level_draws_the_areas_that_are_computed(visit: Any) -> None:
    plan, page = map_plan(), visit().page
    found = plan_levels(plan)
    for place, level in enumerate(found):
        _set_level(page, place)
        assert _drawn_area_m2(page, "zones-signal") == pytest.approx(level.signal.area, rel=5e-4)
        assert _drawn_area_m2(page, "zones-roam") == pytest.approx(level.roam.area, rel=5e-4)
        acres = _number(page.inner_text("#level-free").split("acres")[0])
        assert acres == pytest.approx(level.roam.difference(plan.zones.roofs).area / 4046.8564224, abs=0.006)


@pytest.mark.parametrize("options", [{}, PHONE], ids=["desktop", "phone"])
def test_the_level_is_switched_by_keys_and_by_touch(visit: Any, options: dict[str, Any]) -> None:
    page = visit(**options).page
    if options:
        page.tap("#sheet-toggle")
    first = page.inner_text("#level-name")
    assert first.endswith("as planned")
    page.focus("#level")
    page.keyboard.press("ArrowLeft")
    assert page.inner_text("#level-name") != first
    assert "free to roam" in page.get_attribute("#level", "aria-valuetext")
    page.keyboard.press("End")
    assert page.inner_text("#level-name") == "12.0 ft"
    assert page.inner_text("#level-lot") != "nowhere"
    page.keyboard.press("Home")
    assert page.inner_text("#level-lot") == "nowhere"
    if options:
        box = page.locator("#level").bounding_box()
        assert box["height"] >= 44
        page.touchscreen.tap(box["x"] + box["width"] - 12, box["y"] + box["height"] / 2)
        assert page.inner_text("#level-name") == "12.0 ft"


def test_a_layer_that_is_switched_off_stays_off_at_another_level(visit: Any) -> None:
    page = visit().page
    page.locator("input[data-layer='zones-signal']").uncheck()
    _set_level(page, 0)
    assert page.evaluate("parcelLevel.layers['zones-signal'].some((layer) => parcelMap.hasLayer(layer))") is False
    page.locator("input[data-layer='zones-signal']").check()
    assert page.evaluate("parcelLevel.layers['zones-signal'].every((layer) => parcelMap.hasLayer(layer))") is True
