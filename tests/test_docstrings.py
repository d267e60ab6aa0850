"""Examples in docstrings are run."""

from __future__ import annotations

import doctest
import re
from importlib import import_module
from pathlib import Path

import pytest

import parcelfence

PACKAGE = Path(__file__).parents[1] / "parcelfence"
WITH_EXAMPLES = [
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


def test_there_are_examples() -> None:
    assert "parcelfence.site.reading" in WITH_EXAMPLES


@pytest.mark.parametrize("name", [name for name in parcelfence.__all__ if name != "__version__"])
def test_every_public_name_has_an_example_that_names_it(name: str) -> None:
    text = getattr(parcelfence, name).__doc__
    assert ">>> " in text
    assert re.search(rf">>> .*\b{name}\b|\.\.\. .*\b{name}\b|<{name} ", text, re.MULTILINE), name


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_give_what_they_say(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(PACKAGE.parent)
    found = doctest.testmod(import_module(name))
    assert found.attempted > 0
    assert found.failed == 0
