"""Algorithms that end with the folder of a plan: plan, compare and check."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputHtml,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

from .algorithm import LOAD, NAME, OUTPUT, Algorithm, Run, folder_parameters
from .forms import property_parameters, setting_parameters

__all__ = ["CheckWire", "ComparePlans", "PlanLoop"]

_SEVERITIES = (("must_fix", "MUST FIX"), ("caution", "caution"))
_MOST_SHOWN = 20
_PLAN_LAYERS = ("wire", "zones", "flags", "crossings", "conflicts")
_REACHES, _LAYOUTS, _CHOOSE, _PAGE = "REACHES", "LAYOUTS", "CHOOSE", "PAGE"
_WIRE, _SITE, _PLAN, _TOLERANCE, _RECORD = "WIRE", "SITE", "PLAN", "TOLERANCE", "RECORD"


class _PlanFolder(Algorithm):
    """An algorithm that ends with the folder of a plan."""

    def add_plan_outputs(self) -> None:
        """Add the folder, the layers that other algorithms go on with, and the number of conflicts."""
        self.add(
            QgsProcessingParameterFolderDestination(OUTPUT, "Folder of the plan"),
            *folder_parameters(),
            *(QgsProcessingOutputVectorLayer(name.upper(), name.capitalize()) for name in _PLAN_LAYERS),
            QgsProcessingOutputNumber("MUST_FIX", "Conflicts that must be fixed"),
            QgsProcessingOutputString("SITE_NAME", "Name of the site"),
        )

    def outputs_of(self, result: dict[str, Any], *, folder: str, run: Run) -> dict[str, Any]:
        """Tell the conflicts, and give the outputs; none of a run that was stopped."""
        if not result:
            return {}
        _tell_conflicts(result, run)
        name = str(result["site"]["name"])
        self.shown = name if run.flag(LOAD) else ""
        layers = {one.upper(): f"{Path(folder) / 'plan.gpkg'}|layername={one}" for one in _PLAN_LAYERS}
        count = sum(conflict["severity"] == "must_fix" for conflict in result["conflicts"])
        return {OUTPUT: folder, **layers, "MUST_FIX": count, "SITE_NAME": name}


class PlanLoop(_PlanFolder):
    """Design a loop."""

    COMMAND = "plan"
    TITLE = "Plan a boundary wire"
    ABOUT = (
        "Designs the loop of a property, computes its signal, checks it and writes maps, layers and crew sheets. "
        "Select the property in the layer of parcels: the other parcels are its neighbours. Layers may be in any "
        "coordinate system; edits that are not saved yet are taken."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        self.add(*property_parameters(), QgsProcessingParameterString(NAME, "Name of the site", optional=True))
        self.add(*setting_parameters())
        self.add_plan_outputs()

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Plan."""
        with Run.of(self, parameters, context, feedback) as run:
            self.folder, words = run.output_folder(OUTPUT)
            result = run.call("plan", str(run.project_file()), *words)
            return self.outputs_of(result, folder=self.folder, run=run)


class ComparePlans(Algorithm):
    """Plan in several ways."""

    COMMAND = "compare"
    TITLE = "Compare reaches and layouts"
    ABOUT = (
        "Plans a property with several reaches and layouts and sets them side by side, with a picture of each. With "
        "the number of one of them, its plan is written and shown as well."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        self.add(
            *property_parameters(),
            QgsProcessingParameterString(NAME, "Name of the site", optional=True),
            QgsProcessingParameterString(_REACHES, "Reaches, such as 4 ft, 6 ft, 8 ft", optional=True),
            QgsProcessingParameterString(_LAYOUTS, "Layouts, such as whole-lot, back-yard", optional=True),
            QgsProcessingParameterNumber(
                _CHOOSE, "Number of the one whose plan is written; 0: none", defaultValue=0, minValue=0
            ),
            *setting_parameters(),
            QgsProcessingParameterFolderDestination(OUTPUT, "Folder of the comparison"),
            *folder_parameters(),
            QgsProcessingOutputHtml(_PAGE, "Comparison"),
        )

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Compare."""
        with Run.of(self, parameters, context, feedback) as run:
            folder, words = run.output_folder(OUTPUT)
            for name, option in ((_REACHES, "--reaches"), (_LAYOUTS, "--layouts")):
                if run.text(name).strip():
                    words += [option, run.text(name)]
            choose = self.parameterAsInt(parameters, _CHOOSE, context)
            result = run.call(
                "compare", str(run.project_file()), *words, *(["--choose", str(choose)] if choose else [])
            )
            if not result:
                return {}
            for one in result["alternatives"]:
                feedback.pushInfo(", ".join(f"{name} {value}" for name, value in one.items() if value is not None))
            self.folder = str(Path(folder) / "plan")
            self.shown = str(result["site"]["name"]) if choose and run.flag(LOAD) else ""
            return {OUTPUT: folder, _PAGE: str(Path(folder) / "compare.html")}


class CheckWire(_PlanFolder):
    """Check a wire."""

    COMMAND = "check"
    TITLE = "Check a wire"
    ABOUT = (
        "Checks a wire that was drawn or edited in QGIS, or surveyed as built, by the rules of a plan, with its signal "
        "and its lengths. The site is given by its layers, or by a project file SITE.toml. The layer Wire of a plan "
        "can be edited and checked as it is, before it is saved."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        self.add(
            QgsProcessingParameterFeatureSource(_WIRE, "Wire, as lines", [QgsProcessing.TypeVectorLine]),
            QgsProcessingParameterFile(_SITE, "Project file, instead of layers", extension="toml", optional=True),
            *property_parameters(required=False),
            QgsProcessingParameterString(NAME, "Name of the site", optional=True),
            QgsProcessingParameterFile(
                _PLAN, "Folder of a plan to compare with", behavior=QgsProcessingParameterFile.Folder, optional=True
            ),
            QgsProcessingParameterString(_TOLERANCE, "Offset from that plan that is allowed for", "0.3 m"),
            QgsProcessingParameterFile(
                _RECORD, "Record of the wire as laid: date, ohms, splices, photos", extension="toml", optional=True
            ),
            *setting_parameters(),
        )
        self.add_plan_outputs()

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Check."""
        with Run.of(self, parameters, context, feedback) as run:
            self.folder, words = run.output_folder(OUTPUT)
            wire = run.required_source(_WIRE)
            stated = run.text(_SITE)
            site = stated or str(run.project_file())
            for name, option in ((_PLAN, "--plan"), (_RECORD, "--record")):
                if run.text(name):
                    words += [option, run.text(name)]
            if stated:
                words += run.settings_words()
            result = run.call("check", str(wire.path), "--site", site, "--tolerance", run.text(_TOLERANCE), *words)
            return self.outputs_of(result, folder=self.folder, run=run)


def _tell_conflicts(result: dict[str, Any], run: Run) -> None:
    told = 0
    for severity, word in _SEVERITIES:
        for conflict in result["conflicts"]:
            if conflict["severity"] == severity and told < _MOST_SHOWN:
                told += 1
                text = run.in_words_of_the_user(f"{conflict['message']} {conflict['remedy']}")
                run.feedback.pushWarning(f"{word}: {text}")
    notes = len(result["conflicts"]) - told
    if notes:
        run.feedback.pushInfo(f"{notes} more are in the layer of conflicts.")
