"""A wire with the record of its crew becomes the folder that replaces the plan."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import geopandas
import pytest
from click.testing import CliRunner

from parcelfence.cli.main import parcelfence
from parcelfence.errors import InputError
from tests.sample import sample_plan

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result

SITE = "sample_geodata/SITE.toml"
RECORD = """
laid_on = 2026-05-14
laid_by = "<b>two & a half</b>"
resistance_ohm = {ohms}
temperature_c = 12
depth = "2 to 3 in"
[[splice]]
at = "L1 0 m"
note = "lead-in to loop"
photo = "IMG_0231.jpg"
[[splice]]
id = "new"
at = "L1 141.5 m"
[[photo]]
file = "IMG_0240.jpg"
at = "L1 107 m"
shows = "crossing of the gas line"
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plans") / "plan"
    sample_plan().write(folder, formats=["gpkg"])
    return folder


def run(*words: object) -> Result:
    return CliRunner().invoke(parcelfence, [*map(str, words)])


def built(planned: Path, folder: Path, *, record: str) -> Path:
    notes, out = folder / "record.toml", folder / "built"
    notes.write_text(record, encoding="utf-8")
    wire = planned / "plan.gpkg"
    result = run(*(
        "check",
        wire,
        "--layer",
        "wire",
        "--site",
        SITE,
        "--plan",
        planned,
        "--record",
        notes,
        "--out",
        out,
    ))
    if isinstance(result.exception, InputError):
        raise result.exception
    assert result.exit_code in {0, 3}, result.output
    assert "as_built.html" in " ".join(result.output.split()), "the sheet is named where the run ends"
    return out


def summary(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    return data


def test_the_record_replaces_what_was_planned(planned: Path, tmp_path: Path) -> None:
    expected = sample_plan().circuit.resistance_ohm * (1 + 0.00393 * (12 - 20))
    out = built(planned, tmp_path, record=RECORD.format(ohms=round(expected, 2)))
    record = summary(out)["as_built"]
    assert record["expected_ohm"] == pytest.approx(expected, rel=1e-3)  # copper at 12 degrees, IEC 60028
    assert record["off_plan"]["greatest_m"] < 0.01
    assert [photo["file"] for photo in record["photos"]] == ["IMG_0231.jpg", "IMG_0240.jpg"]
    assert "as-built-resistance" not in summary(out)["conflicts"]["by_rule"]
    splices = geopandas.read_file(out / "plan.gpkg", layer="splices")
    assert list(splices["id"]) == ["S1", "new"]
    assert list(splices["station_m"]) == pytest.approx([0.0, 141.5])
    assert splices["note"][0] == "lead-in to loop; photo IMG_0231.jpg"
    assert summary(out)["figures"]["splices"] == 2


def test_the_sheet_for_the_next_crew_says_it_all_and_escapes_it(planned: Path, tmp_path: Path) -> None:
    page = (built(planned, tmp_path, record=RECORD.format(ohms=20)) / "as_built.html").read_text(encoding="utf-8")
    for words in ("IMG_0240.jpg", "crossing of the gas line", "2 to 3 in", "2026-05-14", "Call the utility locating"):
        assert words in page
    assert "<b>two" not in page
    assert "&lt;b&gt;two &amp; a half" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


def test_a_resistance_that_does_not_fit_is_a_caution(planned: Path, tmp_path: Path) -> None:
    out = built(planned, tmp_path, record=RECORD.format(ohms=31))
    assert summary(out)["conflicts"]["by_rule"]["as-built-resistance"] == {"caution": 1}
    rows = geopandas.read_file(out / "plan.gpkg", layer="conflicts")
    row = rows[rows["rule"] == "as-built-resistance"].iloc[0]
    assert (row["measured"], row["unit"]) == (31.0, "ohm")
    assert "one of them is weak" in row["remedy"]


def test_a_break_is_looked_for_in_the_record(planned: Path, tmp_path: Path) -> None:
    out = built(planned, tmp_path, record=RECORD.format(ohms=19.5))
    notes = tmp_path / "notes.csv"
    notes.write_text("kind,result,to\nresistance,open,\nresistance,open,new\n", encoding="utf-8")
    found = json.loads(run("find-break", out, "--observe", notes, "--json").output)
    assert found["wire"]["expected_ohm"] == pytest.approx(19.5)
    assert found["named"]["stretches"][0]["because"]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('[[splice]]\nat = "L1 9000 m"', "is beyond run L1"),
        ('[[splice]]\nat = "Q7 5 m"', "names no run of this wire"),
        ('[[splice]]\nnote = "x"', "'at' is missing"),
        ("resistance_ohm = -1", "resistance_ohm = -1"),
        ("resistence_ohm = 4", "did you mean 'resistance_ohm'"),
    ],
)
def test_a_bad_record_is_refused(planned: Path, tmp_path: Path, lines: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        built(planned, tmp_path, record=lines)
    assert words.casefold() in str(caught.value).casefold()
    assert not (tmp_path / "built").exists()
