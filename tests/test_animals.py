"""Several animals on one wire: settings, zones by one level, rows that name the animal, sheets."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from html import unescape
from itertools import pairwise
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pytest
import shapely

from parcelfence.animal import Animal
from parcelfence.errors import SettingsError
from parcelfence.outputs.training_page import BEFORE, STOP_SIGNS, training_page
from parcelfence.outputs.worksheet import worksheet_page
from parcelfence.planning import plan
from parcelfence.settings import Settings
from tests.sample import sample_plan
from tests.small_sites import HOUSE, run, write_site
from tests.test_planning import site

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from parcelfence.finished_plan import Plan

DOG = {"name": "Bramble", "reach": "2.0 m", "speed": 7}
CAT = {
    "name": "Fern",
    "reach": "0.9 m",
    "receiver_height": "15 cm",
    "receiver_delay": 0.4,
    "receiver_setting": "2 of 8",
}


@cache
def _planned() -> Plan:
    return plan(site(), Settings.from_words({"animals": [DOG, CAT]}))


def _text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page[page.index("<body>") :])).split())


def test_the_plan_is_made_for_the_greatest_reach_in_its_units() -> None:
    settings = Settings.from_words({"animals": [{"name": "A", "reach": "4 ft"}, {"name": "B", "reach": "8 ft"}]})
    assert settings.reach_m == pytest.approx(2.4384)
    assert settings.lot_line_setback_m == pytest.approx(2.7384)
    assert settings.units == "us"
    with_level = Settings.from_words({"reach": 2.0, "animals": [{"name": "A", "reach": 1.0}, {"name": "B"}]})
    assert [with_level.of_animal(one).reach_m for one in with_level.animals] == [1.0, 2.0]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"reach": 3.0, "animals": [DOG, CAT]}, "must be the greatest reach of the animals, 2 m"),
        ({"reach": 1.0, "animals": [DOG]}, "must be the greatest reach"),
        ({"animals": [DOG, DOG | {"name": "bramble"}]}, "the same name"),
        ({"animals": [DOG | {"speeed": 3}]}, "Did you mean 'speed'"),
        ({"animals": [{"reach": 2.0}]}, "name"),
        ({"animals": [DOG | {"reach": "far"}]}, "far"),
        ({"animals": [DOG | {"receiver_height": 30}]}, "at most 3"),
    ],
)
def test_animals_that_cannot_be_are_refused(given: dict[str, object], words: str) -> None:
    with pytest.raises(SettingsError, match=re.escape(words)):
        Settings.from_words(given)


def test_another_level_changes_the_reach_of_all() -> None:
    settings = Settings.from_words({"animals": [DOG, CAT]}).replaced(reach_m=1.0)
    assert [settings.of_animal(one).reach_m for one in settings.animals] == pytest.approx([1.0, 0.45])


def _strength(points: NDArray[np.float64], *, lines: list[NDArray[np.float64]], height_m: float) -> NDArray[np.float64]:
    """Field of closed lines with one current, without mu0 I / 4 pi, summed in the plainest way."""
    field = np.zeros((len(points), 3))
    at = np.column_stack([points, np.full(len(points), height_m)])
    for line in lines:
        ends = np.column_stack([line, np.zeros(len(line))])
        for start, end in pairwise(ends):
            a, b = at - start, at - end
            la, lb = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
            share = (la + lb) / (la * lb * (la * lb + (a * b).sum(axis=1)))
            field += share[:, None] * np.cross(a, b)
    strength: NDArray[np.float64] = np.linalg.norm(field, axis=1)
    return strength


def test_each_zone_ends_where_its_own_receiver_falls_silent() -> None:
    """B of a lone straight wire at the slant distance is 2 / slant in the same units: the threshold of a receiver."""
    finished = _planned()
    lines = [np.asarray(run.line.coords) for run in finished.loop.signal_runs]
    assert [one.animal.name for one in finished.animals] == ["Bramble", "Fern"]
    for one, reach_m, height_m in zip(finished.animals, (2.0, 0.9), (0.35, 0.2), strict=True):
        edge = shapely.boundary(one.zones.roam)
        points = shapely.get_coordinates(shapely.line_interpolate_point(edge, np.arange(0, edge.length, 7.0)))
        threshold = 2 / math.hypot(reach_m, height_m)
        assert _strength(points, lines=lines, height_m=height_m) == pytest.approx(threshold, rel=5e-3)


def test_rules_on_signal_and_warning_speak_of_each_animal_and_the_others_of_none() -> None:
    rows = _planned().conflicts
    warned = {row.message.split(":")[0]: row for row in rows if row.rule == "short-warning"}
    assert set(warned) == {"Bramble", "Fern"}
    assert warned["Fern"].limit == pytest.approx(0.4)
    assert warned["Bramble"].limit == pytest.approx(0.2)
    for row in rows:
        named = row.message.startswith(("Bramble", "Fern"))
        assert named == (row.rule in {"short-warning", "corner-signal"}), row


def test_what_holds_for_two_alike_is_one_row_that_names_both() -> None:
    twins = plan(site(), Settings.from_words({"animals": [DOG, DOG | {"name": "Burr"}]}))
    assert {row.message.split(":")[0] for row in twins.conflicts if row.rule == "short-warning"} == {"Bramble and Burr"}
    alone = plan(site(), Settings.from_words({"reach": 2.0, "animal_speed_m_per_s": 7}))
    assert len(twins.conflicts) == len(alone.conflicts)
    assert twins.loop == alone.loop


def test_the_sheet_of_each_animal_has_its_cautions_and_the_distance_to_the_flags() -> None:
    page = training_page(_planned())
    text = _text(page)
    for line in (*(caution.meaning for caution in BEFORE), *STOP_SIGNS):
        assert text.count(line) == 2
    behind = re.search(r"begins about ([\d.]+) m behind them", text)
    assert behind is not None
    assert float(behind[1]) == pytest.approx(2.0 - 0.9, abs=0.3)
    rounds = {flag.removal_round for flag in _planned().take_off.flags}
    assert page.count("day 15") == 2
    assert len(re.findall(r"<b>\d</b></td><td[^>]*>day \d\d</td>", page)) == 2 * len(rounds)


def test_without_animals_there_is_one_sheet_with_room_for_the_name() -> None:
    text = _text(training_page(sample_plan()))
    assert text.count("Before the first day") == 1
    assert "Name" in text
    assert "behind them" not in text


def test_a_name_of_markup_stays_text() -> None:
    settings = Settings(animals=(Animal(name="<script>x</script>"),))
    finished = plan(site(), settings)
    for page in (training_page(finished), worksheet_page(finished)):
        assert "<script>" not in page


def test_project_file_and_option_reach_the_layers_and_the_summary(tmp_path: Path) -> None:
    project = write_site(tmp_path / "site", buildings=[(HOUSE, {})])
    project.write_text(
        project.read_text(encoding="utf-8") + '[[animal]]\nname = "Bramble"\nreach = "6 ft"\n'
        '[[animal]]\nname = "Fern"\nreach = "3 ft"\n',
        encoding="utf-8",
    )
    assert run("plan", project, "--out", tmp_path / "out").exit_code in {0, 3}
    assert "Animals" in _text((tmp_path / "out" / "worksheet.html").read_text(encoding="utf-8"))
    summary = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    assert [one["name"] for one in summary["animals"]] == ["Bramble", "Fern"]
    assert summary["settings"]["reach_m"] == pytest.approx(6 * 0.3048)
    zones = geopandas.read_file(tmp_path / "out" / "plan.gpkg", layer="animal_zones")
    assert set(zip(zones["animal"], zones["kind"], strict=True)) == {("Fern", "roam"), ("Fern", "signal")}
    assert summary["animals"][1]["signal_area_m2"] == pytest.approx(
        zones[zones["kind"] == "signal"].geometry.area.sum(), rel=1e-6
    )
    plain = write_site(tmp_path / "plain", buildings=[(HOUSE, {})])
    asked = ["--animals", "Bramble, reach=6 ft", "--animals", "Fern, reach=3 ft"]
    assert run("plan", plain, "--out", tmp_path / "by-option", *asked).exit_code in {0, 3}
    again = json.loads((tmp_path / "by-option" / "summary.json").read_text(encoding="utf-8"))
    assert again["animals"] == summary["animals"]
