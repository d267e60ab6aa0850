"""Escaping: foreign text stays text in HTML, XML, CSV and scripts."""

from __future__ import annotations

import csv
import html
import io
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import Template
from lxml import etree

from parcelfence.outputs.escaping import csv_text, html_text, script_json, xml_text
from parcelfence.text import visible

anything = st.text(alphabet=st.characters(exclude_categories=()), max_size=60)


@given(anything)
def test_html_round_trips_to_what_is_visible(text: str) -> None:
    escaped = html_text(text)
    assert html.unescape(escaped) == visible(text)
    assert not set(escaped) & set("<>\"'{}")


@given(anything)
def test_html_comes_through_a_template_engine_unchanged(text: str) -> None:
    assert Template(html_text(text), keep_trailing_newline=True).render() == html_text(text).replace(
        "\r\n", "\n"
    ).replace("\r", "\n")


@given(anything)
def test_xml_parses_and_holds_what_is_visible(text: str) -> None:
    element = etree.fromstring(f'<a b="{xml_text(text)}">{xml_text(text)}</a>'.encode())
    assert (element.text or "") == visible(text).replace("\r\n", "\n").replace("\r", "\n")


@pytest.mark.parametrize(
    "text", ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", " =1", "\uff1d1", "|cmd", '=HYPERLINK("x")']
)
def test_formulas_are_disarmed(text: str) -> None:
    assert csv_text(text).startswith("'")


@pytest.mark.parametrize("text", ["-12.5", "+3", "0", "12,5", "gas", "", "U-3", "3+4"])
def test_plain_values_stay_as_they_are(text: str) -> None:
    assert csv_text(text) == text


@given(anything)
def test_csv_text_survives_the_csv_module(text: str) -> None:
    buffer = io.StringIO(newline="")
    csv.writer(buffer).writerow([csv_text(text), "end"])
    row = next(csv.reader(io.StringIO(buffer.getvalue(), newline="")))
    assert row == [csv_text(text), "end"]


@given(
    st.recursive(st.none() | st.integers() | anything, lambda inner: st.lists(inner) | st.dictionaries(anything, inner))
)
def test_script_json_is_json_that_cannot_leave_its_script(value: object) -> None:
    written = script_json(value)
    assert json.loads(written) == json.loads(json.dumps(value))
    assert not any(forbidden in written for forbidden in ("<", ">", "\u2028", "\u2029", "{{", "{%", "{#"))


def test_not_a_number_is_refused_in_scripts() -> None:
    with pytest.raises(ValueError, match="JSON"):
        script_json(math.nan)


def test_direction_overrides_and_controls_lose_their_force() -> None:
    assert visible("a\u202eb\x07c\ud800") == "ab\ufffdc\ufffd"


@pytest.mark.parametrize("missing", [None, math.nan])
def test_missing_values_are_empty(missing: object) -> None:
    assert not visible(missing)
