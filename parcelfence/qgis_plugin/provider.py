"""The provider: the algorithms under one name, and the setting that says where parcelfence is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from processing.core.ProcessingConfig import ProcessingConfig, Setting
from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .algorithm import PROGRAM_SETTING
from .designing import CheckWire, ComparePlans, PlanLoop
from .program import VARIABLE
from .surveying import CalibrateReach, InspectLayers, ScreenParcels

__all__ = ["Provider"]

_ALGORITHMS = (InspectLayers, PlanLoop, ComparePlans, CheckWire, CalibrateReach, ScreenParcels)


class Provider(QgsProcessingProvider):
    """The algorithms of parcelfence."""

    def load(self) -> bool:
        """Show the setting, then the algorithms."""
        ProcessingConfig.settingIcons[self.name()] = self.icon()
        about = f"Program parcelfence, or a Python that has it (empty: the variable {VARIABLE}, then the path)"
        ProcessingConfig.addSetting(Setting(self.name(), PROGRAM_SETTING, about, "", valuetype=Setting.FILE))
        ProcessingConfig.readSettings()
        self.refreshAlgorithms()
        return True

    def unload(self) -> None:
        """Take the setting away."""
        ProcessingConfig.removeSetting(PROGRAM_SETTING)

    def loadAlgorithms(self) -> None:
        """Enter every algorithm."""
        for algorithm in _ALGORITHMS:
            self.addAlgorithm(algorithm())

    def id(self) -> str:
        """Begin the id of every algorithm."""
        return "parcelfence"

    def name(self) -> str:
        """Name the group of the algorithms."""
        return "parcelfence"

    def longName(self) -> str:
        """Say what it is for."""
        return "parcelfence: buried boundary wire for pets"

    def icon(self) -> Any:
        """Draw the loop."""
        return QIcon(str(Path(__file__).with_name("icon.svg")))
