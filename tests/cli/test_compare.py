"""The command that sets several plans of one property side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from parcelfence.cli.compare import compare
from tests.inputs.layers import feature, geojson, lot, polygon

if TYPE_CHECKING:
    from pathlib import Path


def run(folder: Path, *arguments: str) -> Result:
    parcels = geojson(folder / "parcels.geojson", [feature(lot(size=0.0006))])
    house = geojson(folder / "house.geojson", [feature(polygon([[0.2, 0.1], [0.4, 0.1], [0.4, 0.2], [0.2, 0.1]]))])
    given = ["--parcels", str(parcels), "--buildings", str(house), "--out", str(folder / "out"), *arguments]
    return CliRunner().invoke(compare, given)


def test_reaches_and_layouts_are_compared_and_one_is_chosen(tmp_path: Path) -> None:
    wanted = ("--reaches", "3 ft, 6 ft", "--layouts", "whole-lot,front-excluded", "--front", "south")
    done = run(tmp_path, *wanted)
    assert done.exit_code == 0, done.output
    assert done.output.count("whole-lot") == done.output.count("front-excluded") == 2
    assert "--choose N" in done.output
    assert not (tmp_path / "out" / "plan").exists()
    done = run(tmp_path, *wanted, "--choose", "1", "--overwrite")
    assert done.exit_code == 0, done.output
    assert (tmp_path / "out" / "plan" / "worksheet.html").exists()


def test_without_a_front_the_reason_stands_in_the_table(tmp_path: Path) -> None:
    done = run(tmp_path, "--layouts", "whole-lot,back-yard")
    assert done.exit_code == 0, done.output
    assert "no plan: Nothing tells front and back apart" in done.output


@pytest.mark.parametrize("wrong", [("--layouts", "yard"), ("--reaches", "far")])
def test_what_is_no_layout_or_reach_is_refused(tmp_path: Path, wrong: tuple[str, str]) -> None:
    done = run(tmp_path, *wrong)
    assert done.exit_code != 0
    assert not (tmp_path / "out").exists()
