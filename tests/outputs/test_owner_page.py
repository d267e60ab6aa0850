"""The owner's page: what it says of this plan, and what it costs."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from typing import TYPE_CHECKING

import pytest
from plan_fixture import NASTY, hand_made_plan

from parcelfence.outputs.cautions import DAILY_CARE, OWNER_CALLS, WHAT_IT_DOES_NOT
from parcelfence.outputs.owner_page import owner_page
from parcelfence.takeoff.pricing import priced
from tests.sample import sample_plan

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

PRICES = {"single_wire_per_m": 0.4, "twisted_pair_per_m": 1.15, "flag": 0.5, "splice": 3.0}
CREW = {"trench_m_per_hour": 40.0, "setup_hours": 3.0, "hourly_rate": 90.0}


def _text(page: str) -> str:
    shown = page[page.index("<body>") :]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", shown)).split())


def _quoted(prices: dict[str, float] | None = None, crew: dict[str, float] | None = None) -> Plan:
    plan = sample_plan()
    return replace(plan, take_off=priced(plan.take_off, crossings=plan.crossings, prices=prices, crew=crew))


def test_it_says_what_the_wire_does_not_do_the_daily_care_and_whom_to_call() -> None:
    text = _text(owner_page(sample_plan()))
    for sentence in (*WHAT_IT_DOES_NOT, *DAILY_CARE, *(when for _, when in OWNER_CALLS)):
        assert sentence in text
    assert "It keeps nothing out" in text
    assert "Quote" not in text


def test_the_amounts_of_the_quote_add_up_to_its_total() -> None:
    page = owner_page(_quoted(PRICES, CREW))
    amounts = [float(found.replace(",", "")) for found in re.findall(r"([\d,]+\.\d\d)(?:</b>)?</td></tr>", page)]
    *lines, total = amounts
    assert len(lines) == 6
    assert sum(lines) == pytest.approx(total, abs=0.01 * len(lines))
    assert total == pytest.approx(_quoted(PRICES, CREW).take_off.cost, abs=0.01)


def test_what_has_no_price_is_named_and_wire_is_not_missed_twice() -> None:
    text = _text(owner_page(_quoted(PRICES)))
    left_out = text[text.index("Not in it:") :]
    assert "waterproof caps" in left_out
    assert "spools" not in left_out
    assert "Labour is not in it." in left_out


def test_hours_without_a_rate_stand_there_but_not_in_the_total() -> None:
    plan = _quoted(PRICES, {"setup_hours": 3.0})
    text = _text(owner_page(plan))
    assert "3.0 h" in text
    assert "Hours are not in the total: no hourly rate was given." in text
    assert f"{plan.take_off.cost:,.2f}" in text


def test_a_plan_that_must_be_fixed_says_so_to_who_pays_for_it() -> None:
    assert "1 finding of this plan must be fixed before anybody digs." in _text(owner_page(hand_made_plan()))


def test_markup_of_a_strangers_file_stays_text_and_nothing_is_fetched() -> None:
    page = owner_page(hand_made_plan(nasty=True))
    assert NASTY[0] not in page
    assert "<script" not in page
    assert not re.findall(r"(?:src|href)=|url\(", page)
