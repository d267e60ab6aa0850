"""Quality level, date, ticket, state and width of a mark, in the usual spellings."""

from __future__ import annotations

import pytest

from parcelfence.inputs.mark_details import diameter_m, mark_date, mark_details, quality_level


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("QL-B", "B"),
        ("QLB", "B"),
        ("ql b", "B"),
        ("B", "B"),
        ("ASCE 38 QL-A", "A"),
        ("ASCE 38-22: C", "C"),
        ("Level D", "D"),
        ("QL-B2", "B2"),
        ("B1P", "B1"),
        ("PAS 128 QL-B3", "B3"),
        ("QL-D2", "D"),
        ("quality level c", "C"),
        ("Bad", ""),
        ("good", ""),
        ("E", ""),
        (None, ""),
        (3, ""),
    ],
)
def test_quality_levels(text: object, level: str) -> None:
    assert quality_level(text) == level


@pytest.mark.parametrize(
    ("value", "date"),
    [
        ("2026-04-14", "2026-04-14"),
        ("2026-04-14T08:30:00Z", "2026-04-14"),
        ("2026/4/14", "2026-04-14"),
        ("20260414", "2026-04-14"),
        (20260414, "2026-04-14"),
        ("4/14/2026", "2026-04-14"),
        ("04/05/26", "2026-04-05"),
        ("14/4/2026", "2026-04-14"),
        ("14.04.2026", "2026-04-14"),
        ("14 Apr 2026", "2026-04-14"),
        ("April 14, 2026", "2026-04-14"),
        (1776124800, "2026-04-14"),
        (1776124800000, "2026-04-14"),
        ("2026-02-30", ""),
        ("soon", ""),
        (None, ""),
        (12, ""),
    ],
)
def test_dates(value: object, date: str) -> None:
    assert mark_date(value) == date


@pytest.mark.parametrize(
    ("value", "column", "expected_m"),
    [
        ("8 in", "", 0.2032),
        ('6"', "", 0.1524),
        ("110 mm", "", 0.11),
        (8, "", 0.2032),
        ("8", "", 0.2032),
        (54, "", 1.3716),
        (110, "", 0.11),
        (200, "diameter_mm", 0.2),
        (4, "diam_in", 0.1016),
        (32, "dia_mm", 0.032),
        (0, "", 0.0),
        (-3, "", 0.0),
        ("big", "", 0.0),
    ],
)
def test_widths_of_pipes(value: object, column: str, expected_m: float) -> None:
    assert diameter_m(value, column=column) == pytest.approx(expected_m)


def test_details_are_read_from_the_usual_columns() -> None:
    details = mark_details({
        "Ticket No": "Q26-1", "Mark Date": "4/14/2026", "QLevel": "QL-C", "STATUS": "ABANDONED", "DIAMETER": 12.0,
        "TYPE": "Sanitary Manhole",
    })  # fmt: skip
    assert details.ticket == "Q26-1"
    assert details.marked_on == "2026-04-14"
    assert details.quality_level == "C"
    assert details.disused
    assert details.structure
    assert details.diameter_m == pytest.approx(0.3048)


def test_nothing_said_is_nothing_assumed() -> None:
    details = mark_details({"utility": "gas"})
    assert details == mark_details({})
    assert (details.disused, details.structure, details.tolerance_area) == (False, False, False)


def test_a_number_that_became_a_float_is_still_the_ticket() -> None:
    assert mark_details({"ticket": 104417.0}).ticket == "104417"
