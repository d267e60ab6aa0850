"""The plug-in for QGIS: a Processing provider whose algorithms call the command line in its own interpreter.

This folder is packed by ``parcelfence qgis-plugin`` and runs in the Python of QGIS (3.9 and later), which has other
numpy, shapely and PROJ than parcelfence needs.  It therefore imports the standard library and qgis, and nothing else.
"""

from __future__ import annotations

from typing import Any

__all__ = ["classFactory"]


def classFactory(iface: Any) -> Any:
    """Make the plug-in; QGIS looks for this name."""
    from .plugin import Plugin

    return Plugin(iface)
