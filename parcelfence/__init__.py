"""Design, check and document buried boundary-wire loops from real parcel data.

The main job is three lines::

    site = parcelfence.read_site(parcels="parcels.geojson", select="parcel_no=14-07")
    plan = parcelfence.plan(site, parcelfence.Settings(reach_m=2.4))
    plan.write("out")

Names are loaded on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from parcelfence.advice import what_would_do
    from parcelfence.alternatives import compare
    from parcelfence.errors import ParcelFenceError
    from parcelfence.finished_plan import Plan
    from parcelfence.outputs.comparison import comparison_table, write_comparison
    from parcelfence.outputs.frames import flags, loops, screen, zones
    from parcelfence.outputs.notebook import explore, plot
    from parcelfence.outputs.picture import picture
    from parcelfence.outputs.registry import write
    from parcelfence.outputs.tables import tables as layer_tables
    from parcelfence.planning import plan
    from parcelfence.service.checking import check
    from parcelfence.service.walking import calibrate
    from parcelfence.settings import Settings
    from parcelfence.site.inspection import inspect_files as inspect
    from parcelfence.site.reading import read_site
    from parcelfence.site.site import Site

__all__ = [
    "ParcelFenceError",
    "Plan",
    "Settings",
    "Site",
    "__version__",
    "calibrate",
    "check",
    "compare",
    "comparison_table",
    "explore",
    "flags",
    "inspect",
    "layer_tables",
    "loops",
    "picture",
    "plan",
    "plot",
    "read_site",
    "screen",
    "what_would_do",
    "write",
    "write_comparison",
    "zones",
]

__version__ = "0.1.0"

_HOMES = {
    "ParcelFenceError": ("parcelfence.errors", "ParcelFenceError"),
    "Plan": ("parcelfence.finished_plan", "Plan"),
    "Settings": ("parcelfence.settings", "Settings"),
    "Site": ("parcelfence.site.site", "Site"),
    "compare": ("parcelfence.alternatives", "compare"),
    "comparison_table": ("parcelfence.outputs.comparison", "comparison_table"),
    "layer_tables": ("parcelfence.outputs.tables", "tables"),
    "plan": ("parcelfence.planning", "plan"),
    "read_site": ("parcelfence.site.reading", "read_site"),
    "what_would_do": ("parcelfence.advice", "what_would_do"),
    "write": ("parcelfence.outputs.registry", "write"),
    "write_comparison": ("parcelfence.outputs.comparison", "write_comparison"),
    "calibrate": ("parcelfence.service.walking", "calibrate"),
    "check": ("parcelfence.service.checking", "check"),
    "explore": ("parcelfence.outputs.notebook", "explore"),
    "flags": ("parcelfence.outputs.frames", "flags"),
    "inspect": ("parcelfence.site.inspection", "inspect_files"),
    "loops": ("parcelfence.outputs.frames", "loops"),
    "picture": ("parcelfence.outputs.picture", "picture"),
    "plot": ("parcelfence.outputs.notebook", "plot"),
    "screen": ("parcelfence.outputs.frames", "screen"),
    "zones": ("parcelfence.outputs.frames", "zones"),
}
"""Public name -> module and name there."""


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    module, own_name = _HOMES[name]
    return getattr(import_module(module), own_name)


def __dir__() -> list[str]:
    return sorted(__all__)
