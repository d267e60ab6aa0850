"""The attack in small: bounded in time, seeded; ``tests/attack/run.py`` goes on for as long as one likes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.attack.attacking import attack_check, attack_plan
from tests.attack.mutating import attack_file, originals

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return originals(tmp_path_factory.mktemp("originals"))


@pytest.mark.parametrize("seed", range(20_000, 20_012))
def test_nothing_wrong_with_a_plan_goes_without_a_row(seed: int) -> None:
    outcome = attack_plan(seed)
    assert outcome.kind in {"sound", "told", "refused"}, (outcome.silent, outcome.reason)


@pytest.mark.parametrize("seed", range(20_000, 20_030))
def test_nothing_wrong_with_a_drawn_wire_goes_without_a_row(seed: int) -> None:
    outcome = attack_check(seed)
    assert outcome is None or outcome.kind in {"sound", "told", "refused"}, (outcome.silent, outcome.reason)


@pytest.mark.parametrize("seed", range(20_000, 20_080))
def test_a_damaged_file_ends_in_a_table_or_in_words(seed: int, files: list[Path], tmp_path: Path) -> None:
    assert not attack_file(files[seed % len(files)], seed=seed, folder=tmp_path)
