"""Debian's Chromium without a network, and the maps that it opens."""

from __future__ import annotations

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

CHROMIUM = Path("/usr/bin/chromium")
SWITCHES = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

_SPEC = spec_from_file_location("map_fixture", Path(__file__).parents[1] / "outputs" / "map_fixture.py")
assert _SPEC is not None
assert _SPEC.loader is not None
sys.modules["map_fixture"] = module_from_spec(_SPEC)
_SPEC.loader.exec_module(sys.modules["map_fixture"])


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Start the browser once."""
    if not CHROMIUM.exists():
        pytest.skip(f"there is no Chromium at {CHROMIUM} (Debian: apt-get install chromium)")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as running:
        started = running.chromium.launch(executable_path=str(CHROMIUM), args=SWITCHES)
        yield started
        started.close()


@pytest.fixture(scope="session")
def map_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Write the sample's map, the same with planted markup, and one that may use online tiles."""
    from map_fixture import hostile_plan, map_plan, wgs84_tables

    from parcelfence.outputs.map_page import map_page

    folder = tmp_path_factory.mktemp("maps")
    plans = {"sample": map_plan(), "hostile": hostile_plan(), "tiles": map_plan()}
    files = {}
    for name, plan in plans.items():
        files[name] = folder / f"{name}.html"
        page = map_page(plan, tables=wgs84_tables(plan), tiles=name == "tiles")
        files[name].write_text(page, encoding="utf-8")
    return files


class Visit:
    """One opened page, with everything that it asked for and complained about."""

    def __init__(self, page: Any, file: Path) -> None:
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.goto(file.as_uri())
        page.wait_for_selector("body.ready")
        self.address = file.as_uri()


@pytest.fixture
def visit(browser: Any, map_files: dict[str, Path]) -> Iterator[Any]:
    """Open a map by its name; every visit must end without an error and without a request."""
    contexts: list[Any] = []
    visits: list[Visit] = []

    def open_map(name: str = "sample", *, requests_allowed: bool = False, **options: Any) -> Visit:
        settings = {"viewport": {"width": 1280, "height": 800}, "reduced_motion": "reduce"} | options
        context = browser.new_context(offline=True, **settings)
        contexts.append(context)
        opened = Visit(context.new_page(), map_files[name])
        if not requests_allowed:
            visits.append(opened)
        return opened

    yield open_map
    for context in contexts:
        context.close()
    for opened in visits:
        assert opened.complaints == []
        assert opened.requests == [opened.address]
