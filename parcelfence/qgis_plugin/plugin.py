"""What QGIS loads: it registers the provider, and takes it away again."""

from __future__ import annotations

from typing import Any

from qgis.core import QgsApplication

from .provider import Provider

__all__ = ["Plugin"]


class Plugin:
    """The plug-in as QGIS sees it."""

    def __init__(self, iface: Any) -> None:
        self.iface = iface
        self.provider: Any = None

    def initProcessing(self) -> None:
        """Register the algorithms; ``qgis_process`` calls this alone."""
        self.provider = Provider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self) -> None:
        """Register the algorithms where there is a window."""
        self.initProcessing()

    def unload(self) -> None:
        """Take the algorithms away."""
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
