"""The sample property, planned once for all tests that look at a whole plan."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from parcelfence import planning
from parcelfence.inputs.project_file import Project, read_project
from parcelfence.site.reading import project_site

if TYPE_CHECKING:
    from parcelfence.finished_plan import Plan
    from parcelfence.site.site import Site

SAMPLE = Path(__file__).parents[1] / "sample_geodata"
PROJECT = SAMPLE / "SITE.toml"


@cache
def sample_project() -> Project:
    """Read the project file of the sample."""
    return read_project(PROJECT)


@cache
def sample_site() -> Site:
    """Read the sample."""
    return project_site(sample_project())


@cache
def sample_plan() -> Plan:
    """Plan the sample."""
    return planning.plan(sample_site(), sample_project().settings)
