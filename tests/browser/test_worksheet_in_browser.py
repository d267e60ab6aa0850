"""The worksheet on a phone and on paper: in Chromium, without a network."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parcelfence.outputs.worksheet import worksheet_page
from tests.sample import sample_plan

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def worksheet_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sample's worksheet."""
    file = tmp_path_factory.mktemp("worksheet") / "worksheet.html"
    file.write_text(worksheet_page(sample_plan()), encoding="utf-8")
    return file


@pytest.fixture
def opened(browser: Any, worksheet_file: Path, request: pytest.FixtureRequest) -> Any:
    """Open the worksheet at a width; nothing may be asked for and nothing may go wrong."""
    context = browser.new_context(offline=True, viewport={"width": request.param, "height": 844}, is_mobile=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda wanted: asked.append(wanted.url))
    page.goto(worksheet_file.as_uri())
    yield page
    context.close()
    assert asked == [worksheet_file.as_uri()]


@pytest.mark.parametrize("opened", [360, 390], indirect=True)
def test_a_phone_scrolls_down_and_never_sideways(opened: Any) -> None:
    width = opened.evaluate("document.documentElement.clientWidth")
    assert opened.evaluate("document.documentElement.scrollWidth") <= width
    beyond = """[...document.body.querySelectorAll("*")].filter((box) => !box.closest("svg")
        && box.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
        .map((box) => box.outerHTML.slice(0, 80))"""
    assert opened.evaluate(beyond) == []


@pytest.mark.parametrize("opened", [390, 800], indirect=True)
def test_no_word_is_broken_letter_by_letter(opened: Any) -> None:
    """Look at every word of the text: it stands on one line, unless it is longer than a line itself."""
    broken = opened.evaluate(
        """() => {
            const found = [];
            const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
            while (walker.nextNode()) {
                const node = walker.currentNode;
                if (node.parentElement.closest("svg, style")) continue;
                for (const match of node.textContent.matchAll(/[A-Za-z]{3,24}/g)) {
                    const range = document.createRange();
                    range.setStart(node, match.index);
                    range.setEnd(node, match.index + match[0].length);
                    const lines = new Set([...range.getClientRects()].map((box) => Math.round(box.top)));
                    if (lines.size > 1) found.push(match[0]);
                }
            }
            return found;
        }"""
    )
    assert broken == []


@pytest.mark.parametrize("opened", [390], indirect=True)
def test_nothing_lies_over_anything_else(opened: Any) -> None:
    overlaps = opened.evaluate(
        """() => {
            const found = [];
            for (const row of document.querySelectorAll("table.stack tr")) {
                const box = row.getBoundingClientRect();
                for (const cell of row.children) {
                    if (cell.scrollHeight > cell.clientHeight + 1 && cell.clientHeight) found.push(cell.innerText);
                    if (cell.getBoundingClientRect().bottom > box.bottom + 1) found.push(cell.innerText);
                }
            }
            return found;
        }"""
    )
    assert overlaps == []


@pytest.mark.parametrize("opened", [390], indirect=True)
def test_the_five_decisions_stand_before_the_work(opened: Any) -> None:
    heads = opened.locator("h2").all_inner_texts()
    assert heads.index("Decide these five first") == 1
    assert opened.locator("section", has_text="Decide these five first").first.locator("tbody tr").count() == 5
