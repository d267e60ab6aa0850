"""Observations are the same in TOML, JSON and CSV, and every bad row is told."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from parcelfence.errors import InputError
from parcelfence.inputs.break_observations import KINDS, read_break_notes

if TYPE_CHECKING:
    from pathlib import Path

TOML = """
expected_ohms = 6.5
[rates]
splice_as_m = 12
[[observation]]
kind = "resistance"
result = "OL"
[[observation]]
kind = "tone"
at = "L1 45 m"
from = "B"
result = "heard"
senses = "current"
[[observation]]
kind = "digging"
at = "flag 12"
radius = "6 ft"
note = "new fence post"
[[observation]]
kind = "test loop"
result = true
[[observation]]
kind = "resistance"
from = "A"
to = "S2"
result = "4.7 kohm"
"""
CSV = """kind,result,at,from,to,radius,senses,note
resistance,OL,,,,,,
tone,heard,L1 45 m,B,,,current,
digging,,flag 12,,,6 ft,,new fence post
test loop,yes,,,,,,
resistance,4.7 kohm,,A,S2,,,
"""


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_three_formats_say_the_same(tmp_path: Path) -> None:
    toml = read_break_notes(written(tmp_path, "notes.toml", TOML))
    rows = [
        {"kind": "resistance", "result": "OL"},
        {"kind": "tone", "at": "L1 45 m", "from": "B", "result": "heard", "senses": "current"},
        {"kind": "digging", "at": "flag 12", "radius": "6 ft", "note": "new fence post"},
        {"kind": "test loop", "result": True},
        {"kind": "resistance", "from": "A", "to": "S2", "result": "4.7 kohm"},
    ]
    listed = read_break_notes(written(tmp_path, "list.json", json.dumps(rows)))
    table = read_break_notes(written(tmp_path, "notes.csv", CSV))
    assert toml.observations == listed.observations == table.observations
    assert [one.result for one in toml.observations] == ["open", "heard", "", "works", ""]
    assert toml.observations[4].ohms == pytest.approx(4700.0)
    assert toml.observations[2].radius_m == pytest.approx(6 * 0.3048)
    assert (toml.expected_ohms, dict(toml.rates)) == (6.5, {"splice_as_m": 12.0})


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"kind": "tones", "at": "L1 4 m", "result": "heard"}, "did you mean 'tone'"),
        ({"kind": "tone", "result": "heard"}, "needs a place"),
        ({"kind": "tone", "at": "L1 4 m", "result": "loud"}, "is not one of: heard, silent"),
        ({"kind": "resistance", "result": "fine"}, "is not one of: normal, open, raised"),
        ({"kind": "digging", "at": "L1 4 m", "radius": "0 m"}, "more than nothing"),
        ({"kind": "tone", "at": "L1 4 m", "result": "heard", "senses": "smell"}, "neither voltage nor current"),
        ({"kind": "tone", "where": "L1 4 m"}, "there is no column 'where'"),
        ("tone", "is no observation"),
    ],
)
def test_every_bad_row_is_told(tmp_path: Path, row: object, words: str) -> None:
    good = {"kind": "test_loop", "result": "works"}
    with pytest.raises(InputError) as caught:
        read_break_notes(written(tmp_path, "notes.json", json.dumps([good, row, row])))
    assert [fault.feature for fault in caught.value.faults] == ["observation 2", "observation 3"]
    assert words in str(caught.value)


@pytest.mark.parametrize("text", ["", "[[observation]", "rates = 3\n[[observation]]\nkind='test_loop'\nresult='works'"])
def test_a_file_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        read_break_notes(written(tmp_path, "notes.toml", text))


def test_every_kind_is_explained() -> None:
    assert all(len(meaning) > 20 for meaning in KINDS.values())
