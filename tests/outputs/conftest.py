"""The plan made by hand, as fixtures; ``plan_fixture`` can be imported by the tests of this folder."""

from __future__ import annotations

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan

if "plan_fixture" not in sys.modules:
    _spec = spec_from_file_location("plan_fixture", Path(__file__).with_name("plan_fixture.py"))
    assert _spec is not None
    assert _spec.loader is not None
    _module = module_from_spec(_spec)
    sys.modules["plan_fixture"] = _module
    _spec.loader.exec_module(_module)


ALL_FORMATS: Final = (
    "gpkg",
    "geojson",
    "map",
    "worksheet",
    "owner",
    "training",
    "stakeout",
    "survey",
    "gpx",
    "dxf",
    "kml",
)


@pytest.fixture(scope="session")
def plan() -> Plan:
    """Give a small plan with every kind of feature."""
    from plan_fixture import hand_made_plan

    return hand_made_plan()


@pytest.fixture(scope="session")
def nasty_plan() -> Plan:
    """Give the same plan with markup, formulas, quotes, line ends and foreign scripts in its texts."""
    from plan_fixture import hand_made_plan

    return hand_made_plan(nasty=True)


@pytest.fixture(scope="session")
def written(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder with every output of the plan that needs no optional package."""
    return _written(plan, tmp_path_factory)


@pytest.fixture(scope="session")
def nasty_written(nasty_plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder with every output of the plan with the worst texts."""
    return _written(nasty_plan, tmp_path_factory)


def _written(plan: Plan, places: pytest.TempPathFactory) -> Path:
    from parcelfence.outputs.registry import write

    return write(plan, places.mktemp("outputs") / "out", formats=ALL_FORMATS)
