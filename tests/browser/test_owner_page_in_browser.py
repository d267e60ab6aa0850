"""The owner's page on a phone and on paper: in Chromium, without a network."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from parcelfence.outputs.owner_page import owner_page
from parcelfence.takeoff.pricing import CREW, PRICES, priced
from tests.sample import sample_plan

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def owner_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sample's page with the longest quote: every rate, and every price but that of the spool."""
    plan = sample_plan()
    prices = dict.fromkeys([name for name in PRICES if name != "spool"], 1234.5)
    counted = priced(plan.take_off, crossings=plan.crossings, prices=prices, crew=dict.fromkeys(CREW, 7.0))
    file = tmp_path_factory.mktemp("owner") / "owner.html"
    file.write_text(owner_page(replace(plan, take_off=counted)), encoding="utf-8")
    return file


@pytest.fixture
def opened(browser: Any, owner_file: Path, request: pytest.FixtureRequest) -> Any:
    """Open the page at a width; nothing may be asked for."""
    width = getattr(request, "param", 900)
    context = browser.new_context(offline=True, viewport={"width": width, "height": 844}, is_mobile=width < 600)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda wanted: asked.append(wanted.url))
    page.goto(owner_file.as_uri())
    yield page
    context.close()
    assert asked == [owner_file.as_uri()]


@pytest.mark.parametrize("opened", [360, 390], indirect=True)
def test_a_phone_scrolls_down_and_never_sideways(opened: Any) -> None:
    beyond = """[...document.body.querySelectorAll("*")].filter((box) => !box.closest("svg")
        && box.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
        .map((box) => box.outerHTML.slice(0, 80))"""
    assert opened.evaluate(beyond) == []
    heads = opened.locator("h2").all()
    tops = {head.inner_text(): head.bounding_box()["y"] for head in heads}
    assert tops["What it does not do"] < tops["Every day"] < tops["Whom to call"] < tops["Quote"]


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_it_prints_on_one_page(opened: Any, paper: str) -> None:
    printed = opened.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
