"""The algorithms: each is a command of parcelfence with its parameters and its outputs."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterString,
)

from . import schema
from .algorithm import LOAD, NAME, Algorithm, Run, folder_parameters
from .forms import property_parameters, setting_parameters
from .results import show_plan

__all__ = ["ALGORITHMS"]

OUTPUT = "OUTPUT"
_SEVERITIES = (("must_fix", "MUST FIX"), ("caution", "caution"))
_MOST_SHOWN = 20
_PLAN_LAYERS = ("wire", "zones", "flags", "crossings", "conflicts")


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

    def postProcessAlgorithm(self, context: Any, feedback: Any) -> dict[str, Any]:
        """Show the layers, in the thread in which layers live."""
        if self.shown and context.project() is not None:
            show_plan(self.folder, project=context.project(), title=self.shown)
        return {}


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


class InspectLayers(Algorithm):
    """Say what layers hold."""

    COMMAND = "inspect"
    TITLE = "Inspect layers"
    ABOUT = (
        "Says what layers hold: the role that they would play, features, coordinate system, attributes, kinds of "
        "utility, what would be mended and what cannot be used."
    )

    def initAlgorithm(self, configuration: Any = None) -> None:
        """Declare parameters and outputs."""
        names = [role.name for role in schema.roles()]
        self.add(
            QgsProcessingParameterMultipleLayers("LAYERS", "Layers", QgsProcessing.TypeVectorAnyGeometry),
            QgsProcessingParameterEnum(
                "ROLE", "Role of all of them; guessed where left out", names, optional=True, usesStaticStrings=True
            ),
            QgsProcessingParameterFileDestination(OUTPUT, "Report", "HTML files (*.html)"),
            QgsProcessingOutputNumber("UNUSABLE", "Layers that cannot be used"),
        )

    def processAlgorithm(self, parameters: Any, context: Any, feedback: Any) -> dict[str, Any]:
        """Inspect."""
        with Run.of(self, parameters, context, feedback) as run:
            files = run.layers("LAYERS")
            role = run.text("ROLE")
            words = [*(["--role", role] if role else []), *(str(file.path) for file in files)]
            reports = run.call("inspect", *words).get("layers", [])
        titles = {str(file.path): file.title for file in files}
        for report in reports:
            report["file"] = titles.get(report["file"], report["file"])
            for fault in report["faults"]:
                feedback.reportError(f"{report['file']}: {fault}")
        if not reports:
            return {}
        path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        path.write_text(_inspection_page(reports), encoding="utf-8")
        return {OUTPUT: str(path), "UNUSABLE": sum(bool(report["faults"]) for report in reports)}


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


def _inspection_page(reports: list[dict[str, Any]]) -> str:
    rows = "".join(
        f"<h2>{html.escape(report['file'])}</h2><table>{_inspection_rows(report)}</table>" for report in reports
    )
    style = (
        "body{font:14px/1.45 sans-serif;max-width:60em;margin:1em auto;padding:0 1em}"
        "th{text-align:left;vertical-align:top;padding:.15em 1.2em .15em 0;white-space:nowrap}"
        ".fault{color:#a3260b;font-weight:bold}"
    )
    head = f'<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Layers</title><style>{style}</style>'
    return f"{head}{rows}</html>\n"


def _inspection_rows(report: dict[str, Any]) -> str:
    rows = [("Cannot be used", fault, "fault") for fault in report["faults"]]
    if report["role"]:
        rows.append(("Role", f"{report['role']} ({report['role_reason']})", ""))
    rows.extend((
        ("Features", f"{report['features']:,}, {report['usable']:,} of them usable", ""),
        ("Coordinate system", report["crs"] or "none is stated", ""),
    ))
    rows += [("Kinds", f"{name}: {count:,}, from {words}", "") for name, (count, words) in report["kinds"].items()]
    rows += [("Mended", repair, "") for repair in report["repairs"]]
    rows += [("Field", f"{name}: {values}", "") for name, values in report["fields"].items()]
    return "".join(
        f'<tr class="{kind}"><th>{html.escape(title)}</th><td>{html.escape(str(text))}</td></tr>'
        for title, text, kind in rows
    )


ALGORITHMS = (PlanLoop, InspectLayers)
